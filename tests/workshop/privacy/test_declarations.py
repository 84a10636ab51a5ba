"""Every text column is declared: it describes a customer, may name one, or is known to do neither."""

from collections.abc import Iterator

from django.apps import apps
from django.db import models

from workshop.models import Customer
from workshop.models.search import Word
from workshop.privacy.held_data import declared_models, referencing_fields

APPS = ("workshop", "jobs", "reports")
# Columns that describe no customer and name none. A new column comes here only if it is a code, a value, a
# sentence or a file name made by the program, or the shop's and its staff's own. What people type about the
# work goes into the model's `personal_data`.
NOT_PERSONAL = {
    "workshop.bike": {"make", "model", "vin", "front_tyre", "rear_tyre"},
    "workshop.enginespec": {
        "maker",
        "name",
        "firing_order",
        "gear_ratios",
        "front_tyre",
        "rear_tyre",
        "source_manual",
        "source_edition",
        "source_page",
    },
    "workshop.instrument": {"name", "number"},
    "workshop.instrumentcheck": {"certificate"},
    "workshop.staffmember": {"password", "username", "first_name", "last_name", "email"},
    "workshop.shopprofile": {
        "name",
        "address",
        "phone",
        "email",
        "logo",
        "time_zone",
        "currency",
        "correction_standard",
        "bands",
        "measured_spread",
        "working_hours",
        "notice_text",
        "responsible_name",
        "responsible_role",
    },
    "workshop.documentdecision": {"document"},
    "workshop.outgoingmail": {"about", "attached", "page"},
    "workshop.submission": {"led_to"},
    "jobs.job": {"number"},
    "jobs.photo": {"image"},
    "jobs.checkitem": {"text", "caution", "needs"},
    # A signed receipt is a document: it keeps what was signed, and by whom.
    "jobs.signedreceipt": {"facts", "pictures", "signed_by", "signature", "pdf", "sha256"},
    "jobs.clearanceset": {"instrument"},
    "jobs.shimplanrow": {"origin_detail", "why"},
    "jobs.partkind": {"name", "road_use_effect", "customer_caution"},
    "jobs.tunechangekind": {"name", "unit", "road_use_effect", "as_built", "caution", "customer_caution"},
    "jobs.tunerevision": {"calibration", "calibration_sha256"},
    "jobs.tunechange": {"from_value", "to_value", "unit"},
    "jobs.throttletable": {"grip_pct", "engine_speed_rpm", "plate_pct"},
    "jobs.filelayout": {"fingerprint", "layout"},
    "jobs.run": {
        "original",
        "sha256",
        "layout_used",
        "report",
        "channels",
        "channel_names",
        "corrected_by",
    },
    "jobs.mixturestudy": {
        "rpm_axis",
        "load_axis",
        "load_channel",
        "target",
        "fuel",
        "settings_used",
        "result",
        "fuel_table_before",
        "fuel_table_after",
    },
    "jobs.part": {"part_number", "serial"},
    "jobs.workplace": {"name"},
    "jobs.shutdays": {"reason"},
    "jobs.calendaraddress": {"token_sha256"},
    "jobs.wish": {"records"},
    "jobs.suspensionsetting": {
        "front_preload",
        "front_compression",
        "front_rebound",
        "front_oil",
        "front_height",
        "rear_preload",
        "rear_compression",
        "rear_rebound",
        "rear_height",
    },
    "reports.noticewording": {"road_use", "safety"},
    # An issued sheet is a document that was handed out: it keeps what it says.
    "reports.handoversheet": {
        "pdf",
        "sha256",
        "certificate_sha256",
        "snapshot",
        "snapshot_sha256",
        "check_code",
        "override_reason",
        "open_points",
    },
    "reports.sheetlink": {"token"},
    "reports.talkthrough": {"steps"},
    "reports.publication": {"token", "steps"},
    "reports.linkcall": {"name"},
    "reports.printing": {"fault"},
}


def product_models() -> Iterator[type[models.Model]]:
    """Yield the models of the product, without histories, which have the columns of their model."""
    for model in apps.get_models():
        if model._meta.app_label in APPS and not hasattr(model, "instance_type"):
            yield model


def text_columns(model: type[models.Model]) -> set[str]:
    """Return the columns of a model that can hold text other than a choice, names of files too."""
    kinds = (models.CharField, models.TextField, models.JSONField, models.FileField)
    return {
        field.name for field in model._meta.concrete_fields if isinstance(field, kinds) and not field.choices
    }


def test_every_text_column_is_declared() -> None:
    declared = declared_models()
    undeclared, wrong = [], []
    for model in product_models():
        if issubclass(model, Word):
            continue  # made again from the record's own text whenever it is saved
        label, personal = model._meta.label_lower, declared.get(model)
        lists = [NOT_PERSONAL.get(label, set())]
        if personal:
            lists += [set(personal.free_text), set(personal.cleared)]
        columns = text_columns(model)
        undeclared += [f"{label}.{name}" for name in columns.difference(*lists)]
        stale = (lists[0] | set(personal.free_text if personal else ())) - columns
        twice = {name for names in lists for name in names if sum(name in other for other in lists) > 1}
        wrong += [f"{label}.{name}" for name in stale | twice]
    assert undeclared == [], "Declare these in the model's personal_data, or list them above."
    assert wrong == []


def test_not_personal_names_models_that_exist() -> None:
    assert NOT_PERSONAL.keys() <= {model._meta.label_lower for model in product_models()}


def test_cleared_columns_exist() -> None:
    for model, personal in declared_models().items():
        for name in personal.cleared:
            assert model._meta.get_field(name)


def test_every_model_that_leads_to_a_customer_is_declared() -> None:
    """Export and erasure follow the declared lookup, so a model without one would be left out."""
    declared = declared_models()
    reached, new = {Customer}, {Customer}
    while new:
        # Jobs on a bike for another owner are that owner's: the way to a customer is the job's own.
        nearer = {other for model in new for other, _ in referencing_fields(model)}
        new = {model for model in nearer if model._meta.app_label in APPS} - reached
        reached |= new
    missing = {
        model._meta.label for model in reached if model not in declared or not declared[model].customer
    }
    assert missing == set()


def test_every_lookup_ends_at_the_customer() -> None:
    for model, personal in declared_models().items():
        step = model
        for name in personal.customer.split("__") if personal.customer not in ("", "pk") else ():
            step = step._meta.get_field(name).related_model
        assert step is Customer or not personal.customer


def test_history_adds_no_text_but_the_reason_of_a_change() -> None:
    for history in apps.get_models():
        if history._meta.app_label in APPS and hasattr(history, "instance_type"):
            added = text_columns(history) - text_columns(history.instance_type)
            assert added == {"history_change_reason"}

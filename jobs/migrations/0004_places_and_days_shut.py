"""Places become the owner's, and slots keep theirs; days on which the shop is shut."""

from typing import Any

import django.db.models.deletion
import simple_history.models
from django.apps.registry import Apps
from django.conf import settings
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models import F, Q

# As a slot named its place before: name and kind now
PLACES = {"dyno": ("dyno", "dyno"), "bench_1": ("bench 1", "bench"), "bench_2": ("bench 2", "bench")}
HOLDERS = ("Slot", "HistoricalSlot", "SlotQuarter")

PLACE = [
    ("name", models.CharField(max_length=40, unique=True)),
    ("kind", models.CharField(choices=[("dyno", "dyno"), ("bench", "bench")], max_length=10)),
    ("order", models.PositiveSmallIntegerField(default=100)),
    ("retired", models.BooleanField("no longer used", default=False)),
]
SHUT = [
    ("first", models.DateField("first day")),
    ("last", models.DateField("last day")),
    ("reason", models.CharField(max_length=120)),
]


def fields(own: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    return [
        ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
        ("version", models.PositiveIntegerField(default=1, editable=False)),
        ("created_at", models.DateTimeField(auto_now_add=True)),
        ("updated_at", models.DateTimeField(auto_now=True)),
        *own,
    ]


def told(own: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    """The fields of a record's history; what is unique in the record is not in there."""
    kept = [(name, field.clone()) for name, field in own]
    for _, field in kept:
        if field._unique:
            field._unique, field.db_index = False, True
    by = models.ForeignKey(
        null=True,
        on_delete=django.db.models.deletion.SET_NULL,
        related_name="+",
        to=settings.AUTH_USER_MODEL,
    )
    kinds = [("+", "Created"), ("~", "Changed"), ("-", "Deleted")]
    return [
        ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
        ("version", models.PositiveIntegerField(default=1, editable=False)),
        ("created_at", models.DateTimeField(blank=True, editable=False)),
        ("updated_at", models.DateTimeField(blank=True, editable=False)),
        *kept,
        ("history_id", models.AutoField(primary_key=True, serialize=False)),
        ("history_date", models.DateTimeField(db_index=True)),
        ("history_change_reason", models.CharField(max_length=100, null=True)),
        ("history_type", models.CharField(choices=kinds, max_length=1)),
        ("history_user", by),
    ]


def history_options(name: str, plural: str) -> dict[str, Any]:
    return {
        "verbose_name": f"historical {name}",
        "verbose_name_plural": f"historical {plural}",
        "ordering": ("-history_date", "-history_id"),
        "get_latest_by": ("history_date", "history_id"),
    }


HISTORY = (simple_history.models.HistoricalChanges, models.Model)


def keep_places(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Make the three places there were so far, and give each slot its own; a new shop's come later."""
    alias = schema_editor.connection.alias
    holders = [apps.get_model("jobs", name).objects.using(alias) for name in HOLDERS]
    if not any(holder.exists() for holder in holders):
        return
    places = apps.get_model("jobs", "WorkPlace").objects.using(alias)
    for order, (key, (name, kind)) in enumerate(PLACES.items(), start=1):
        place = places.create(name=name, kind=kind, order=order * 10)
        for holder in holders:
            holder.filter(place_key=key).update(place_id=place.pk)


def to_place(**more: Any) -> models.ForeignKey:
    return models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, to="jobs.workplace", **more)


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0003_caution_for_the_rider"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            "WorkPlace", fields(PLACE), options={"verbose_name": "place", "ordering": ("order", "pk")}
        ),
        migrations.CreateModel(
            "HistoricalWorkPlace", told(PLACE), options=history_options("place", "places"), bases=HISTORY
        ),
        migrations.CreateModel(
            "ShutDays",
            fields(SHUT),
            options={
                "verbose_name": "days shut",
                "verbose_name_plural": "days shut",
                "ordering": ("first", "pk"),
            },
        ),
        migrations.CreateModel(
            "HistoricalShutDays",
            told(SHUT),
            options=history_options("days shut", "days shut"),
            bases=HISTORY,
        ),
        migrations.AddConstraint(
            "workplace",
            models.CheckConstraint(condition=Q(kind__in=["dyno", "bench"]), name="work_place_kind_known"),
        ),
        migrations.AddConstraint(
            "shutdays",
            models.CheckConstraint(condition=Q(last__gte=F("first")), name="shut_days_in_order"),
        ),
        migrations.RemoveConstraint("slot", "slot_place_known"),
        migrations.RemoveConstraint("slotquarter", "slot_no_double_booking"),
        *[migrations.RenameField(holder, "place", "place_key") for holder in HOLDERS],
        migrations.AddField("slot", "place", to_place(null=True, related_name="slots")),
        migrations.AddField("slotquarter", "place", to_place(null=True, related_name="+")),
        migrations.AddField(
            "historicalslot",
            "place",
            models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                to="jobs.workplace",
            ),
        ),
        migrations.RunPython(keep_places, migrations.RunPython.noop),
        *[migrations.RemoveField(holder, "place_key") for holder in HOLDERS],
        migrations.AlterField("slot", "place", to_place(related_name="slots")),
        migrations.AlterField("slotquarter", "place", to_place(related_name="+")),
        migrations.AddConstraint(
            "slotquarter", models.UniqueConstraint(fields=["place", "at"], name="slot_no_double_booking")
        ),
    ]

"""A caution of each kind of tune change that speaks to the rider, for the handover sheet."""

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from jobs.defaults.change_kinds_and_checks import CHANGE_KINDS

FIELD = models.CharField("caution for the rider, as printed", max_length=300, blank=True, default="")


def fill(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """The words of a new shop's list where its caution stands as it came; else the shop's own, printed so far."""
    kinds = apps.get_model("jobs", "TuneChangeKind").objects.using(schema_editor.connection.alias)
    for_rider = {(row[0], row[4]): row[5] for row in CHANGE_KINDS}
    for kind in kinds.all():
        text = for_rider.get((kind.name, kind.caution), kind.caution)
        kinds.filter(pk=kind.pk).update(customer_caution=text)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0002_initial")]

    operations = [
        migrations.AddField("tunechangekind", "customer_caution", FIELD, preserve_default=False),
        migrations.AddField("historicaltunechangekind", "customer_caution", FIELD, preserve_default=False),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]

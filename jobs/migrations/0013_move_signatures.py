"""Move each job's signature into a receipt of its own; what it was given for was not stored with it."""

from django.db import migrations


def move_signatures(apps, schema_editor):
    job_model, receipt_model = (apps.get_model("jobs", name) for name in ("Job", "SignedReceipt"))
    for job in job_model.objects.using(schema_editor.connection.alias).filter(signed_at__isnull=False):
        receipt_model.objects.using(schema_editor.connection.alias).create(
            job=job, number=1, signed_by=job.signed_by, signed_at=job.signed_at, signature=job.signature
        )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0012_receipts_and_authorisations")]

    operations = [migrations.RunPython(move_signatures, migrations.RunPython.noop)]

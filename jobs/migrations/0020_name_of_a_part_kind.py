from django.db import migrations
from django.utils import timezone

FORMER, NAME = 'road equipment taken off', 'road equipment removed'


def rename(apps, schema_editor):
    """Rename the default kind unless the owner has edited it, which raises its version."""
    PartKind = apps.get_model('jobs', 'PartKind')
    History = apps.get_model('jobs', 'HistoricalPartKind')
    if PartKind.objects.filter(name=NAME).exists():
        return
    for kind in PartKind.objects.filter(name=FORMER, version=1):
        PartKind.objects.filter(pk=kind.pk).update(name=NAME, version=2)
        kind.refresh_from_db()
        values = {field.attname: getattr(kind, field.attname) for field in PartKind._meta.concrete_fields}
        History.objects.create(history_date=timezone.now(), history_type='~', **values)


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0019_contacts_wishes_and_plain_words'),
    ]

    operations = [
        migrations.RunPython(rename, migrations.RunPython.noop),
    ]

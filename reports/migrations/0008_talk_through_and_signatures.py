import django.db.models.deletion
import django.utils.timezone
import secrets
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0019_contacts_wishes_and_plain_words'),
        ('reports', '0007_check_code_of_a_sheet'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='handoversheet',
            name='certificate_sha256',
            field=models.CharField(blank=True, max_length=64),
        ),
        migrations.AddField(
            model_name='handoversheet',
            name='signature',
            field=models.BinaryField(blank=True, default=b''),
        ),
        migrations.AddField(
            model_name='historicalhandoversheet',
            name='certificate_sha256',
            field=models.CharField(blank=True, max_length=64),
        ),
        migrations.AddField(
            model_name='historicalsheetlink',
            name='with_talk_through',
            field=models.BooleanField(default=False, verbose_name='shows the talk-through too'),
        ),
        migrations.AddField(
            model_name='sheetlink',
            name='with_talk_through',
            field=models.BooleanField(default=False, verbose_name='shows the talk-through too'),
        ),
        migrations.AlterField(
            model_name='printing',
            name='step',
            field=models.CharField(choices=[('waiting', 'waiting to be printed'), ('pictures', 'drawing the pictures'), ('pages', 'laying out the pages'), ('keeping', 'saving the PDF'), ('done', 'printed'), ('stopped', 'stopped before it was printed'), ('failed', 'not printed')], default='waiting', max_length=10),
        ),
        migrations.CreateModel(
            name='HistoricalPublication',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(blank=True, editable=False)),
                ('updated_at', models.DateTimeField(blank=True, editable=False)),
                ('token', models.CharField(db_index=True, default=secrets.token_urlsafe, editable=False, max_length=64)),
                ('steps', models.JSONField(blank=True, default=list, editable=False)),
                ('consent_by', models.CharField(max_length=120, verbose_name='who gave consent')),
                ('consent_how', models.CharField(choices=[('in_person', 'in person'), ('phone', 'by phone'), ('writing', 'in writing')], max_length=10, verbose_name='how')),
                ('consent_at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='consent given at')),
                ('revoked_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('recorded_by', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('sheet', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='reports.handoversheet')),
            ],
            options={
                'verbose_name': 'historical publication',
                'verbose_name_plural': 'historical publications',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalTalkThrough',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(blank=True, editable=False)),
                ('updated_at', models.DateTimeField(blank=True, editable=False)),
                ('steps', models.JSONField(blank=True, default=list)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='jobs.job')),
            ],
            options={
                'verbose_name': 'historical talk through',
                'verbose_name_plural': 'historical talk throughs',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='TalkThrough',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('steps', models.JSONField(blank=True, default=list)),
                ('job', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='talk_through', to='jobs.job')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Publication',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('token', models.CharField(default=secrets.token_urlsafe, editable=False, max_length=64, unique=True)),
                ('steps', models.JSONField(blank=True, default=list, editable=False)),
                ('consent_by', models.CharField(max_length=120, verbose_name='who gave consent')),
                ('consent_how', models.CharField(choices=[('in_person', 'in person'), ('phone', 'by phone'), ('writing', 'in writing')], max_length=10, verbose_name='how')),
                ('consent_at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='consent given at')),
                ('revoked_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('recorded_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='publications', to='reports.handoversheet')),
            ],
            options={
                'ordering': ('created_at', 'pk'),
                'constraints': [models.CheckConstraint(condition=models.Q(('consent_by', ''), _negated=True), name='publication_has_consent')],
            },
        ),
    ]

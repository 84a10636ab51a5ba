import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0018_dyno_checks'),
        ('workshop', '0010_instruments_and_plain_words'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterModelOptions(
            name='historicalshutdays',
            options={'get_latest_by': ('history_date', 'history_id'), 'ordering': ('-history_date', '-history_id'), 'verbose_name': 'historical closed days', 'verbose_name_plural': 'historical closed days'},
        ),
        migrations.AlterModelOptions(
            name='historicalworkplace',
            options={'get_latest_by': ('history_date', 'history_id'), 'ordering': ('-history_date', '-history_id'), 'verbose_name': 'historical workstation', 'verbose_name_plural': 'historical workstations'},
        ),
        migrations.AlterModelOptions(
            name='shutdays',
            options={'ordering': ('first', 'pk'), 'verbose_name': 'closed days', 'verbose_name_plural': 'closed days'},
        ),
        migrations.AlterModelOptions(
            name='workplace',
            options={'ordering': ('order', 'pk'), 'verbose_name': 'workstation'},
        ),
        migrations.AddField(
            model_name='clearanceset',
            name='feeler_gauge',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='workshop.instrument'),
        ),
        migrations.AddField(
            model_name='clearanceset',
            name='micrometer',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='workshop.instrument'),
        ),
        migrations.AddField(
            model_name='dynocheck',
            name='instrument',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='workshop.instrument', verbose_name='instrument for the true value'),
        ),
        migrations.AddField(
            model_name='dynocheck',
            name='true_value_error',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='true value known within (±)'),
        ),
        migrations.AddField(
            model_name='historicalclearanceset',
            name='feeler_gauge',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='workshop.instrument'),
        ),
        migrations.AddField(
            model_name='historicalclearanceset',
            name='micrometer',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='workshop.instrument'),
        ),
        migrations.AddField(
            model_name='historicaldynocheck',
            name='instrument',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='workshop.instrument', verbose_name='instrument for the true value'),
        ),
        migrations.AddField(
            model_name='historicaldynocheck',
            name='true_value_error',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='true value known within (±)'),
        ),
        migrations.AddField(
            model_name='historicalrun',
            name='held_grip_pct',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(100)], verbose_name='twist grip (%)'),
        ),
        migrations.AddField(
            model_name='historicalrun',
            name='lambda_probe',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='workshop.instrument', verbose_name='lambda probe or meter'),
        ),
        migrations.AddField(
            model_name='historicalrun',
            name='name',
            field=models.CharField(blank=True, max_length=120),
        ),
        migrations.AddField(
            model_name='historicalrun',
            name='weather_station',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='workshop.instrument'),
        ),
        migrations.AddField(
            model_name='historicalslot',
            name='person',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='run',
            name='held_grip_pct',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(100)], verbose_name='twist grip (%)'),
        ),
        migrations.AddField(
            model_name='run',
            name='lambda_probe',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='workshop.instrument', verbose_name='lambda probe or meter'),
        ),
        migrations.AddField(
            model_name='run',
            name='name',
            field=models.CharField(blank=True, max_length=120),
        ),
        migrations.AddField(
            model_name='run',
            name='weather_station',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='workshop.instrument'),
        ),
        migrations.AddField(
            model_name='slot',
            name='person',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AlterField(
            model_name='bikechange',
            name='description',
            field=models.CharField(max_length=300, verbose_name='change'),
        ),
        migrations.AlterField(
            model_name='bikechange',
            name='removes_part',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='jobs.part', verbose_name='removes'),
        ),
        migrations.AlterField(
            model_name='checkitem',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='clearanceset',
            name='instrument',
            field=models.CharField(blank=True, max_length=80, verbose_name='other instrument'),
        ),
        migrations.AlterField(
            model_name='clearanceset',
            name='stood_hours',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(24)], verbose_name='time at rest (hours)'),
        ),
        migrations.AlterField(
            model_name='historicalbikechange',
            name='description',
            field=models.CharField(max_length=300, verbose_name='change'),
        ),
        migrations.AlterField(
            model_name='historicalbikechange',
            name='removes_part',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='jobs.part', verbose_name='removes'),
        ),
        migrations.AlterField(
            model_name='historicalcheckitem',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='historicalclearanceset',
            name='instrument',
            field=models.CharField(blank=True, max_length=80, verbose_name='other instrument'),
        ),
        migrations.AlterField(
            model_name='historicalclearanceset',
            name='stood_hours',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(24)], verbose_name='time at rest (hours)'),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='authorised_amount',
            field=models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name="customer's limit"),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='booked_for',
            field=models.DateTimeField(blank=True, null=True, verbose_name='drop-off'),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='brief',
            field=models.TextField(verbose_name="customer's request"),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='condition_marks',
            field=models.JSONField(blank=True, default=list, verbose_name='damage marks'),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='keys',
            field=models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='keys'),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='not_tested',
            field=models.TextField(blank=True, verbose_name='not tested'),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='promised_at',
            field=models.DateTimeField(blank=True, null=True, verbose_name='ready by'),
        ),
        migrations.AlterField(
            model_name='historicaljob',
            name='stage',
            field=models.CharField(choices=[('booked', 'booked'), ('received', 'checked in'), ('bench', 'on the bench'), ('roller', 'on the dyno'), ('waiting', 'waiting'), ('ready', 'ready to hand over'), ('handed_over', 'handed over'), ('cancelled', 'cancelled')], default='booked', editable=False, max_length=20),
        ),
        migrations.AlterField(
            model_name='historicalmixturestudy',
            name='rpm_axis',
            field=models.JSONField(verbose_name='engine speed axis (rpm)'),
        ),
        migrations.AlterField(
            model_name='historicalmixturestudy',
            name='target',
            field=models.JSONField(verbose_name='target lambda (one value, one per throttle point, or one per cell)'),
        ),
        migrations.AlterField(
            model_name='historicalpart',
            name='removes_part',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='jobs.part', verbose_name='removes'),
        ),
        migrations.AlterField(
            model_name='historicalpartkind',
            name='customer_caution',
            field=models.CharField(blank=True, max_length=300, verbose_name='note for the rider (printed)'),
        ),
        migrations.AlterField(
            model_name='historicalpartkind',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='historicalphoto',
            name='caption',
            field=models.CharField(blank=True, max_length=200, verbose_name='caption'),
        ),
        migrations.AlterField(
            model_name='historicalrun',
            name='corrected_by',
            field=models.CharField(blank=True, max_length=20, verbose_name='correction already applied in the file'),
        ),
        migrations.AlterField(
            model_name='historicalrun',
            name='file_factor',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0.5), django.core.validators.MaxValueValidator(1.5)], verbose_name='correction factor in the file'),
        ),
        migrations.AlterField(
            model_name='historicalrun',
            name='kind',
            field=models.CharField(choices=[('sweep', 'sweep'), ('held', 'held-throttle run'), ('idle', 'idle'), ('coast', 'coast-down'), ('other', 'other')], default='sweep', max_length=10),
        ),
        migrations.AlterField(
            model_name='historicalrun',
            name='pressure_kpa',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(50), django.core.validators.MaxValueValidator(110)], verbose_name='barometer, absolute (kPa)'),
        ),
        migrations.AlterField(
            model_name='historicalrun',
            name='set_aside_reason',
            field=models.CharField(blank=True, max_length=200, verbose_name='reason for excluding'),
        ),
        migrations.AlterField(
            model_name='historicalrun',
            name='status',
            field=models.CharField(choices=[('to_name', 'to be confirmed'), ('read', 'read'), ('refused', 'cannot be read')], default='to_name', editable=False, max_length=10),
        ),
        migrations.AlterField(
            model_name='historicalshimplan',
            name='policy',
            field=models.CharField(choices=[('target', 'closest to target'), ('fewest_new', 'fewest shims to buy'), ('fewest_camshafts', 'fewest camshafts removed')], max_length=20),
        ),
        migrations.AlterField(
            model_name='historicalshimplanrow',
            name='in_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, validators=[django.core.validators.MinValueValidator(0)], verbose_name='new shim (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalshimplanrow',
            name='out_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, validators=[django.core.validators.MinValueValidator(0)], verbose_name='old shim (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalsignedreceipt',
            name='signature',
            field=models.JSONField(blank=True, default=list, verbose_name='signature'),
        ),
        migrations.AlterField(
            model_name='historicalstageentry',
            name='stage',
            field=models.CharField(choices=[('booked', 'booked'), ('received', 'checked in'), ('bench', 'on the bench'), ('roller', 'on the dyno'), ('waiting', 'waiting'), ('ready', 'ready to hand over'), ('handed_over', 'handed over'), ('cancelled', 'cancelled')], max_length=20),
        ),
        migrations.AlterField(
            model_name='historicalsuspensionsetting',
            name='set_at',
            field=models.DateTimeField(default=django.utils.timezone.now, verbose_name='date and time'),
        ),
        migrations.AlterField(
            model_name='historicalthrottletable',
            name='for_whom',
            field=models.CharField(blank=True, max_length=200, verbose_name='who this mode suits'),
        ),
        migrations.AlterField(
            model_name='historicalthrottletable',
            name='mode',
            field=models.CharField(max_length=40, verbose_name='riding mode (as named on the bike)'),
        ),
        migrations.AlterField(
            model_name='historicaltunechange',
            name='detail',
            field=models.CharField(blank=True, max_length=120, verbose_name='applies to (mode, cylinder, range)'),
        ),
        migrations.AlterField(
            model_name='historicaltunechangekind',
            name='caution',
            field=models.CharField(blank=True, max_length=300, verbose_name='workshop caution (shown to the tuner)'),
        ),
        migrations.AlterField(
            model_name='historicaltunechangekind',
            name='customer_caution',
            field=models.CharField(blank=True, max_length=300, verbose_name='note for the rider (printed)'),
        ),
        migrations.AlterField(
            model_name='historicaltunechangekind',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='historicaltunechangekind',
            name='road_use_effect',
            field=models.CharField(blank=True, max_length=300, verbose_name='road-use effect (printed)'),
        ),
        migrations.AlterField(
            model_name='historicaltunerevision',
            name='title',
            field=models.CharField(blank=True, max_length=120, verbose_name='short name'),
        ),
        migrations.AlterField(
            model_name='historicalworkplace',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='job',
            name='authorised_amount',
            field=models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name="customer's limit"),
        ),
        migrations.AlterField(
            model_name='job',
            name='booked_for',
            field=models.DateTimeField(blank=True, null=True, verbose_name='drop-off'),
        ),
        migrations.AlterField(
            model_name='job',
            name='brief',
            field=models.TextField(verbose_name="customer's request"),
        ),
        migrations.AlterField(
            model_name='job',
            name='condition_marks',
            field=models.JSONField(blank=True, default=list, verbose_name='damage marks'),
        ),
        migrations.AlterField(
            model_name='job',
            name='keys',
            field=models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='keys'),
        ),
        migrations.AlterField(
            model_name='job',
            name='not_tested',
            field=models.TextField(blank=True, verbose_name='not tested'),
        ),
        migrations.AlterField(
            model_name='job',
            name='promised_at',
            field=models.DateTimeField(blank=True, null=True, verbose_name='ready by'),
        ),
        migrations.AlterField(
            model_name='job',
            name='stage',
            field=models.CharField(choices=[('booked', 'booked'), ('received', 'checked in'), ('bench', 'on the bench'), ('roller', 'on the dyno'), ('waiting', 'waiting'), ('ready', 'ready to hand over'), ('handed_over', 'handed over'), ('cancelled', 'cancelled')], default='booked', editable=False, max_length=20),
        ),
        migrations.AlterField(
            model_name='mixturestudy',
            name='rpm_axis',
            field=models.JSONField(verbose_name='engine speed axis (rpm)'),
        ),
        migrations.AlterField(
            model_name='mixturestudy',
            name='target',
            field=models.JSONField(verbose_name='target lambda (one value, one per throttle point, or one per cell)'),
        ),
        migrations.AlterField(
            model_name='part',
            name='removes_part',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='jobs.part', verbose_name='removes'),
        ),
        migrations.AlterField(
            model_name='partkind',
            name='customer_caution',
            field=models.CharField(blank=True, max_length=300, verbose_name='note for the rider (printed)'),
        ),
        migrations.AlterField(
            model_name='partkind',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='photo',
            name='caption',
            field=models.CharField(blank=True, max_length=200, verbose_name='caption'),
        ),
        migrations.AlterField(
            model_name='run',
            name='corrected_by',
            field=models.CharField(blank=True, max_length=20, verbose_name='correction already applied in the file'),
        ),
        migrations.AlterField(
            model_name='run',
            name='file_factor',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0.5), django.core.validators.MaxValueValidator(1.5)], verbose_name='correction factor in the file'),
        ),
        migrations.AlterField(
            model_name='run',
            name='kind',
            field=models.CharField(choices=[('sweep', 'sweep'), ('held', 'held-throttle run'), ('idle', 'idle'), ('coast', 'coast-down'), ('other', 'other')], default='sweep', max_length=10),
        ),
        migrations.AlterField(
            model_name='run',
            name='pressure_kpa',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(50), django.core.validators.MaxValueValidator(110)], verbose_name='barometer, absolute (kPa)'),
        ),
        migrations.AlterField(
            model_name='run',
            name='set_aside_reason',
            field=models.CharField(blank=True, max_length=200, verbose_name='reason for excluding'),
        ),
        migrations.AlterField(
            model_name='run',
            name='status',
            field=models.CharField(choices=[('to_name', 'to be confirmed'), ('read', 'read'), ('refused', 'cannot be read')], default='to_name', editable=False, max_length=10),
        ),
        migrations.AlterField(
            model_name='shimplan',
            name='policy',
            field=models.CharField(choices=[('target', 'closest to target'), ('fewest_new', 'fewest shims to buy'), ('fewest_camshafts', 'fewest camshafts removed')], max_length=20),
        ),
        migrations.AlterField(
            model_name='shimplanrow',
            name='in_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, validators=[django.core.validators.MinValueValidator(0)], verbose_name='new shim (mm)'),
        ),
        migrations.AlterField(
            model_name='shimplanrow',
            name='out_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, validators=[django.core.validators.MinValueValidator(0)], verbose_name='old shim (mm)'),
        ),
        migrations.AlterField(
            model_name='signedreceipt',
            name='signature',
            field=models.JSONField(blank=True, default=list, verbose_name='signature'),
        ),
        migrations.AlterField(
            model_name='stageentry',
            name='stage',
            field=models.CharField(choices=[('booked', 'booked'), ('received', 'checked in'), ('bench', 'on the bench'), ('roller', 'on the dyno'), ('waiting', 'waiting'), ('ready', 'ready to hand over'), ('handed_over', 'handed over'), ('cancelled', 'cancelled')], max_length=20),
        ),
        migrations.AlterField(
            model_name='suspensionsetting',
            name='set_at',
            field=models.DateTimeField(default=django.utils.timezone.now, verbose_name='date and time'),
        ),
        migrations.AlterField(
            model_name='throttletable',
            name='for_whom',
            field=models.CharField(blank=True, max_length=200, verbose_name='who this mode suits'),
        ),
        migrations.AlterField(
            model_name='throttletable',
            name='mode',
            field=models.CharField(max_length=40, verbose_name='riding mode (as named on the bike)'),
        ),
        migrations.AlterField(
            model_name='tunechange',
            name='detail',
            field=models.CharField(blank=True, max_length=120, verbose_name='applies to (mode, cylinder, range)'),
        ),
        migrations.AlterField(
            model_name='tunechangekind',
            name='caution',
            field=models.CharField(blank=True, max_length=300, verbose_name='workshop caution (shown to the tuner)'),
        ),
        migrations.AlterField(
            model_name='tunechangekind',
            name='customer_caution',
            field=models.CharField(blank=True, max_length=300, verbose_name='note for the rider (printed)'),
        ),
        migrations.AlterField(
            model_name='tunechangekind',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.AlterField(
            model_name='tunechangekind',
            name='road_use_effect',
            field=models.CharField(blank=True, max_length=300, verbose_name='road-use effect (printed)'),
        ),
        migrations.AlterField(
            model_name='tunerevision',
            name='title',
            field=models.CharField(blank=True, max_length=120, verbose_name='short name'),
        ),
        migrations.AlterField(
            model_name='workplace',
            name='retired',
            field=models.BooleanField(default=False, verbose_name='archived'),
        ),
        migrations.CreateModel(
            name='HistoricalContactEntry',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(blank=True, editable=False)),
                ('updated_at', models.DateTimeField(blank=True, editable=False)),
                ('kind', models.CharField(choices=[('note', 'note'), ('call', 'call'), ('message', 'message')], default='note', max_length=20, verbose_name='kind')),
                ('direction', models.CharField(blank=True, choices=[('in', 'from the customer'), ('out', 'to the customer')], max_length=10, verbose_name='direction')),
                ('text', models.TextField(max_length=4000, verbose_name='text')),
                ('said_at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='when')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('by', models.ForeignKey(blank=True, db_constraint=False, editable=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='jobs.job')),
            ],
            options={
                'verbose_name': 'historical contact entry',
                'verbose_name_plural': 'historical contact entries',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalWish',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(blank=True, editable=False)),
                ('updated_at', models.DateTimeField(blank=True, editable=False)),
                ('position', models.PositiveSmallIntegerField(default=1, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(99)])),
                ('text', models.CharField(max_length=200, verbose_name='wish')),
                ('result', models.CharField(choices=[('open', 'open'), ('done', 'done'), ('partly', 'partly done'), ('not_done', 'not done'), ('ask_first', 'ask the customer first')], default='open', max_length=10)),
                ('answer', models.CharField(blank=True, max_length=300, verbose_name='answer in one line')),
                ('records', models.JSONField(blank=True, default=list, verbose_name='records that show it')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('answered_by', models.ForeignKey(blank=True, db_constraint=False, editable=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='jobs.job')),
            ],
            options={
                'verbose_name': 'historical wish',
                'verbose_name_plural': 'historical wishes',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='ContactEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('kind', models.CharField(choices=[('note', 'note'), ('call', 'call'), ('message', 'message')], default='note', max_length=20, verbose_name='kind')),
                ('direction', models.CharField(blank=True, choices=[('in', 'from the customer'), ('out', 'to the customer')], max_length=10, verbose_name='direction')),
                ('text', models.TextField(max_length=4000, verbose_name='text')),
                ('said_at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='when')),
                ('by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='contacts', to='jobs.job')),
            ],
            options={
                'verbose_name_plural': 'contact entries',
                'ordering': ('said_at', 'pk'),
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('direction', ''), ('kind', 'note')), models.Q(models.Q(('kind', 'note'), _negated=True), models.Q(('direction', ''), _negated=True)), _connector='OR'), name='contact_has_direction_unless_note'), models.CheckConstraint(condition=models.Q(('text', ''), _negated=True), name='contact_has_text')],
            },
        ),
        migrations.CreateModel(
            name='Wish',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('position', models.PositiveSmallIntegerField(default=1, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(99)])),
                ('text', models.CharField(max_length=200, verbose_name='wish')),
                ('result', models.CharField(choices=[('open', 'open'), ('done', 'done'), ('partly', 'partly done'), ('not_done', 'not done'), ('ask_first', 'ask the customer first')], default='open', max_length=10)),
                ('answer', models.CharField(blank=True, max_length=300, verbose_name='answer in one line')),
                ('records', models.JSONField(blank=True, default=list, verbose_name='records that show it')),
                ('answered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='wishes', to='jobs.job')),
            ],
            options={
                'verbose_name_plural': 'wishes',
                'ordering': ('position', 'pk'),
                'constraints': [models.CheckConstraint(condition=models.Q(('text', ''), _negated=True), name='wish_has_text'), models.CheckConstraint(condition=models.Q(('result', 'open'), models.Q(('answer', ''), _negated=True), _connector='OR'), name='wish_with_result_has_answer')],
            },
        ),
    ]

import django.core.validators
import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('workshop', '0009_dyno_spread_and_accuracy'),
    ]

    operations = [
        migrations.AddField(
            model_name='customer',
            name='language',
            field=models.CharField(choices=[('en', 'English'), ('de', 'Deutsch'), ('es', 'español')], default='en', max_length=5, verbose_name='language of what the shop sends'),
        ),
        migrations.AddField(
            model_name='historicalcustomer',
            name='language',
            field=models.CharField(choices=[('en', 'English'), ('de', 'Deutsch'), ('es', 'español')], default='en', max_length=5, verbose_name='language of what the shop sends'),
        ),
        migrations.AlterField(
            model_name='customer',
            name='riding_mass_kg',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(30), django.core.validators.MaxValueValidator(250)], verbose_name='rider weight with gear (kg)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='camshafts',
            field=models.CharField(choices=[('sohc', 'one camshaft per bank (SOHC)'), ('dohc', 'two camshafts per bank (DOHC)')], default='dohc', max_length=8),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='exhaust_closing_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='exhaust closing target (mm)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='exhaust_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='exhaust target (mm)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='exhaust_valves',
            field=models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(3)], verbose_name='exhaust valves per cylinder'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='idle_rpm',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='idle speed (rpm)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='intake_closing_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='intake closing target (mm)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='intake_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='intake target (mm)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='intake_valves',
            field=models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(3)], verbose_name='intake valves per cylinder'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='maker',
            field=models.CharField(max_length=60, verbose_name='manufacturer'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='rev_limit_rpm',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='rev limit (rpm)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='source_manual',
            field=models.CharField(blank=True, max_length=160, verbose_name='source (manual, edition, page)'),
        ),
        migrations.AlterField(
            model_name='enginespec',
            name='target_tolerance_mm',
            field=models.DecimalField(decimal_places=5, default='0.01', max_digits=9, validators=[django.core.validators.MinValueValidator(0)], verbose_name='target tolerance (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalcustomer',
            name='riding_mass_kg',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(30), django.core.validators.MaxValueValidator(250)], verbose_name='rider weight with gear (kg)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='camshafts',
            field=models.CharField(choices=[('sohc', 'one camshaft per bank (SOHC)'), ('dohc', 'two camshafts per bank (DOHC)')], default='dohc', max_length=8),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='exhaust_closing_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='exhaust closing target (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='exhaust_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='exhaust target (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='exhaust_valves',
            field=models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(3)], verbose_name='exhaust valves per cylinder'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='idle_rpm',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='idle speed (rpm)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='intake_closing_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='intake closing target (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='intake_target_mm',
            field=models.DecimalField(blank=True, decimal_places=5, max_digits=9, null=True, validators=[django.core.validators.MinValueValidator(0)], verbose_name='intake target (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='intake_valves',
            field=models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(3)], verbose_name='intake valves per cylinder'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='maker',
            field=models.CharField(max_length=60, verbose_name='manufacturer'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='rev_limit_rpm',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='rev limit (rpm)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='source_manual',
            field=models.CharField(blank=True, max_length=160, verbose_name='source (manual, edition, page)'),
        ),
        migrations.AlterField(
            model_name='historicalenginespec',
            name='target_tolerance_mm',
            field=models.DecimalField(decimal_places=5, default='0.01', max_digits=9, validators=[django.core.validators.MinValueValidator(0)], verbose_name='target tolerance (mm)'),
        ),
        migrations.AlterField(
            model_name='historicalshopprofile',
            name='grid_step_rpm',
            field=models.PositiveSmallIntegerField(choices=[(25, '25'), (50, '50'), (100, '100')], default=50, verbose_name='rpm grid step (rpm)'),
        ),
        migrations.AlterField(
            model_name='historicalshopprofile',
            name='notice_text',
            field=models.TextField(blank=True, verbose_name='your own notice on the handover sheet'),
        ),
        migrations.AlterField(
            model_name='historicalshopprofile',
            name='smoothing_width_rpm',
            field=models.PositiveSmallIntegerField(default=300, verbose_name='smoothing width (rpm)'),
        ),
        migrations.AlterField(
            model_name='shopprofile',
            name='grid_step_rpm',
            field=models.PositiveSmallIntegerField(choices=[(25, '25'), (50, '50'), (100, '100')], default=50, verbose_name='rpm grid step (rpm)'),
        ),
        migrations.AlterField(
            model_name='shopprofile',
            name='notice_text',
            field=models.TextField(blank=True, verbose_name='your own notice on the handover sheet'),
        ),
        migrations.AlterField(
            model_name='shopprofile',
            name='smoothing_width_rpm',
            field=models.PositiveSmallIntegerField(default=300, verbose_name='smoothing width (rpm)'),
        ),
        migrations.CreateModel(
            name='HistoricalInstrument',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(blank=True, editable=False)),
                ('updated_at', models.DateTimeField(blank=True, editable=False)),
                ('name', models.CharField(max_length=80)),
                ('kind', models.CharField(choices=[('feeler', 'feeler gauges'), ('micrometer', 'micrometer'), ('dial', 'dial gauge'), ('weather', 'weather station'), ('lambda', 'lambda probe or meter'), ('thermometer', 'thermometer'), ('pressure', 'pressure gauge'), ('torque', 'torque wrench'), ('weight', 'weights or scales'), ('other', 'other')], max_length=20)),
                ('number', models.CharField(blank=True, max_length=40, verbose_name='serial or shop number')),
                ('withdrawn', models.BooleanField(default=False, verbose_name='withdrawn from use')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'historical instrument',
                'verbose_name_plural': 'historical instruments',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='Instrument',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('name', models.CharField(max_length=80)),
                ('kind', models.CharField(choices=[('feeler', 'feeler gauges'), ('micrometer', 'micrometer'), ('dial', 'dial gauge'), ('weather', 'weather station'), ('lambda', 'lambda probe or meter'), ('thermometer', 'thermometer'), ('pressure', 'pressure gauge'), ('torque', 'torque wrench'), ('weight', 'weights or scales'), ('other', 'other')], max_length=20)),
                ('number', models.CharField(blank=True, max_length=40, verbose_name='serial or shop number')),
                ('withdrawn', models.BooleanField(default=False, verbose_name='withdrawn from use')),
            ],
            options={
                'ordering': ('kind', 'name', 'number', 'pk'),
                'constraints': [models.UniqueConstraint(condition=models.Q(('number', ''), _negated=True), fields=('kind', 'number'), name='instrument_number_unique', violation_error_message='An instrument of this kind with this number already exists.')],
            },
        ),
        migrations.CreateModel(
            name='HistoricalInstrumentCheck',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(blank=True, editable=False)),
                ('updated_at', models.DateTimeField(blank=True, editable=False)),
                ('checked_on', models.DateField()),
                ('checked_by', models.CharField(max_length=120, verbose_name='checked by or where')),
                ('certificate', models.CharField(blank=True, max_length=60, verbose_name='certificate number')),
                ('due_on', models.DateField(blank=True, null=True, verbose_name='next check due')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('instrument', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='workshop.instrument')),
            ],
            options={
                'verbose_name': 'historical instrument check',
                'verbose_name_plural': 'historical instrument checks',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='InstrumentCheck',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('checked_on', models.DateField()),
                ('checked_by', models.CharField(max_length=120, verbose_name='checked by or where')),
                ('certificate', models.CharField(blank=True, max_length=60, verbose_name='certificate number')),
                ('due_on', models.DateField(blank=True, null=True, verbose_name='next check due')),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='checks', to='workshop.instrument')),
            ],
            options={
                'ordering': ('checked_on', 'pk'),
                'constraints': [models.CheckConstraint(condition=models.Q(('due_on', None), ('due_on__gt', models.F('checked_on')), _connector='OR'), name='instrument_check_due_later', violation_error_message='The next check must be due after this one.')],
            },
        ),
    ]

import django.db.models.deletion
import kits.catalog.fields
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('catalog', '0005_log_requests'),
        ('people', '__first__'),
        ('schedule', '0006_change_more_of_a_job'),
    ]

    operations = [
        migrations.CreateModel(
            name='Gauge',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('gauge', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('gauge',))),
                ('reads', models.CharField(blank=True, max_length=200, verbose_name='what it reads')),
                ('calibrated_on', models.DateField(blank=True, null=True)),
                ('due_on', models.DateField(verbose_name='calibrated to')),
                ('certificate', models.CharField(blank=True, max_length=200)),
            ],
            options={
                'ordering': ('folded',),
                'constraints': [models.UniqueConstraint(fields=('folded',), name='gauge_once', violation_error_code='gauge_once', violation_error_message='A gauge of this name exists already.'), models.CheckConstraint(condition=models.Q(('calibrated_on__isnull', True), ('due_on__isnull', True), ('due_on__gte', models.F('calibrated_on')), _connector='OR'), name='gauge_days', violation_error_code='gauge_days', violation_error_message='A calibration ends not before it was made.')],
            },
        ),
        migrations.CreateModel(
            name='HistoricalGauge',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('named', models.CharField(max_length=1500)),
                ('elsewhere', models.BooleanField(default=False)),
                ('gauge', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('gauge',))),
                ('reads', models.CharField(blank=True, max_length=200, verbose_name='what it reads')),
                ('calibrated_on', models.DateField(blank=True, null=True)),
                ('due_on', models.DateField(verbose_name='calibrated to')),
                ('certificate', models.CharField(blank=True, max_length=200)),
                ('history_change_reason', models.CharField(blank=True, max_length=500)),
                ('history_id', models.BigAutoField(editable=False, primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField()),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'past version of gauge',
                'verbose_name_plural': 'past versions of gauges',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
                'default_permissions': ('view',),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalPumpLimit',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('named', models.CharField(max_length=1500)),
                ('elsewhere', models.BooleanField(default=False)),
                ('check_of', models.CharField(choices=[('stall', 'Pressure at stall'), ('held', 'Minutes held'), ('fall', 'Fall while held'), ('leak_out', 'Leak to the outside'), ('leak_in', 'Leak inside'), ('cycles', 'Cycles')], max_length=10)),
                ('at_least', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('at_most', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('unit', models.CharField(max_length=20)),
                ('how', models.CharField(blank=True, max_length=200)),
                ('source', models.CharField(blank=True, max_length=200, verbose_name='where this is stated')),
                ('history_change_reason', models.CharField(blank=True, max_length=500)),
                ('history_id', models.BigAutoField(editable=False, primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField()),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('pump', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='catalog.item')),
            ],
            options={
                'verbose_name': 'past version of pump limit',
                'verbose_name_plural': 'past versions of pump limits',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
                'default_permissions': ('view',),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalWorkHours',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('named', models.CharField(max_length=1500)),
                ('elsewhere', models.BooleanField(default=False)),
                ('scope', models.CharField(blank=True, max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('scope',))),
                ('hours', models.DecimalField(decimal_places=2, max_digits=7)),
                ('history_change_reason', models.CharField(blank=True, max_length=500)),
                ('history_id', models.BigAutoField(editable=False, primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField()),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('item', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='catalog.item')),
            ],
            options={
                'verbose_name': 'past version of work hours',
                'verbose_name_plural': 'past versions of work hours',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
                'default_permissions': ('view',),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='PastStrip',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('scope', models.CharField(max_length=100)),
                ('quantity', models.PositiveIntegerField()),
                ('option', models.CharField(blank=True, max_length=500)),
                ('build_on', models.DateField()),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='past_strips', to='schedule.job')),
                ('pump', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
            ],
            options={
                'ordering': ('job', 'number'),
            },
        ),
        migrations.CreateModel(
            name='PastFinding',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('finding', models.CharField(max_length=200)),
                ('found_on', models.DateField(null=True)),
                ('note', models.CharField(blank=True, max_length=500)),
                ('section', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
                ('strip', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='findings', to='service.paststrip')),
            ],
            options={
                'ordering': ('strip', 'id'),
            },
        ),
        migrations.CreateModel(
            name='PumpTest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('strip', models.PositiveIntegerField()),
                ('pump_number', models.PositiveIntegerField(default=1)),
                ('passed', models.BooleanField()),
                ('gauge_due_on', models.DateField(null=True)),
                ('tested_with', models.CharField(blank=True, max_length=100)),
                ('says', models.CharField(blank=True, max_length=500)),
                ('key', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('gauge', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='tests', to='service.gauge')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='tests', to='schedule.job')),
                ('step', models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='test', to='schedule.jobstep')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='pump_test_once', violation_error_code='pump_test_once', violation_error_message='This test was written down already.'), models.CheckConstraint(condition=models.Q(('passed', True), models.Q(('says', ''), _negated=True), _connector='OR'), name='pump_test_failed', violation_error_code='pump_test_failed', violation_error_message='A test that was not passed says why.'), models.CheckConstraint(condition=models.Q(models.Q(('gauge__isnull', True), ('gauge_due_on__isnull', True)), models.Q(('gauge__isnull', False), ('gauge_due_on__isnull', False)), _connector='OR'), name='pump_test_gauge', violation_error_code='pump_test_gauge', violation_error_message='A gauge goes with the day to which it was calibrated.')],
            },
        ),
        migrations.AddField(
            model_name='paststrip',
            name='test',
            field=models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='ends_strip', to='service.pumptest'),
        ),
        migrations.CreateModel(
            name='GaugeReading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('check_of', models.CharField(choices=[('stall', 'Pressure at stall'), ('held', 'Minutes held'), ('fall', 'Fall while held'), ('leak_out', 'Leak to the outside'), ('leak_in', 'Leak inside'), ('cycles', 'Cycles')], max_length=10)),
                ('typed', models.CharField(max_length=50)),
                ('value', models.DecimalField(decimal_places=6, max_digits=18)),
                ('unit', models.CharField(max_length=20)),
                ('at_least', models.DecimalField(decimal_places=4, max_digits=14, null=True)),
                ('at_most', models.DecimalField(decimal_places=4, max_digits=14, null=True)),
                ('how', models.CharField(blank=True, max_length=200)),
                ('within', models.BooleanField()),
                ('test', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='service.pumptest')),
            ],
            options={
                'ordering': ('test', 'id'),
                'constraints': [models.UniqueConstraint(fields=('test', 'check_of'), name='gauge_reading_once', violation_error_code='gauge_reading_once', violation_error_message='The test has a reading of this already.'), models.CheckConstraint(condition=models.Q(('check_of__in', ['stall', 'held', 'fall', 'leak_out', 'leak_in', 'cycles'])), name='gauge_reading_check', violation_error_code='gauge_reading_check', violation_error_message='Check of is one of: stall, held, fall, leak_out, leak_in, cycles.')],
            },
        ),
        migrations.CreateModel(
            name='Quote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField()),
                ('work', models.CharField(max_length=300)),
                ('note', models.CharField(blank=True, max_length=500)),
                ('currency', models.CharField(blank=True, max_length=10)),
                ('total', models.DecimalField(decimal_places=2, max_digits=16)),
                ('unpriced', models.PositiveIntegerField(default=0)),
                ('ceiling_percent', models.DecimalField(decimal_places=2, max_digits=7)),
                ('new_price', models.DecimalField(decimal_places=2, max_digits=16, null=True)),
                ('key', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='quotes', to='schedule.job')),
            ],
            options={
                'ordering': ('job', '-version'),
                'constraints': [models.UniqueConstraint(fields=('job', 'version'), name='quote_version_once', violation_error_code='quote_version_once', violation_error_message='The job has a quote of this version already.'), models.UniqueConstraint(fields=('key',), name='quote_key_once', violation_error_code='quote_key_once', violation_error_message='This quote was stored already.')],
            },
        ),
        migrations.CreateModel(
            name='GoAhead',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('says', models.CharField(max_length=300, verbose_name='who gave it, or the order number')),
                ('key', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('taken_back_why', models.CharField(blank=True, max_length=300)),
                ('taken_back_at', models.DateTimeField(null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('taken_back_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('quote', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='go_aheads', to='service.quote')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='go_ahead_key_once', violation_error_code='go_ahead_key_once', violation_error_message='This go-ahead was written down already.'), models.UniqueConstraint(condition=models.Q(('taken_back_at__isnull', True)), fields=('quote',), name='go_ahead_stands_once', violation_error_code='go_ahead_stands_once', violation_error_message='This version has its go-ahead already.'), models.CheckConstraint(condition=models.Q(('says', ''), _negated=True), name='go_ahead_says', violation_error_code='go_ahead_says', violation_error_message='A go-ahead says who gave it, or names the order.'), models.CheckConstraint(condition=models.Q(models.Q(('taken_back_at__isnull', True), ('taken_back_why', '')), models.Q(('taken_back_at__isnull', False), models.Q(('taken_back_why', ''), _negated=True)), _connector='OR'), name='go_ahead_taken_back', violation_error_code='go_ahead_taken_back', violation_error_message='A go-ahead is taken back at a moment and for a reason.')],
            },
        ),
        migrations.CreateModel(
            name='QuoteLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what_for', models.CharField(choices=[('sure', 'Parts that the work takes in any case'), ('found', 'Parts that the strip-down found'), ('hours', 'Work')], max_length=10)),
                ('says', models.CharField(max_length=500)),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('unit', models.CharField(max_length=10)),
                ('unit_price', models.DecimalField(decimal_places=6, max_digits=18, null=True)),
                ('price', models.DecimalField(decimal_places=2, max_digits=16, null=True)),
                ('item', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
                ('quote', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='service.quote')),
            ],
            options={
                'ordering': ('quote', 'id'),
                'constraints': [models.CheckConstraint(condition=models.Q(('what_for__in', ['sure', 'found', 'hours'])), name='quote_line_for', violation_error_code='quote_line_for', violation_error_message='What for is one of: sure, found, hours.'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='quote_line_quantity', violation_error_code='quote_line_quantity', violation_error_message='A line of a quote is about more than 0.')],
            },
        ),
        migrations.CreateModel(
            name='WorkHours',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('scope', models.CharField(blank=True, max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('scope',))),
                ('hours', models.DecimalField(decimal_places=2, max_digits=7)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='work_hours', to='catalog.item')),
            ],
            options={
                'verbose_name_plural': 'work hours',
                'ordering': ('item', 'folded'),
                'constraints': [models.UniqueConstraint(fields=('item', 'folded'), name='work_hours_once', violation_error_code='work_hours_once', violation_error_message='Hours for this section or scope are written down already.'), models.CheckConstraint(condition=models.Q(('hours__gt', 0)), name='work_hours_above_zero', violation_error_code='work_hours_above_zero', violation_error_message='Hours are above 0.')],
            },
        ),
        migrations.CreateModel(
            name='PastVerdict',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('where', models.CharField(max_length=300)),
                ('verdict', models.CharField(choices=[('renew', 'Renew'), ('missing', 'Missing'), ('keep', 'Keep'), ('rework', 'Rework'), ('not_as_listed', 'Not As Listed')], max_length=20)),
                ('found', models.CharField(blank=True, max_length=500)),
                ('measured', models.CharField(blank=True, max_length=50)),
                ('limit', models.CharField(blank=True, max_length=50)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('with_group', models.BooleanField(null=True)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
                ('strip', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='verdicts', to='service.paststrip')),
            ],
            options={
                'ordering': ('strip', 'id'),
                'constraints': [models.CheckConstraint(condition=models.Q(('verdict__in', ['renew', 'missing', 'keep', 'rework', 'not_as_listed'])), name='past_verdict_word', violation_error_code='past_verdict_word', violation_error_message='Verdict is one of: renew, missing, keep, rework, not_as_listed.')],
            },
        ),
        migrations.CreateModel(
            name='PumpLimit',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('check_of', models.CharField(choices=[('stall', 'Pressure at stall'), ('held', 'Minutes held'), ('fall', 'Fall while held'), ('leak_out', 'Leak to the outside'), ('leak_in', 'Leak inside'), ('cycles', 'Cycles')], max_length=10)),
                ('at_least', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('at_most', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('unit', models.CharField(max_length=20)),
                ('how', models.CharField(blank=True, max_length=200)),
                ('source', models.CharField(blank=True, max_length=200, verbose_name='where this is stated')),
                ('pump', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='test_limits', to='catalog.item')),
            ],
            options={
                'ordering': ('pump', 'id'),
                'constraints': [models.UniqueConstraint(fields=('pump', 'check_of'), name='pump_limit_once', violation_error_code='pump_limit_once', violation_error_message='The pump has a limit for this already.'), models.CheckConstraint(condition=models.Q(('check_of__in', ['stall', 'held', 'fall', 'leak_out', 'leak_in', 'cycles'])), name='pump_limit_check', violation_error_code='pump_limit_check', violation_error_message='Check of is one of: stall, held, fall, leak_out, leak_in, cycles.'), models.CheckConstraint(condition=models.Q(('at_least__isnull', False), ('at_most__isnull', False), _connector='OR'), name='pump_limit_says', violation_error_code='pump_limit_says', violation_error_message='A limit says what a reading is at least, at most, or both.'), models.CheckConstraint(condition=models.Q(('at_least__isnull', True), ('at_most__isnull', True), ('at_most__gte', models.F('at_least')), _connector='OR'), name='pump_limit_order', violation_error_code='pump_limit_order', violation_error_message='The most that a reading may be is not below the least.')],
            },
        ),
        migrations.AddConstraint(
            model_name='paststrip',
            constraint=models.UniqueConstraint(fields=('job', 'number'), name='past_strip_once', violation_error_code='past_strip_once', violation_error_message='The job has a strip of this number already.'),
        ),
    ]

import django.db.models.deletion
import kits.catalog.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('catalog', '0005_log_requests'),
        ('people', '__first__'),
        ('purchasing', '0010_type_rates_of_exchange'),
        ('schedule', '0007_change_more_in_the_list'),
        ('stock', '0012_explain_older_codes'),
    ]

    operations = [
        migrations.CreateModel(
            name='OutsideWork',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200, unique=True)),
                ('work', models.CharField(max_length=500)),
                ('left_in', models.CharField(max_length=300)),
                ('where', models.CharField(blank=True, max_length=300)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('where',))),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('sent_on', models.DateField()),
                ('promised_on', models.DateField()),
                ('price', models.DecimalField(blank=True, decimal_places=6, max_digits=18, null=True)),
                ('wants_certificate', models.BooleanField(default=False)),
                ('at', models.DateTimeField()),
                ('outcome', models.CharField(blank=True, choices=[('good', 'came back good'), ('not_good', 'came back, not good'), ('lost', 'will not come back'), ('not_sent', 'not sent after all')], max_length=20)),
                ('back_on', models.DateField(blank=True, null=True)),
                ('back_note', models.CharField(blank=True, max_length=500)),
                ('certificate', models.CharField(blank=True, max_length=200)),
                ('back_at', models.DateTimeField(blank=True, null=True)),
                ('back_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('brought_by', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.posting')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='outside_work', to=settings.AUTH_USER_MODEL)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='outside_work', to='catalog.item')),
                ('job', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='outside_work', to='schedule.job')),
                ('lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='outside_work', to='stock.lot')),
                ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='outside_work', to='purchasing.supplier')),
                ('taken_by', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.posting')),
            ],
            options={
                'verbose_name_plural': 'outside work',
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(condition=models.Q(('outcome', ''), models.Q(('where', ''), _negated=True)), fields=('job', 'folded', 'item'), name='outside_work_position_once', violation_error_code='outside_work_position_once', violation_error_message='This position is out already.'), models.CheckConstraint(condition=models.Q(('outcome__in', ['good', 'not_good', 'lost', 'not_sent', ''])), name='outside_work_outcome', violation_error_code='outside_work_outcome', violation_error_message='Outcome is one of: good, not_good, lost, not_sent.'), models.CheckConstraint(condition=models.Q(('sent_on__isnull', True), ('promised_on__isnull', True), ('promised_on__gte', models.F('sent_on')), _connector='OR'), name='outside_work_promise', violation_error_code='outside_work_promise', violation_error_message='It is promised for no day before it was sent.'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='outside_work_quantity', violation_error_code='outside_work_quantity', violation_error_message='More than 0 is sent out.'), models.CheckConstraint(condition=models.Q(models.Q(('lot__isnull', False), ('where', '')), models.Q(models.Q(('where', ''), _negated=True), ('job__isnull', False), ('lot__isnull', True)), _connector='OR'), name='outside_work_piece', violation_error_code='outside_work_piece', violation_error_message='What is sent out is of a position of a job, or of a lot.'), models.CheckConstraint(condition=models.Q(models.Q(('back_on', None), ('outcome', '')), models.Q(models.Q(('outcome', ''), _negated=True), ('back_on__isnull', False)), _connector='OR'), name='outside_work_back', violation_error_code='outside_work_back', violation_error_message='What came back has a day.')],
            },
        ),
        migrations.CreateModel(
            name='OutsidePromise',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200, unique=True)),
                ('was_on', models.DateField()),
                ('promised_on', models.DateField()),
                ('says', models.CharField(max_length=400)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('outside_work', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='promises', to='purchasing.outsidework')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('was_on', models.F('promised_on')), _negated=True), name='outside_promise_moves', violation_error_code='outside_promise_moves', violation_error_message='A change is to another day.')],
            },
        ),
    ]

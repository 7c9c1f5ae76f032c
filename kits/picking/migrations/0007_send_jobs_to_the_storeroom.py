import django.db.models.deletion
import kits.catalog.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('catalog', '0005_log_requests'),
        ('people', '__first__'),
        ('picking', '0006_scan_before_a_line'),
        ('schedule', '0007_change_more_in_the_list'),
        ('stock', '0012_explain_older_codes'),
    ]

    operations = [
        migrations.CreateModel(
            name='SentJob',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('build_on', models.DateField()),
                ('at', models.DateTimeField()),
                ('back_at', models.DateTimeField(blank=True, null=True)),
                ('back_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sendings', to='schedule.job')),
            ],
            options={
                'ordering': ('build_on', 'job'),
                'constraints': [models.UniqueConstraint(fields=('key', 'job'), name='sent_job_once', violation_error_code='sent_job_once', violation_error_message='This request sent the job already.'), models.UniqueConstraint(condition=models.Q(('back_at__isnull', True)), fields=('job',), name='sent_job_open', violation_error_code='sent_job_open', violation_error_message='The job was sent to the storeroom already.')],
            },
        ),
        migrations.CreateModel(
            name='SentNeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
                ('sent', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='needs', to='picking.sentjob')),
            ],
            options={
                'ordering': ('sent', 'item'),
                'constraints': [models.UniqueConstraint(fields=('sent', 'item'), name='sent_need_once', violation_error_code='sent_need_once', violation_error_message='The item stands there already.')],
            },
        ),
        migrations.CreateModel(
            name='SentPiece',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.lot')),
                ('place', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.place')),
                ('sent', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='pieces', to='picking.sentjob')),
            ],
            options={
                'ordering': ('sent', 'id'),
                'constraints': [models.UniqueConstraint(fields=('sent', 'lot', 'place'), name='sent_piece_once', violation_error_code='sent_piece_once', violation_error_message='Pieces of this lot at this place stand there already.'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='sent_piece_quantity', violation_error_code='sent_piece_quantity', violation_error_message='More than 0 is set aside.')],
            },
        ),
    ]

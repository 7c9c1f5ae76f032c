import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('people', '__first__'),
        ('picking', '0009_keep_wrong_scans'),
    ]

    operations = [
        migrations.AlterField(
            model_name='pickline',
            name='look_alike',
            field=models.TextField(blank=True, max_length=4000),
        ),
        migrations.CreateModel(
            name='Walker',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rests_since', models.DateTimeField(blank=True, null=True)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('pick_round', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='walkers', to='picking.pickround')),
            ],
            options={
                'ordering': ('pick_round', 'id'),
                'constraints': [models.UniqueConstraint(fields=('pick_round', 'person'), name='walker_once', violation_error_code='walker_once', violation_error_message='They walk this round already.')],
            },
        ),
        migrations.AddField(
            model_name='pickline',
            name='walker',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='picking.walker'),
        ),
    ]

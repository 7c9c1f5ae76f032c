import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('people', '__first__'),
    ]

    operations = [
        migrations.CreateModel(
            name='KeptAnswers',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('as_of', models.DateField()),
                ('week_on', models.DateField(blank=True, null=True)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name_plural': 'kept answers',
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='kept_answers_once', violation_error_code='kept_answers_once', violation_error_message='This request kept its answers already.'), models.UniqueConstraint(fields=('week_on',), name='kept_answers_week_once', violation_error_code='kept_answers_week_once', violation_error_message='The answers of this week are kept already.')],
            },
        ),
        migrations.CreateModel(
            name='KeptAnswer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('job', models.CharField(max_length=100)),
                ('pump', models.CharField(max_length=100)),
                ('scope', models.CharField(max_length=100)),
                ('serial', models.CharField(blank=True, max_length=100)),
                ('customer', models.CharField(blank=True, max_length=200)),
                ('quantity', models.PositiveIntegerField()),
                ('stage', models.CharField(choices=[('expected', 'Expected'), ('here', 'Here'), ('stripped', 'Stripped'), ('building', 'Building'), ('built', 'Built'), ('tested', 'Tested'), ('shipped', 'Shipped'), ('held', 'Held'), ('cancelled', 'Cancelled')], max_length=20)),
                ('build_on', models.DateField()),
                ('status', models.CharField(blank=True, choices=[('ready', 'Ready'), ('waiting', 'Waiting'), ('late', 'Late'), ('short', 'Short')], max_length=20)),
                ('parts_on', models.DateField(blank=True, null=True)),
                ('days_late', models.PositiveIntegerField(blank=True, null=True)),
                ('could_build_on', models.DateField(blank=True, null=True)),
                ('blocking_part', models.CharField(blank=True, max_length=100)),
                ('orders', models.JSONField(blank=True, default=list)),
                ('cost', models.DecimalField(decimal_places=2, default=0, max_digits=18)),
                ('uncosted', models.PositiveIntegerField(default=0)),
                ('kept', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='answers', to='planning.keptanswers')),
            ],
            options={
                'ordering': ('kept', 'build_on', 'job'),
                'constraints': [models.UniqueConstraint(fields=('kept', 'job'), name='kept_answer_once', violation_error_code='kept_answer_once', violation_error_message='These answers hold the job already.'), models.CheckConstraint(condition=models.Q(('stage__in', ['expected', 'here', 'stripped', 'building', 'built', 'tested', 'shipped', 'held', 'cancelled'])), name='kept_answer_stage', violation_error_code='kept_answer_stage', violation_error_message='Stage is one of: expected, here, stripped, building, built, tested, shipped, held, cancelled.'), models.CheckConstraint(condition=models.Q(('status__in', ['ready', 'waiting', 'late', 'short', ''])), name='kept_answer_status', violation_error_code='kept_answer_status', violation_error_message='Status is one of: ready, waiting, late, short.'), models.CheckConstraint(condition=models.Q(('cost__gte', 0)), name='kept_answer_cost', violation_error_code='kept_answer_cost', violation_error_message='A cost is not below 0.')],
            },
        ),
    ]

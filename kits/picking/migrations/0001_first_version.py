import django.db.models.deletion
import kits.catalog.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('picking', '0001_initial'), ('picking', '0002_delete_closing'), ('picking', '0003_keep_a_bag_from_round_to_round'), ('picking', '0004_number_bags_once_in_the_shop'), ('picking', '0005_damage_on_a_line')]

    initial = True

    dependencies = [
        ('catalog', '0001_first_version'),
        ('people', '0001_first_version'),
        ('schedule', '0001_first_version'),
        ('stock', '0001_first_version'),
    ]

    operations = [
        migrations.CreateModel(
            name='Bag',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('cleanliness', models.CharField(choices=[('normal', 'Normal'), ('oxygen_clean', 'Oxygen Clean'), ('lubricant_free', 'Lubricant Free')], default='normal', max_length=20)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bags', to='schedule.job')),
            ],
            options={
                'ordering': ('number',),
                'constraints': [models.UniqueConstraint(fields=('job', 'cleanliness'), name='bag_once', violation_error_code='bag_once', violation_error_message='The job has a bag of this class already.'), models.UniqueConstraint(fields=('number',), name='bag_number_once', violation_error_code='bag_number_once', violation_error_message='There is a bag of this number already.'), models.CheckConstraint(condition=models.Q(('cleanliness__in', ['normal', 'oxygen_clean', 'lubricant_free'])), name='bag_cleanliness', violation_error_code='bag_cleanliness', violation_error_message='Cleanliness is one of: normal, oxygen_clean, lubricant_free.')],
            },
        ),
        migrations.CreateModel(
            name='PickLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('last_use_on', models.DateField(blank=True, null=True)),
                ('why', models.CharField(blank=True, max_length=500, verbose_name='why this lot')),
                ('look_alike', models.CharField(blank=True, max_length=500)),
                ('caution', models.CharField(blank=True, max_length=500)),
                ('state', models.CharField(choices=[('open', 'Open'), ('full', 'Full'), ('short', 'Short'), ('left', 'Left')], default='open', max_length=20)),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pick_lines', to='stock.lot')),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pick_lines', to='stock.place')),
            ],
            options={
                'ordering': ('pick_round', 'number'),
            },
        ),
        migrations.CreateModel(
            name='Confirmation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('reason', models.CharField(blank=True, max_length=300)),
                ('counted', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('undone_at', models.DateTimeField(blank=True, null=True)),
                ('undo_key', models.CharField(blank=True, max_length=200, null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('count', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.posting')),
                ('damage', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.posting')),
                ('opened', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.posting')),
                ('pick', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='confirmation', to='stock.posting')),
                ('undone_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='confirmations', to='picking.pickline')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='confirmation_once', violation_error_code='confirmation_once', violation_error_message='This line was confirmed by this request already.'), models.UniqueConstraint(fields=('undo_key',), name='confirmation_undone_once', violation_error_code='confirmation_undone_once', violation_error_message='This line was reopened by this request already.'), models.UniqueConstraint(condition=models.Q(('undone_at__isnull', True)), fields=('line',), name='confirmation_stands_once', violation_error_code='confirmation_stands_once', violation_error_message='The line is confirmed already: undo that first.'), models.CheckConstraint(condition=models.Q(models.Q(('undo_key__isnull', True), ('undone_at__isnull', True)), models.Q(('undo_key__isnull', False), ('undone_at__isnull', False)), _connector='OR'), name='confirmation_undone', violation_error_code='confirmation_undone', violation_error_message='What was undone was undone at a moment, by a request.')],
            },
        ),
        migrations.CreateModel(
            name='PickRound',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('state', models.CharField(choices=[('running', 'Running'), ('finished', 'Finished'), ('given_up', 'Given Up')], default='running', max_length=20)),
                ('for_what', models.CharField(max_length=300)),
                ('as_of', models.DateField()),
                ('started_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('cleanliness', models.CharField(choices=[('normal', 'Normal'), ('oxygen_clean', 'Oxygen Clean'), ('lubricant_free', 'Lubricant Free')], default='normal', max_length=20)),
                ('started_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='pick_rounds', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('-id',),
                'permissions': (('pick_clean', 'Can pick for clean jobs'),),
                'constraints': [models.UniqueConstraint(fields=('key',), name='pick_round_once', violation_error_code='pick_round_once', violation_error_message='This round was started already.'), models.CheckConstraint(condition=models.Q(('state__in', ['running', 'finished', 'given_up'])), name='pick_round_state', violation_error_code='pick_round_state', violation_error_message='State is one of: running, finished, given_up.'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', True), ('state', 'running')), models.Q(models.Q(('state', 'running'), _negated=True), ('ended_at__isnull', False)), _connector='OR'), name='pick_round_ended', violation_error_code='pick_round_ended', violation_error_message='A round that is not running any more has ended at a moment.'), models.CheckConstraint(condition=models.Q(('cleanliness__in', ['normal', 'oxygen_clean', 'lubricant_free'])), name='pick_round_cleanliness', violation_error_code='pick_round_cleanliness', violation_error_message='Cleanliness is one of: normal, oxygen_clean, lubricant_free.')],
            },
        ),
        migrations.CreateModel(
            name='PickNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('pack', 'to be packed first'), ('coming', 'on order'), ('missing', 'on no order'), ('in_bag', 'in the bag already'), ('other_round', 'on another round'), ('bench', 'from the bench')], max_length=20)),
                ('quantity', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('says', models.CharField(blank=True, max_length=300)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pick_notes', to='schedule.job')),
                ('pick_round', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='notes', to='picking.pickround')),
            ],
            options={
                'ordering': ('pick_round', 'id'),
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['pack', 'coming', 'missing', 'in_bag', 'other_round', 'bench'])), name='pick_note_kind', violation_error_code='pick_note_kind', violation_error_message='Kind is one of: pack, coming, missing, in_bag, other_round, bench.')],
            },
        ),
        migrations.AddField(
            model_name='pickline',
            name='pick_round',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='picking.pickround'),
        ),
        migrations.CreateModel(
            name='PickShare',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('asked', kits.catalog.fields.QuantityField()),
                ('set_aside', kits.catalog.fields.QuantityField(default=0)),
                ('picked', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('bag', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shares', to='picking.bag')),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shares', to='picking.pickline')),
            ],
            options={
                'ordering': ('line', 'bag__number'),
                'constraints': [models.UniqueConstraint(fields=('line', 'bag'), name='pick_share_once', violation_error_code='pick_share_once', violation_error_message='The line has a share for this bag already.'), models.CheckConstraint(condition=models.Q(('asked__gt', 0)), name='pick_share_asked', violation_error_code='pick_share_asked', violation_error_message='A share asks for more than 0.'), models.CheckConstraint(condition=models.Q(('picked__isnull', True), models.Q(('picked__gte', 0), ('picked__lte', models.F('asked'))), _connector='OR'), name='pick_share_picked', violation_error_code='pick_share_picked', violation_error_message='What went into a bag is not below 0 and not above what was asked for.')],
            },
        ),
        migrations.AddConstraint(
            model_name='pickline',
            constraint=models.UniqueConstraint(fields=('pick_round', 'number'), name='pick_line_number_once', violation_error_code='pick_line_number_once', violation_error_message='The round has a line of this number already.'),
        ),
        migrations.AddConstraint(
            model_name='pickline',
            constraint=models.UniqueConstraint(fields=('pick_round', 'lot', 'place'), name='pick_line_once', violation_error_code='pick_line_once', violation_error_message='The round stops at this lot already.'),
        ),
        migrations.AddConstraint(
            model_name='pickline',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['open', 'full', 'short', 'left'])), name='pick_line_state', violation_error_code='pick_line_state', violation_error_message='State is one of: open, full, short, left.'),
        ),
    ]

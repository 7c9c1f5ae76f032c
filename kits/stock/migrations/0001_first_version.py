import django.db.models.deletion
import kits.catalog.fields
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('stock', '0001_initial'), ('stock', '0002_written_once'), ('stock', '0003_pack_kits_and_freeze_lots'), ('stock', '0004_keep_holds_certificates_and_counts'), ('stock', '0005_write_postings_once_again'), ('stock', '0006_hear_a_count_once'), ('stock', '0007_keep_past_versions'), ('stock', '0008_codes_made_up_here_are_unique'), ('stock', '0009_keep_each_reference_of_a_certificate'), ('stock', '0010_concessions'), ('stock', '0011_last_moved_and_counted')]

    initial = True

    dependencies = [
        ('catalog', '0001_first_version'),
        ('people', '0001_first_version'),
        ('schedule', '0001_first_version'),
    ]

    operations = [
        migrations.CreateModel(
            name='Count',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('kind', models.CharField(choices=[('round', 'Round'), ('first', 'First')], max_length=20)),
                ('title', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='count_once', violation_error_code='count_once', violation_error_message='This count was begun already.'), models.CheckConstraint(condition=models.Q(('kind__in', ['round', 'first'])), name='count_kind', violation_error_code='count_kind', violation_error_message='Kind is one of: round, first.')],
            },
        ),
        migrations.CreateModel(
            name='HistoricalPlace',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('named', models.CharField(max_length=1500)),
                ('elsewhere', models.BooleanField(default=False)),
                ('place', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('place',))),
                ('walk_order', models.IntegerField(blank=True, null=True)),
                ('kind', models.CharField(choices=[('bin', 'Bin'), ('staging', 'Staging'), ('quarantine', 'Quarantine')], default='bin', max_length=20)),
                ('history_change_reason', models.CharField(blank=True, max_length=500)),
                ('history_id', models.BigAutoField(editable=False, primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField()),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'past version of place',
                'verbose_name_plural': 'past versions of places',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
                'default_permissions': ('view',),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='Lot',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('lot', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('lot',))),
                ('cure', models.CharField(blank=True, max_length=30)),
                ('cure_on', models.DateField(blank=True, null=True, verbose_name='shelf life runs from')),
                ('printed_last_use_on', models.DateField(blank=True, null=True)),
                ('received_on', models.DateField(blank=True, null=True)),
                ('maker_batch', models.CharField(blank=True, max_length=100)),
                ('certificate', models.CharField(blank=True, max_length=200)),
                ('owner', models.CharField(blank=True, max_length=200)),
                ('made_here', models.BooleanField(default=False, editable=False)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lots', to='catalog.item')),
                ('out_of', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='loose_pieces', to='stock.lot')),
            ],
            options={
                'ordering': ('item', 'folded'),
                'constraints': [models.UniqueConstraint(fields=('item', 'folded'), name='lot_once', violation_error_code='lot_once', violation_error_message='The item has a lot of this code already.'), models.CheckConstraint(condition=models.Q(models.Q(('cure', ''), ('cure_on__isnull', True)), models.Q(models.Q(('cure', ''), _negated=True), ('cure_on__isnull', False)), _connector='OR'), name='lot_cure_read', violation_error_code='lot_cure_read', violation_error_message='A cure date and the day from which it counts go together.'), models.UniqueConstraint(condition=models.Q(('made_here', True)), fields=('folded',), name='lot_made_here_once', violation_error_code='lot_made_here_once', violation_error_message='The shop has made this code up already, for a lot of another item.'), models.UniqueConstraint(fields=('item', 'out_of'), name='lot_out_of_once', violation_error_code='lot_out_of_once', violation_error_message='What came out of these kits of the item has a lot already.')],
            },
        ),
        migrations.CreateModel(
            name='KitPiece',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('owed', kits.catalog.fields.QuantityField(default=0)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='catalog.item')),
                ('kit_lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='kit_pieces', to='stock.lot')),
                ('piece_lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='in_kits', to='stock.lot')),
            ],
            options={
                'ordering': ('kit_lot', 'item', 'id'),
                'constraints': [models.UniqueConstraint(fields=('kit_lot', 'item', 'piece_lot'), name='kit_piece_once', violation_error_code='kit_piece_once', violation_error_message='The kit holds pieces of this lot already.'), models.UniqueConstraint(condition=models.Q(('piece_lot__isnull', True)), fields=('kit_lot', 'item'), name='kit_piece_unknown_once', violation_error_code='kit_piece_unknown_once', violation_error_message='The kit holds pieces of this part without a lot already.'), models.CheckConstraint(condition=models.Q(('quantity__gte', 0)), name='kit_piece_quantity', violation_error_code='kit_piece_quantity', violation_error_message='A kit holds no less than 0 of a part.'), models.CheckConstraint(condition=models.Q(('owed__gte', 0)), name='kit_piece_owed', violation_error_code='kit_piece_owed', violation_error_message='No less than 0 is owed to a kit.'), models.CheckConstraint(condition=models.Q(('piece_lot', models.F('kit_lot')), _negated=True), name='kit_piece_itself', violation_error_code='kit_piece_itself', violation_error_message='A kit does not hold its own lot.')],
            },
        ),
        migrations.CreateModel(
            name='Hold',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('decides', models.CharField(choices=[('lead', 'Service lead'), ('purchasing', 'Purchasing'), ('storeroom', 'Storeroom'), ('customer', 'Customer')], max_length=20)),
                ('reason', models.CharField(max_length=500)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='holds', to='stock.lot')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('decides__in', ['lead', 'purchasing', 'storeroom', 'customer'])), name='hold_decides', violation_error_code='hold_decides', violation_error_message='Decides is one of: lead, purchasing, storeroom, customer.')],
            },
        ),
        migrations.CreateModel(
            name='HistoricalLot',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('named', models.CharField(max_length=1500)),
                ('elsewhere', models.BooleanField(default=False)),
                ('lot', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('lot',))),
                ('cure', models.CharField(blank=True, max_length=30)),
                ('cure_on', models.DateField(blank=True, null=True, verbose_name='shelf life runs from')),
                ('printed_last_use_on', models.DateField(blank=True, null=True)),
                ('received_on', models.DateField(blank=True, null=True)),
                ('maker_batch', models.CharField(blank=True, max_length=100)),
                ('certificate', models.CharField(blank=True, max_length=200)),
                ('owner', models.CharField(blank=True, max_length=200)),
                ('history_change_reason', models.CharField(blank=True, max_length=500)),
                ('history_id', models.BigAutoField(editable=False, primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField()),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('made_here', models.BooleanField(default=False, editable=False)),
                ('history_user', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('item', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='catalog.item')),
                ('out_of', models.ForeignKey(blank=True, db_constraint=False, db_index=False, editable=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='stock.lot')),
            ],
            options={
                'verbose_name': 'past version of lot',
                'verbose_name_plural': 'past versions of lots',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
                'default_permissions': ('view',),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='Certificate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('reference', kits.catalog.fields.CodeField(max_length=200)),
                ('file_name', models.CharField(max_length=200)),
                ('media_type', models.CharField(max_length=50)),
                ('size', models.PositiveIntegerField()),
                ('digest', models.CharField(max_length=64)),
                ('content', models.BinaryField()),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lots', models.ManyToManyField(related_name='certificates', to='stock.lot')),
            ],
            options={
                'ordering': ('reference', 'id'),
                'constraints': [models.UniqueConstraint(fields=('digest', 'reference'), name='certificate_once', violation_error_code='certificate_once', violation_error_message='This file is kept under this reference.')],
            },
        ),
        migrations.CreateModel(
            name='Place',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('place',))),
                ('walk_order', models.IntegerField(blank=True, null=True)),
                ('kind', models.CharField(choices=[('bin', 'Bin'), ('staging', 'Staging'), ('quarantine', 'Quarantine')], default='bin', max_length=20)),
            ],
            options={
                'ordering': ('walk_order', 'folded'),
                'constraints': [models.UniqueConstraint(fields=('folded',), name='place_once', violation_error_code='place_once', violation_error_message='A place of this name exists already.'), models.CheckConstraint(condition=models.Q(('kind__in', ['bin', 'staging', 'quarantine'])), name='place_kind', violation_error_code='place_kind', violation_error_message='Kind is one of: bin, staging, quarantine.')],
            },
        ),
        migrations.CreateModel(
            name='HistoricalReservation',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('named', models.CharField(max_length=1500)),
                ('elsewhere', models.BooleanField(default=False)),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('history_change_reason', models.CharField(blank=True, max_length=500)),
                ('history_id', models.BigAutoField(editable=False, primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField()),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='schedule.job')),
                ('lot', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='stock.lot')),
                ('place', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='stock.place')),
            ],
            options={
                'verbose_name': 'past version of reservation',
                'verbose_name_plural': 'past versions of reservations',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
                'default_permissions': ('view',),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='Balance',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('condition', models.CharField(blank=True, choices=[('usable', 'Usable'), ('quarantine', 'Quarantine')], default='usable', max_length=20)),
                ('packet', models.CharField(blank=True, choices=[('sealed', 'Sealed'), ('resealed', 'Resealed'), ('loose', 'Loose')], default='sealed', max_length=20)),
                ('state', models.CharField(blank=True, choices=[('bagged', 'Bagged'), ('issued', 'Issued')], max_length=20)),
                ('quantity', kits.catalog.fields.QuantityField(default=0)),
                ('moved_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('counted_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('job', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='balances', to='schedule.job')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='balances', to='stock.lot')),
                ('place', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='balances', to='stock.place')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.UniqueConstraint(condition=models.Q(('job__isnull', True)), fields=('lot', 'place', 'condition', 'packet'), name='balance_shelf_once', violation_error_code='balance_shelf_once', violation_error_message='The lot has an account for this place, condition and packet already.'), models.UniqueConstraint(condition=models.Q(('job__isnull', False)), fields=('lot', 'job', 'state'), name='balance_job_once', violation_error_code='balance_job_once', violation_error_message='The lot has an account for this job and state already.'), models.CheckConstraint(condition=models.Q(('quantity__gte', 0)), name='balance_not_negative', violation_error_code='balance_not_negative', violation_error_message='Nothing can hold less than 0: count it.'), models.CheckConstraint(condition=models.Q(models.Q(('condition__in', ('usable', 'quarantine')), ('job__isnull', True), ('packet__in', ('sealed', 'resealed', 'loose')), ('place__isnull', False), ('state', '')), models.Q(('condition', ''), ('job__isnull', False), ('packet', ''), ('state__in', ('bagged', 'issued'))), _connector='OR'), name='balance_one_account', violation_error_code='balance_one_account', violation_error_message='A balance stands either at a place, with its condition and packet, or with a job, bagged or issued.')],
            },
        ),
        migrations.CreateModel(
            name='Posting',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('kind', models.CharField(choices=[('opening', 'Opening'), ('receive', 'Receive'), ('count', 'Count'), ('pick', 'Pick'), ('extra_issue', 'Extra Issue'), ('issue', 'Issue'), ('return_to_lot', 'Return To Lot'), ('to_quarantine', 'To Quarantine'), ('move', 'Move'), ('scrap', 'Scrap'), ('opening_return', 'Opening Return'), ('consume', 'Consume'), ('pack', 'Pack'), ('unpack', 'Unpack'), ('rob', 'Rob'), ('fill_up', 'Fill Up'), ('freeze', 'Freeze'), ('lift', 'Lift'), ('release', 'Release'), ('open_packet', 'Open Packet'), ('close_packet', 'Close Packet'), ('adjust', 'Adjust'), ('dispose', 'Dispose'), ('reversal', 'Reversal')], max_length=20)),
                ('reason', models.CharField(blank=True, max_length=500)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='postings', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='postings', to='schedule.job')),
                ('reverses', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reversed_by', to='stock.posting')),
            ],
            options={
                'ordering': ('-id',),
                'indexes': [models.Index(fields=['at'], name='posting_at')],
                'constraints': [models.UniqueConstraint(fields=('key',), name='posting_once', violation_error_code='posting_once', violation_error_message='This request was posted already.'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'reversal'), ('reverses__isnull', False)), models.Q(models.Q(('kind', 'reversal'), _negated=True), ('reverses__isnull', True)), _connector='OR'), name='posting_reversal', violation_error_code='posting_reversal', violation_error_message='A reversal names the posting that it reverses.'), models.CheckConstraint(condition=models.Q(('kind__in', ['opening', 'receive', 'count', 'pick', 'extra_issue', 'issue', 'return_to_lot', 'to_quarantine', 'move', 'scrap', 'opening_return', 'consume', 'pack', 'unpack', 'rob', 'fill_up', 'freeze', 'lift', 'release', 'open_packet', 'close_packet', 'adjust', 'dispose', 'reversal'])), name='posting_kind', violation_error_code='posting_kind', violation_error_message='Kind is one of: opening, receive, count, pick, extra_issue, issue, return_to_lot, to_quarantine, move, scrap, opening_return, consume, pack, unpack, rob, fill_up, freeze, lift, release, open_packet, close_packet, adjust, dispose, reversal.')],
            },
        ),
        migrations.CreateModel(
            name='Movement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('balance', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='stock.balance')),
                ('posting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='stock.posting')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.UniqueConstraint(fields=('posting', 'balance'), name='movement_once', violation_error_code='movement_once', violation_error_message='A posting moves a balance once.'), models.CheckConstraint(condition=models.Q(('quantity', 0), _negated=True), name='movement_quantity', violation_error_code='movement_quantity', violation_error_message='A movement moves something.')],
            },
        ),
        migrations.CreateModel(
            name='Disposal',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('way', models.CharField(choices=[('cut', 'Cut up and put into general waste'), ('hazardous', 'Handed over as hazardous waste'), ('metal', 'Sold or handed over as scrap metal'), ('sent_back', 'Sent back to the supplier'), ('other', 'Another way, written in the remark')], max_length=20)),
                ('remark', models.CharField(blank=True, max_length=500)),
                ('posting', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='disposal', to='stock.posting')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('way__in', ['cut', 'hazardous', 'metal', 'sent_back', 'other'])), name='disposal_way', violation_error_code='disposal_way', violation_error_message='Way is one of: cut, hazardous, metal, sent_back, other.'), models.CheckConstraint(condition=models.Q(('remark', ''), ('way', 'other'), _negated=True), name='disposal_remark', violation_error_code='disposal_remark', violation_error_message='Another way is described in the remark.')],
            },
        ),
        migrations.CreateModel(
            name='CountLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('state', models.CharField(choices=[('open', 'Open'), ('recount', 'Recount'), ('agreed', 'Agreed'), ('differed', 'Differed'), ('left', 'Left')], default='open', max_length=20)),
                ('first', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('last', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('book', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('at', models.DateTimeField(blank=True, null=True)),
                ('key', models.CharField(blank=True, max_length=200)),
                ('balance', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='count_lines', to='stock.balance')),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('count', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='stock.count')),
                ('posting', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='count_lines', to='stock.posting')),
            ],
            options={
                'ordering': ('count', 'id'),
                'constraints': [models.UniqueConstraint(fields=('count', 'balance'), name='count_line_once', violation_error_code='count_line_once', violation_error_message='The count has this line already.'), models.CheckConstraint(condition=models.Q(('state__in', ['open', 'recount', 'agreed', 'differed', 'left'])), name='count_line_state', violation_error_code='count_line_state', violation_error_message='State is one of: open, recount, agreed, differed, left.')],
            },
        ),
        migrations.CreateModel(
            name='Reservation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reservations', to='schedule.job')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reservations', to='stock.lot')),
                ('place', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reservations', to='stock.place')),
            ],
            options={
                'ordering': ('job', 'lot'),
                'constraints': [models.UniqueConstraint(fields=('job', 'lot'), name='reservation_once', violation_error_code='reservation_once', violation_error_message='The job has pieces of this lot reserved already.'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='reservation_quantity', violation_error_code='reservation_quantity', violation_error_message='A reservation holds more than 0.')],
            },
        ),
        migrations.CreateModel(
            name='Suspicion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('reason', models.CharField(max_length=500)),
                ('at', models.DateTimeField()),
                ('lift_key', models.CharField(blank=True, max_length=200)),
                ('lift_reason', models.CharField(blank=True, max_length=500)),
                ('lifted_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='suspicions', to=settings.AUTH_USER_MODEL)),
                ('freezes', models.ManyToManyField(related_name='suspicions', to='stock.posting')),
                ('lifted_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='suspicions', to='stock.lot')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='suspicion_once', violation_error_code='suspicion_once', violation_error_message='This suspicion was posted already.'), models.UniqueConstraint(condition=models.Q(('lifted_at__isnull', True)), fields=('lot',), name='suspicion_open_once', violation_error_code='suspicion_open_once', violation_error_message='The lot is under suspicion already.'), models.CheckConstraint(condition=models.Q(models.Q(('lift_reason', ''), ('lifted_at__isnull', True)), models.Q(('lifted_at__isnull', False), models.Q(('lift_reason', ''), _negated=True)), _connector='OR'), name='suspicion_lifted', violation_error_code='suspicion_lifted', violation_error_message='A suspicion is lifted at a moment and for a reason.')],
            },
        ),
        migrations.CreateModel(
            name='Concession',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('reason', models.CharField(max_length=500)),
                ('at', models.DateTimeField()),
                ('taken_back_reason', models.CharField(blank=True, max_length=500)),
                ('taken_back_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='concessions', to='schedule.job')),
                ('taken_back_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('suspicion', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='concessions', to='stock.suspicion')),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='concession_once', violation_error_code='concession_once', violation_error_message='This was decided by this request already.'), models.UniqueConstraint(condition=models.Q(('taken_back_at__isnull', True)), fields=('suspicion', 'job'), name='concession_stands_once', violation_error_code='concession_stands_once', violation_error_message='The lot may go into the pump of this job already.'), models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='concession_reason', violation_error_code='concession_reason', violation_error_message='A concession says why it is made.'), models.CheckConstraint(condition=models.Q(models.Q(('taken_back_at__isnull', True), ('taken_back_reason', '')), models.Q(('taken_back_at__isnull', False), models.Q(('taken_back_reason', ''), _negated=True)), _connector='OR'), name='concession_taken_back', violation_error_code='concession_taken_back', violation_error_message='A concession is taken back at a moment and for a reason.')],
            },
        ),
        migrations.CreateModel(
            name='Unknown',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200)),
                ('looks_like', models.CharField(max_length=300)),
                ('quantity', kits.catalog.fields.QuantityField(blank=True, null=True)),
                ('at', models.DateTimeField()),
                ('became', models.CharField(blank=True, max_length=300)),
                ('settled_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='unknowns', to='stock.place')),
                ('settled_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('key',), name='unknown_once', violation_error_code='unknown_once', violation_error_message='This find was written down already.'), models.CheckConstraint(condition=models.Q(models.Q(('became', ''), ('settled_at__isnull', True)), models.Q(('settled_at__isnull', False), models.Q(('became', ''), _negated=True)), _connector='OR'), name='unknown_settled', violation_error_code='unknown_settled', violation_error_message='What is settled says what it became.')],
            },
        ),
    ]

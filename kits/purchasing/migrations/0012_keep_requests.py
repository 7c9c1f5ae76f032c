import django.db.models.deletion
import kits.catalog.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('catalog', '0005_log_requests'),
        ('people', '__first__'),
        ('purchasing', '0011_send_pieces_out'),
    ]

    operations = [
        migrations.AddField(
            model_name='supplierquote',
            name='alternative',
            field=models.CharField(blank=True, max_length=100),
        ),
        migrations.CreateModel(
            name='PriceRequest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', kits.catalog.fields.CodeField(max_length=60)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('number',))),
                ('asked_on', models.DateField()),
                ('reply_by', models.DateField()),
                ('note', models.CharField(blank=True, max_length=400)),
                ('at', models.DateTimeField()),
                ('key', models.CharField(max_length=160)),
                ('sent_on', models.DateField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='price_requests', to=settings.AUTH_USER_MODEL)),
                ('sent_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='requests', to='purchasing.supplier')),
                ('withdrawn_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('-id',),
                'constraints': [models.UniqueConstraint(fields=('folded',), name='request_number_once', violation_error_code='request_number_once', violation_error_message='There is a request of this number already.'), models.UniqueConstraint(fields=('key', 'supplier'), name='request_key_once', violation_error_code='request_key_once', violation_error_message='This request was made already.'), models.CheckConstraint(condition=models.Q(('asked_on__isnull', True), ('reply_by__isnull', True), ('reply_by__gte', models.F('asked_on')), _connector='OR'), name='request_reply_by', violation_error_code='request_reply_by', violation_error_message='The answer is asked for a day that has passed.'), models.CheckConstraint(condition=models.Q(models.Q(('sent_by__isnull', True), ('sent_on__isnull', True)), models.Q(('sent_by__isnull', False), ('sent_on__isnull', False)), _connector='OR'), name='request_sent', violation_error_code='request_sent', violation_error_message='A request is sent by somebody on a day.')],
            },
        ),
        migrations.CreateModel(
            name='QuoteBreak',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('from_packs', models.PositiveIntegerField()),
                ('price_per_pack', models.DecimalField(decimal_places=6, max_digits=18)),
                ('quote', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='breaks', to='purchasing.supplierquote')),
            ],
            options={
                'ordering': ('quote', 'from_packs'),
                'constraints': [models.UniqueConstraint(fields=('quote', 'from_packs'), name='quote_break_once', violation_error_code='quote_break_once', violation_error_message='The quote has a price from so many packs already.'), models.CheckConstraint(condition=models.Q(('from_packs__gt', 1), ('price_per_pack__gte', 0)), name='quote_break', violation_error_code='quote_break', violation_error_message='A break begins above 1 pack.')],
            },
        ),
        migrations.CreateModel(
            name='RequestLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', models.PositiveIntegerField()),
                ('why', models.CharField(max_length=20)),
                ('quantity', kits.catalog.fields.QuantityField()),
                ('packs', models.PositiveIntegerField()),
                ('pack_size', kits.catalog.fields.QuantityField(default=1000000)),
                ('supplier_part_number', models.CharField(blank=True, max_length=100)),
                ('wanted_on', models.DateField(blank=True, null=True)),
                ('oldest_cure', models.CharField(blank=True, max_length=20)),
                ('with_certificate', models.BooleanField(default=False)),
                ('note', models.CharField(blank=True, max_length=200)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='request_lines', to='catalog.item')),
                ('request', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='purchasing.pricerequest')),
            ],
            options={
                'ordering': ('request', 'place'),
                'constraints': [models.UniqueConstraint(fields=('request', 'place'), name='request_line_once', violation_error_code='request_line_once', violation_error_message='The request has a line of this number already.'), models.CheckConstraint(condition=models.Q(('pack_size__gt', 0), ('packs__gt', 0), ('quantity__gt', 0)), name='request_line_above_0', violation_error_code='request_line_above_0', violation_error_message='More than 0 is asked for.')],
            },
        ),
        migrations.AddField(
            model_name='replyline',
            name='asked_line',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reply_lines', to='purchasing.requestline'),
        ),
    ]

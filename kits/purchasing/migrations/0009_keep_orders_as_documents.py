import django.db.models.deletion
import kits.catalog.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('catalog', '0005_log_requests'),
        ('people', '__first__'),
        ('purchasing', '0008_call_supplier_quotes_so'),
    ]

    operations = [
        migrations.CreateModel(
            name='PurchaseOrder',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', kits.catalog.fields.CodeField(max_length=100)),
                ('folded', kits.catalog.fields.FoldedField(max_length=500, of=('number',))),
                ('currency', models.CharField(blank=True, max_length=10)),
                ('sent_on', models.DateField(blank=True, null=True)),
                ('cancelled_at', models.DateTimeField(blank=True, null=True)),
                ('cancelled_reason', models.CharField(blank=True, max_length=400)),
                ('cancelled_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='orders', to='purchasing.orderentry')),
                ('sent_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='orders', to='purchasing.supplier')),
            ],
            options={
                'ordering': ('folded',),
                'constraints': [models.UniqueConstraint(fields=('folded',), name='order_number_once', violation_error_code='order_number_once', violation_error_message='There is an order of this number already.')],
            },
        ),
        migrations.CreateModel(
            name='LineTerms',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('packs', models.PositiveIntegerField()),
                ('pack_size', kits.catalog.fields.QuantityField(default=1000000)),
                ('price_per_pack', models.DecimalField(blank=True, decimal_places=6, max_digits=18, null=True)),
                ('supplier_part_number', models.CharField(blank=True, max_length=100)),
                ('wanted_on', models.DateField()),
                ('what_for', models.CharField(blank=True, max_length=100)),
                ('confirmed_on', models.DateField(blank=True, null=True)),
                ('first_promised_on', models.DateField(blank=True, null=True)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='line_terms', to='catalog.item')),
                ('order_line', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='terms', to='purchasing.orderline')),
                ('quote', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='line_terms', to='purchasing.supplierquote')),
                ('order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='purchasing.purchaseorder')),
            ],
            options={
                'verbose_name_plural': 'line terms',
                'ordering': ('order', 'number'),
                'constraints': [models.UniqueConstraint(fields=('order', 'number'), name='line_terms_once', violation_error_code='line_terms_once', violation_error_message='The order has a line of this number already.'), models.CheckConstraint(condition=models.Q(('pack_size__gt', 0)), name='line_terms_pack_size', violation_error_code='line_terms_pack_size', violation_error_message='A pack holds more than 0.'), models.CheckConstraint(condition=models.Q(('price_per_pack__isnull', True), ('price_per_pack__gte', 0), _connector='OR'), name='line_terms_price', violation_error_code='line_terms_price', violation_error_message='A price is not below 0.'), models.CheckConstraint(condition=models.Q(models.Q(('confirmed_on__isnull', True), ('first_promised_on__isnull', True)), models.Q(('confirmed_on__isnull', False), ('first_promised_on__isnull', False)), _connector='OR'), name='line_terms_confirmed', violation_error_code='line_terms_confirmed', violation_error_message='A line is confirmed on a day and for a day.')],
            },
        ),
        migrations.CreateModel(
            name='SupplierCall',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('asked', models.CharField(max_length=200)),
                ('said', models.CharField(max_length=400)),
                ('next_call_on', models.DateField(blank=True, null=True)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='supplier_calls', to=settings.AUTH_USER_MODEL)),
                ('order_line', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='calls', to='purchasing.orderline')),
            ],
            options={
                'ordering': ('-id',),
            },
        ),
        migrations.CreateModel(
            name='OrderLineChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('confirmed', 'Confirmed'), ('changed', 'Changed'), ('split', 'Split'), ('cancelled', 'Cancelled'), ('sent back', 'Sent Back')], max_length=20)),
                ('says', models.CharField(max_length=400)),
                ('reason', models.CharField(blank=True, max_length=400)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='line_changes', to=settings.AUTH_USER_MODEL)),
                ('order_line', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='changes', to='purchasing.orderline')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['confirmed', 'changed', 'split', 'cancelled', 'sent back'])), name='line_change_kind', violation_error_code='line_change_kind', violation_error_message='Kind is one of: confirmed, changed, split, cancelled, sent back.')],
            },
        ),
    ]

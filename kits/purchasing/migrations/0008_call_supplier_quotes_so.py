from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("purchasing", "0007_name_what_a_reply_states")]

    operations = [migrations.RenameModel("Quote", "SupplierQuote")]

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("exchange", "0011_jobs_entered_by_form")]

    operations = [migrations.RenameField("upload", "told", "instructions")]

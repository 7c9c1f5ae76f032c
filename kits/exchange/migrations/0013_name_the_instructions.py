from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("exchange", "0012_jobs_changed_by_form")]

    operations = [migrations.RenameField("upload", "told", "instructions")]

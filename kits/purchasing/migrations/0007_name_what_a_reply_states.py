from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("purchasing", "0006_closures_have_two_days")]

    operations = [migrations.RenameField(model_name="replyline", old_name="heard", new_name="stated")]

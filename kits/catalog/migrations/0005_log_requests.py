from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("catalog", "0004_hear_requests_once")]

    operations = [
        migrations.RemoveConstraint(model_name="heardrequest", name="heard_request_once"),
        migrations.RenameModel(old_name="HeardRequest", new_name="LoggedRequest"),
        migrations.RenameField(model_name="loggedrequest", old_name="said", new_name="content"),
        migrations.AddConstraint(
            model_name="loggedrequest",
            constraint=models.UniqueConstraint(
                fields=("key",),
                name="logged_request_once",
                violation_error_code="logged_request_once",
                violation_error_message="This request was booked already.",
            ),
        ),
    ]

"""What holds of bags now that each is one of the shop: apart from the data, which PostgreSQL wants to be through first."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q

ONE_OF = Q(cleanliness__in=["normal", "oxygen_clean", "lubricant_free"])
CLASS_SAYS = "Cleanliness is one of: normal, oxygen_clean, lubricant_free."


def once(name, *fields, says):
    return models.UniqueConstraint(
        fields=fields, name=name, violation_error_code=name, violation_error_message=says
    )


def holds(name, condition, says):
    return models.CheckConstraint(
        condition=condition, name=name, violation_error_code=name, violation_error_message=says
    )


class Migration(migrations.Migration):
    dependencies = [("picking", "0003_keep_a_bag_from_round_to_round")]

    operations = [
        migrations.AlterModelOptions("bag", {"ordering": ("number",)}),
        migrations.AlterModelOptions(
            "pickround", {"ordering": ("-id",), "permissions": (("pick_clean", "Can pick for clean jobs"),)}
        ),
        migrations.RemoveField("bag", "pick_round"),
        migrations.RemoveField("picknote", "bag"),
        migrations.AlterField(
            "picknote",
            "job",
            models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="pick_notes", to="schedule.job"
            ),
        ),
        migrations.AddConstraint(
            "bag", once("bag_once", "job", "cleanliness", says="The job has a bag of this class already.")
        ),
        migrations.AddConstraint("bag", once("bag_number_once", "number", says="There is a bag of this number already.")),
        migrations.AddConstraint("bag", holds("bag_cleanliness", ONE_OF, CLASS_SAYS)),
        migrations.AddConstraint("pickround", holds("pick_round_cleanliness", ONE_OF, CLASS_SAYS)),
    ]

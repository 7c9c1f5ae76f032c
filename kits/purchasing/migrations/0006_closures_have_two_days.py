from django.db import migrations, models
from django.db.models import F, Q


def close_for_one_day(apps, schema_editor):
    suppliers = apps.get_model("purchasing", "Supplier").objects
    suppliers.filter(closed_from_on__isnull=True, closed_to_on__isnull=False).update(closed_from_on=F("closed_to_on"))
    suppliers.filter(closed_from_on__isnull=False, closed_to_on__isnull=True).update(closed_to_on=F("closed_from_on"))


class Migration(migrations.Migration):
    dependencies = [("purchasing", "0005_keep_quotes")]

    operations = [
        migrations.RunPython(close_for_one_day, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="supplier",
            constraint=models.CheckConstraint(
                condition=Q(closed_from_on__isnull=True, closed_to_on__isnull=True)
                | Q(closed_from_on__isnull=False, closed_to_on__isnull=False),
                name="supplier_closes_from_day_to_day",
                violation_error_code="supplier_closes_from_day_to_day",
                violation_error_message="A supplier closes from one day to another: give both days or neither.",
            ),
        ),
    ]

"""Keep on each balance when it was last moved and counted, and find postings by their moment.

What is known already is read out of the movements and count lines once.
"""

from django.db import migrations, models
from django.db.models import Max, OuterRef, Subquery
from django.db.models.functions import Coalesce, Greatest


def look_back(apps, schema_editor):
    """The newest movement of each balance, and its newest count that was not taken back."""
    Balance, Movement, CountLine = (apps.get_model("stock", name) for name in ("Balance", "Movement", "CountLine"))
    moved = Movement.objects.filter(balance=OuterRef("pk")).order_by().values("balance")
    counted = moved.filter(posting__kind="count", posting__reversed_by__isnull=True)
    said = CountLine.objects.filter(
        balance=OuterRef("pk"), state__in=("agreed", "differed"), posting__reversed_by__isnull=True
    )
    newest = moved.annotate(last=Max("posting__at")).values("last")
    posted = Subquery(counted.annotate(last=Max("posting__at")).values("last"))
    heard = Subquery(said.order_by().values("balance").annotate(last=Max("at")).values("last"))
    Balance.objects.update(moved_at=Subquery(newest), counted_at=Coalesce(Greatest(posted, heard), posted, heard))


class Migration(migrations.Migration):
    dependencies = [("stock", "0010_concessions")]
    operations = [
        migrations.AddIndex("posting", models.Index(fields=["at"], name="posting_at")),
        migrations.AddField("balance", "moved_at", models.DateTimeField(blank=True, editable=False, null=True)),
        migrations.AddField("balance", "counted_at", models.DateTimeField(blank=True, editable=False, null=True)),
        migrations.RunPython(look_back, migrations.RunPython.noop),
    ]

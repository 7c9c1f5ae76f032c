"""One bag for each job and class, whatever the round: the bags of earlier rounds are put together, with new numbers."""

import django.db.models.deletion
from django.db import migrations, models

CLASSES = [("normal", "Normal"), ("oxygen_clean", "Oxygen Clean"), ("lubricant_free", "Lubricant Free")]


def put_bags_together(apps, schema_editor):
    Bag, PickNote, PickRound, PickShare = (
        apps.get_model("picking", name) for name in ("Bag", "PickNote", "PickRound", "PickShare")
    )
    for note in PickNote.objects.select_related("bag"):
        PickNote.objects.filter(pk=note.pk).update(job=note.bag.job_id)
    classes = {}
    for bag in Bag.objects.select_related("job").order_by("pk"):
        classes.setdefault(bag.pick_round_id, set()).add(bag.job.cleanliness)
    for number, kinds in classes.items():
        if len(kinds) == 1:
            PickRound.objects.filter(pk=number).update(cleanliness=kinds.pop())
    kept, goes = {}, {}
    for share in PickShare.objects.select_related("bag__job", "line__lot__item").order_by("pk"):
        job, item = share.bag.job, share.line.lot.item
        key = job.pk, job.cleanliness if item.cleanliness == job.cleanliness else "normal"
        kept.setdefault(key, []).append(share.pk)
        goes.setdefault(key, share.bag.pick_round_id)
    numbers = sorted(kept, key=lambda key: (goes[key], kept[key][0]))
    old = list(Bag.objects.values_list("pk", flat=True))
    for number, key in enumerate(numbers, 1):
        bag = Bag.objects.create(job_id=key[0], cleanliness=key[1], number=number, pick_round_id=goes[key])
        PickShare.objects.filter(pk__in=kept[key]).update(bag=bag)
    PickNote.objects.update(bag=None)
    Bag.objects.filter(pk__in=old).delete()
    if schema_editor.connection.vendor == "postgresql":
        # Else the indexes, which are made at the end of a migration, would wait for these checks.
        schema_editor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        schema_editor.execute("SET CONSTRAINTS ALL DEFERRED")


class Migration(migrations.Migration):
    dependencies = [("picking", "0002_delete_closing"), ("schedule", "0001_initial")]

    operations = [
        migrations.RemoveConstraint("bag", "bag_once"),
        migrations.RemoveConstraint("bag", "bag_number_once"),
        migrations.AddField("bag", "cleanliness", models.CharField(choices=CLASSES, default="normal", max_length=20)),
        migrations.AlterField("bag", "number", models.PositiveIntegerField()),
        migrations.AddField(
            "pickround", "cleanliness", models.CharField(choices=CLASSES, default="normal", max_length=20)
        ),
        migrations.AddField(
            "picknote",
            "job",
            models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="pick_notes", to="schedule.job"
            ),
        ),
        migrations.AlterField(
            "picknote",
            "bag",
            models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="notes", to="picking.bag"
            ),
        ),
        migrations.RunPython(put_bags_together, migrations.RunPython.noop, elidable=True),
    ]

"""What was picked before bags were kept from round to round is put into such bags by the migration."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from bom.values import ONE
from tests.kits.picking.bench_shop import AT

BEFORE, AFTER = "0002_delete_closing", "0004_number_bags_once_in_the_shop"


def migrate(picking):
    """Bring picking to one of its migrations, whatever the others have come to meanwhile."""
    executor = MigrationExecutor(connection)
    others = [node for node in executor.loader.graph.leaf_nodes() if node[0] != "picking"]
    executor.migrate([("picking", picking)])
    return MigrationExecutor(connection).loader.project_state([*others, ("picking", picking)]).apps


@pytest.fixture
def before(transactional_db):
    yield migrate(BEFORE).get_model
    MigrationExecutor(connection).migrate(MigrationExecutor(connection).loader.graph.leaf_nodes())


def test_the_bags_of_earlier_rounds_become_one_for_each_job_and_class(before):
    get = before
    item, lot, place = (get(*name) for name in (("catalog", "Item"), ("stock", "Lot"), ("stock", "Place")))
    each = {"stock_unit": "each", "source": "buy", "issue": "counted"}
    pump = item.objects.create(part_number="P", folded="p", kind="pump", **each)
    parts = {
        kind: item.objects.create(part_number=kind, folded=kind, kind="part", cleanliness=kind, **each)
        for kind in ("normal", "oxygen_clean")
    }
    lots = {kind: lot.objects.create(item=part, lot=kind, folded=kind) for kind, part in parts.items()}
    there = place.objects.create(place="A1", folded="a1", walk_order=1)
    jobs = {
        kind: get("schedule", "Job").objects.create(
            job=kind, folded=kind, pump=pump, scope="full", build_on="2026-03-16", cleanliness=kind
        )
        for kind in parts
    }
    rounds = []
    for number, kinds in enumerate((("oxygen_clean",), ("oxygen_clean", "normal")), 1):
        made = get("picking", "PickRound").objects.create(key=f"k{number}", as_of="2026-03-04", started_at=AT)
        rounds.append(made.pk)
        for bag_number, kind in enumerate(kinds, 1):
            bag = get("picking", "Bag").objects.create(pick_round=made, job=jobs[kind], number=bag_number)
            get("picking", "PickNote").objects.create(pick_round=made, bag=bag, kind="bench", item=parts["normal"])
            for n, of in enumerate(parts, 1):
                line, _ = get("picking", "PickLine").objects.get_or_create(
                    pick_round=made, lot=lots[of], place=there, defaults={"number": n}
                )
                get("picking", "PickShare").objects.create(line=line, bag=bag, asked=ONE)
    get = migrate(AFTER).get_model
    bags = get("picking", "Bag").objects.order_by("number").values_list("number", "job__job", "cleanliness")
    assert list(bags) == [(1, "oxygen_clean", "normal"), (2, "oxygen_clean", "oxygen_clean"), (3, "normal", "normal")]
    shares = get("picking", "PickShare").objects.order_by("pk")
    assert list(shares.values_list("bag__number", "line__lot__lot")) == [
        (1, "normal"), (2, "oxygen_clean"),
        (1, "normal"), (2, "oxygen_clean"),
        (3, "normal"), (3, "oxygen_clean"),
    ]  # fmt: skip
    notes = get("picking", "PickNote").objects.order_by("pk").values_list("job__job", flat=True)
    assert list(notes) == ["oxygen_clean", "oxygen_clean", "normal"]
    classes = dict(get("picking", "PickRound").objects.values_list("pk", "cleanliness"))
    assert classes == {rounds[0]: "oxygen_clean", rounds[1]: "normal"}, "a mixed round of before books no clean job"

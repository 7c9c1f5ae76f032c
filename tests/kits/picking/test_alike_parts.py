import random

import pytest

from bom.values import ONE
from kits.catalog.models import Item, KitFit
from kits.picking.cautions import alike_parts
from kits.picking.cautions.alike_parts import AlikeParts
from kits.stock.models import Balance, Lot, Place

RINGS = (
    ("OR-210-N90", "0.734 x 0.139 in", "NBR", "90 A"),
    ("OR-210-N70", "0.734 x 0.139 in", "NBR", "70 A"),
    ("OR-210-E80", "0.734 x 0.139 in", "EPDM", "80 A"),
    ("OR-116-N90", "0.737 x 0.103 in", "NBR", "90 A"),
    ("OR-M18-N70", "18.0 x 2.65 mm", "NBR", "70 A"),
    ("OR-358-N70", "5.600 x 0.210 in", "NBR", "70 A"),
)


@pytest.fixture
def shop(db):
    for number, size, material, hardness in RINGS:
        make(number, size=size, form="O-ring", material=material, hardness=hardness)
    make("SEAT", material="PEEK")
    bin_ = Place.objects.create(place="A2")
    lot = Lot.objects.create(item=Item.objects.get(part_number="OR-210-E80"), lot="E-1")
    Balance.objects.create(lot=lot, place=bin_, quantity=ONE)


def make(number, kind="part", **columns):
    return Item.objects.create(part_number=number, description=number, kind=kind, stock_unit="each", **columns)


def alike(number):
    return [(row.part_number, row.why) for row in AlikeParts().of(number)]


def test_other_compound_other_hardness_and_other_section_are_told(shop):
    # What lies on the shelf can be taken by mistake, so it stands first.
    assert alike("OR-210-N90") == [
        ("OR-210-E80", "same size, other compound"),
        ("OR-116-N90", "same inside, other section"),
        ("OR-210-N70", "same size, other hardness"),
    ]


def test_inch_is_told_from_metric(shop):
    assert ("OR-M18-N70", "inch against metric") in alike("OR-116-N90")
    assert ("OR-116-N90", "inch against metric") in alike("OR-M18-N70")


def test_part_like_no_other_has_none(shop):
    assert alike("OR-358-N70") == alike("SEAT") == alike("NO-SUCH") == []


def test_what_tells_them_apart_and_where_it_lies_is_said(shop):
    row = AlikeParts().of("OR-210-N90")[0]
    assert (row.this, row.that, row.places) == ("NBR 90 Shore A", "EPDM 80 Shore A", ("A2",))
    assert row.says == "Not OR-210-E80, same size, other compound: EPDM 80 Shore A, at A2"
    assert AlikeParts().of_each(["OR-210-N90"])["OR-210-N90"] == [row]


def test_kits_for_one_assembly_are_alike(shop):
    end = make("END", "assembly")
    for number in ("K-N", "K-E"):
        KitFit.objects.create(kit=make(number, "kit"), fits=end)
    assert alike("K-N") == [("K-E", "kit for the same assembly")]


def test_a_shop_of_any_size_takes_the_same_statements(shop, django_assert_num_queries):
    make("K-N", "kit")
    with django_assert_num_queries(4):
        AlikeParts().of_each([number for number, *_ in RINGS])


def test_what_is_looked_at_leaves_out_nothing_that_is_alike(db, monkeypatch):
    """Only what is near in size, or serves the same, is looked at: against looking at every pair of three hundred."""
    monkeypatch.setattr(alike_parts, "MOST_SHOWN", 1000)
    chance = random.Random(7)
    for number in range(300):
        inside = 10 * 1.02 ** chance.randrange(40)
        size = chance.choice((f"{inside:.2f} x 2.65 mm", f"{inside / 25.4:.3f} x 0.103 in", "3/4 in plunger", ""))
        make(f"P-{number}", size=size, material=chance.choice(("NBR", "FKM")), kind=chance.choice(("part", "kit")))
    ends = [make(f"END-{number}", "assembly") for number in range(3)]
    for kit in Item.objects.filter(kind="kit")[:40]:
        KitFit.objects.create(kit=kit, fits=chance.choice(ends))
    parts = AlikeParts()
    things = list(parts._known.things.values())
    for asked in things:
        every = {one.part_number for one in things if one is not asked and parts._why(asked, one)}
        assert {row.part_number for row in parts.of(asked.part_number)} == every

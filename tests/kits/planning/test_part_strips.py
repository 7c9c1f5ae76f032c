"""The drawings on the sheets of kits and pumps."""

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog
from kits.catalog.models import Item, StructureLine
from kits.planning.queries import plan_now
from kits.planning.sheets.items.kit import kit_sheet
from kits.planning.sheets.items.pump import drawn_pump
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db


def kit_says():
    (fit,) = kit_sheet(plan_now(), "K-1").fits
    return {
        (strip.count, strip.assembly): [(part.number, part.part_number, part.look, part.says) for part in strip.parts]
        for strip in fit.strips
    }


def test_a_kit_is_drawn_against_its_assembly_with_what_it_lacks_and_what_is_left_over():
    """One kit does one end: it holds 2 of 3 rings, no cord, and 3 seats for the 2 check valves."""
    load_small()
    assert kit_says() == {
        (1, "E-1"): [
            (1, "CK-1", "open", ""), (2, "OR-014", "lack", "2 of 3 in the kit"), (3, "CO-1", "lack", "not in it"),
        ],
        (2, "CK-1"): [
            (1, "SE-1", "new", "in the kit"), (2, "BA-1", "open", "look"), (3, "SE-1", "out", "left over"),
        ],
    }  # fmt: skip


def test_what_is_only_looked_at_takes_from_the_kit_last():
    load_small()
    with transaction.atomic():
        mark_catalog()
        kit, ball = (Item.objects.get(part_number=number) for number in ("K-1", "BA-1"))
        StructureLine.objects.create(parent=kit, child=ball, quantity=ONE)
        seat = StructureLine.objects.get(parent__part_number="CK-1", child__part_number="SE-1")
        StructureLine.objects.filter(pk=seat.pk).update(at_rebuild="inspect")
    assert kit_says()[2, "CK-1"] == [
        (1, "SE-1", "open", "spare in it"), (2, "BA-1", "open", "1 of 2 spare in it"), (3, "SE-1", "out", "left over"),
    ]  # fmt: skip


def test_a_pump_is_drawn_as_itself_and_each_of_its_assemblies_once():
    load_small()
    strips = drawn_pump(plan_now(), "P-1").strips
    assert [(strip.count, strip.assembly) for strip in strips] == [(1, "P-1"), (2, "E-1"), (4, "CK-1")]
    assert [(part.part_number, part.kind, part.count, part.says) for part in strips[1].parts] == [
        ("CK-1", "assembly", "2", ""),
        ("OR-014", "o_ring", "3", "compound NBR"),
        ("CO-1", "o_ring_cord", "310 mm", "new"),
    ]  # fmt: skip

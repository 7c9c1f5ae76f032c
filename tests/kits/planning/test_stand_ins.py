"""Where a part is short, its other numbers and its substitutes are said, one-way ones never the other way round."""

import pytest

from bom.plan import plan
from bom.reading import Reading
from bom.values import ONE
from kits.catalog.models import Item, OtherNumber, Substitute
from kits.planning.questions.stand_ins import short_part_notes
from kits.planning.snapshot.shop import take_snapshot
from tests.kits.stock.kit_shop import TODAY
from tests.kits.web.shops import load_small


@pytest.fixture
def shop(db):
    """The small shop, in which balls are short for wear while rings lie there."""
    load_small()
    OtherNumber.objects.create(item=part("BA-1"), number="7-16-S")
    OtherNumber.objects.create(item=part("OR-014"), number="2-014")


def part(number):
    return Item.objects.get(part_number=number)


def notes():
    return short_part_notes(plan(take_snapshot(TODAY)))


def test_other_numbers_of_a_short_part_are_said(shop):
    assert notes() == {"BA-1": ("also known as 7-16-S",)}


def test_one_way_substitute_is_offered_one_way(shop):
    Substitute.objects.create(item=part("BA-1"), substitute=part("SE-1"), direction="one_way", note="harder")
    assert notes()["BA-1"][1] == "SE-1 may stand in, one way only (harder): none here is free"
    Substitute.objects.all().delete()
    Substitute.objects.create(item=part("OR-014"), substitute=part("BA-1"), direction="one_way")
    assert notes() == {"BA-1": ("also known as 7-16-S",)}


def test_substitute_of_both_ways_is_offered_both_ways_with_what_is_free(shop):
    made = plan(take_snapshot(TODAY))
    free = Reading(made).unclaimed("OR-014") // ONE
    assert free > 0
    Substitute.objects.create(item=part("OR-014"), substitute=part("BA-1"), direction="both")
    assert notes()["BA-1"][1] == f"OR-014 may stand in: {free} free here"


def test_any_number_of_short_parts_takes_three_statements(shop, django_assert_num_queries):
    made = plan(take_snapshot(TODAY))
    with django_assert_num_queries(3):
        short_part_notes(made)

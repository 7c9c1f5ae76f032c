"""A substitute is told beside a short line in the allowed direction only, and only where it lies on the shelf."""

import pytest

from kits.catalog.models import Substitute
from kits.picking.rounds.stand_ins import stand_ins
from tests.kits.picking.bench_shop import BenchShop


@pytest.fixture
def shop(db):
    return BenchShop()


def allow(shop, item, other, direction):
    Substitute.objects.create(
        item=shop.items[item],
        substitute=shop.items[other],
        direction=direction,
        approved_by="service lead",
        note="harder",
    )


def named(shop, item):
    return [(one.part_number, one.places) for one in stand_ins(shop.items[item])]


def test_one_way_is_never_the_other_way_round(shop):
    allow(shop, "OR-210-N70", "OR-210-N90", "one_way")
    assert named(shop, "OR-210-N70") == [("OR-210-N90", ("A1",))]
    assert named(shop, "OR-210-N90") == []
    [row] = stand_ins(shop.items["OR-210-N70"])
    assert (row.allowed_by, row.note) == ("service lead", "harder")


def test_both_ways_are_told_both_ways(shop):
    allow(shop, "OR-210-N70", "OR-210-N90", "both")
    assert named(shop, "OR-210-N90") == [("OR-210-N70", ("A1",))]


def test_what_does_not_lie_here_or_may_not_be_used_is_not_told(shop):
    allow(shop, "SEAT", "BALL", "one_way")
    assert named(shop, "SEAT") == []
    shop.stock("BALL", "B-1", "Q1", 4, condition="quarantine")
    assert named(shop, "SEAT") == []
    shop.stock("BALL", "B-2", "H1", 4)
    assert named(shop, "SEAT") == [("BALL", ("H1",))]

"""The sheet of a kit: its list, the kits inside it, and the bags that lie on the shelf, against the assembly."""

from dataclasses import replace

import pytest

from bom.plan import plan
from bom.values import ONE, KitFit, Lot
from kits.catalog.models import Item
from kits.planning.sheets.items.kit import kit_sheet
from tests.bom.small_shops import FKM, NBR, holds, kit, lot, make_shop, renew

pytestmark = pytest.mark.django_db

LINES = [renew("PUMP", "RING", 2), renew("PUMP", "CUP"), holds("K", "RING", 2), holds("K", "CUP")]
FITS = (KitFit("K", "PUMP"),)


def fit_of(lines=LINES, lots=(), items=(), fits=FITS):
    """The first comparison of the kit K."""
    shop = make_shop(lines, items=[kit(), *items], fits=fits, lots=lots, jobs=())
    for item in shop.catalog.items:
        Item.objects.get_or_create(part_number=item.part_number, defaults={"kind": item.kind, "stock_unit": "each"})
    return kit_sheet(plan(shop), "K").fits[0]


def bag(code, count=1, **held):
    return lot("K", count, code, contents=tuple((name, number * ONE) for name, number in held.items()))


def test_kits_inside_the_kit_are_opened():
    """A kit of a cup and two kits of one ring each is what the pump needs, and nothing of it is left over."""
    lines = [*LINES[:2], holds("K", "INNER", 2), holds("K", "CUP"), holds("INNER", "RING")]
    fit = fit_of(lines, items=[kit("INNER")])
    assert fit.says == "It fits: everything that is renewed is in the kit, and nothing is left over."
    assert [(row.part_number, row.in_kit.text) for row in fit.rows] == [("CUP", "1"), ("RING", "2")]


def test_what_the_kit_holds_for_another_compound_is_not_in_this_one():
    lines = [*LINES, holds("K", "HARD", options=FKM), holds("K", "SOFT", options=NBR)]
    fit = fit_of(lines, fits=(KitFit("K", "PUMP", options=NBR),))
    assert [row.part_number for row in fit.rows] == ["SOFT", "CUP", "RING"]


def test_a_bag_on_the_shelf_that_is_not_as_its_list_is_compared_as_it_is():
    fit = fit_of(lots=[bag("P-1", 2, RING=2), bag("P-2", RING=2, CUP=1), lot("K", 1, "P-3")])
    assert fit.says == "It fits: everything that is renewed is in the kit, and nothing is left over."
    assert [(one.lot, one.kits.text, one.says) for one in fit.bags] == [
        ("P-1", "2", "Not in the kit, and needed loose: 1 × CUP. ")
    ]


def test_a_bag_that_holds_something_else_says_both():
    fit = fit_of([*LINES, renew("OTHER", "BUSH")], lots=[bag("P-1", RING=3, BUSH=1)])
    says = "Not in the kit, and needed loose: 1 × CUP. Left over: 1 × BUSH, 1 × RING."
    assert [one.says for one in fit.bags] == [says]


def test_a_robbed_kit_is_told_of_as_one_that_nobody_counts_on():
    robbed = replace(bag("P-1", RING=2), condition="owing")
    assert [(one.lot, one.owing) for one in fit_of(lots=[robbed]).bags] == [("P-1", True)]


def test_a_bag_with_a_kit_inside_is_opened_too():
    lines = [*LINES[:2], holds("K", "INNER", 2), holds("K", "CUP"), holds("INNER", "RING")]
    whole, poor = bag("P-1", INNER=2, CUP=1), bag("P-2", INNER=1, CUP=1)
    fit = fit_of(lines, items=[kit("INNER")], lots=[whole, poor])
    assert [(one.lot, one.says) for one in fit.bags] == [("P-2", "Not in the kit, and needed loose: 1 × RING. ")]


def test_lots_without_kits_are_not_told_of():
    assert fit_of(lots=[Lot("K", "P-1", 0, contents=())]).bags == ()

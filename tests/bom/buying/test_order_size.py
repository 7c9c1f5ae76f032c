"""Whole packs of the right offer: minimum, multiple, price breaks, and which supplier is chosen."""

from dataclasses import replace
from decimal import Decimal

import pytest

from bom.buying.order_size import Abroad, NextBreak, OfferBook
from bom.structure.arrays import compile_structure, day_number
from bom.structure.calendar import ShopCalendar
from bom.values import ONE, Item
from tests.bom.small_shops import TODAY, answer, holds, kit, make_shop, march, offer, renew, row_of

NEED = day_number(march(11))  # five working days from today


def choose(offers, net, need=NEED, items=()):
    shop = make_shop([renew("PUMP", "ring")], offers=offers, items=items)
    return choose_in(shop, "ring", net, need)


def choose_in(shop, part, net, need=NEED):
    structure = compile_structure(shop.catalog)
    book = OfferBook(structure, ShopCalendar(), day_number(TODAY))
    return book.choose(structure.index[part], net * ONE, need)


def supplier(*offers, net=1, need=NEED):
    return choose(offers, net, need).supplier


# --- packs


@pytest.mark.parametrize(
    ("net", "pack", "minimum", "multiple", "packs"),
    [
        (1, 1, 1, 1, 1),
        (7, 5, 1, 1, 2),
        (10, 5, 1, 1, 2),
        (11, 5, 1, 1, 3),
        (1, 5, 4, 1, 4),
        (7, 5, 1, 3, 3),
        (16, 5, 1, 3, 6),
        (1, 5, 4, 3, 6),
        (0, 5, 1, 1, 1),
    ],
)
def test_packs_hold_the_net_need_and_meet_minimum_and_multiple(net, pack, minimum, multiple, packs):
    """Up to whole packs, not below the minimum, and from there up to the multiple."""
    found = choose([offer("ring", pack=pack, minimum_packs=minimum, multiple_packs=multiple)], net)
    assert (found.packs, found.pack_size, found.order_quantity) == (packs, pack * ONE, packs * pack * ONE)


def test_a_measured_item_is_bought_in_whole_packs_too():
    shop = make_shop([renew("PUMP", "cord")], items=[Item("cord", countable=False)], offers=[offer("cord", pack=1000)])
    assert choose_in(shop, "cord", 2_500).order_quantity == 3_000 * ONE


def test_without_an_offer_the_pack_is_one_and_the_lead_the_items():
    found = choose([], 7)
    assert (found.packs, found.pack_size, found.supplier, found.price, found.lead_days) == (7, ONE, None, None, 5)
    assert found.arrives_on == NEED


# --- price breaks


def breaks(**more):
    rows = [(1, "5.00"), (3, "4.00"), (10, "3.00")]
    return [offer("ring", price, pack=5, price_from_packs=start, **more) for start, price in rows]


@pytest.mark.parametrize(("net", "total"), [(1, "5.00"), (10, "10.00"), (11, "12.00"), (45, "36.00"), (46, "30.00")])
def test_all_units_cost_what_the_highest_break_reached_costs(net, total):
    assert choose(breaks(), net).price == Decimal(total)


def test_the_order_of_the_rows_does_not_matter():
    assert choose(breaks()[::-1], 11).price == Decimal("12.00")


def test_an_order_below_the_lowest_break_costs_that_break():
    assert choose([offer("ring", "4.00", price_from_packs=10)], 2).price == Decimal("8.00")


SAVES_TWO = NextBreak(10, Decimal("30.00"), Decimal("2.00"))


@pytest.mark.parametrize(("net", "found"), [(9, None), (40, SAVES_TWO), (36, SAVES_TWO), (50, None)])
def test_a_break_that_costs_less_in_total_is_told(net, found):
    """8 packs at 4.00 are 32.00, 10 at 3.00 are 30.00; 2 packs at 5.00 are less than 3 at 4.00."""
    assert choose(breaks(), net).next_break == found


def test_it_is_the_next_break_that_is_told_though_one_after_it_is_cheaper_still():
    """9 packs at 5.00 are 45.00; 10 at 4.00 are 40.00, and 12 at 3.00 are 36.00."""
    rows = [offer("ring", price, price_from_packs=start) for start, price in ((1, "5.00"), (10, "4.00"), (12, "3.00"))]
    assert choose(rows, 9).next_break == NextBreak(10, Decimal("40.00"), Decimal("5.00"))


def test_a_break_that_is_just_reached_is_not_the_next_one():
    """10 packs at 4.00 are 40.00, though 20 at 1.50 are 30.00: the break after the one reached is told."""
    rows = [offer("ring", price, price_from_packs=start) for start, price in ((1, "5.00"), (10, "4.00"), (20, "1.50"))]
    assert choose(rows, 10).next_break == NextBreak(20, Decimal("30.00"), Decimal("10.00"))


def test_a_cheaper_break_stands_in_the_row_with_its_saving():
    shop = make_shop([renew("PUMP", "ring", 40)], offers=breaks())
    found = row_of(answer(shop)["buy"], "ring")
    assert (found["packs"], found["price"]) == (8, 32)
    assert found["next_break"] == {"packs": 10, "price": 30, "saving": 2}


def test_a_break_that_costs_as_much_is_not_told():
    """9 packs at 4.00 are 36.00, and so are 12 at 3.00."""
    rows = [offer("ring", price, price_from_packs=start) for start, price in ((1, "4.00"), (12, "3.00"))]
    assert choose(rows, 9).next_break is None


def test_no_break_is_cheaper_than_a_price_that_nobody_knows():
    rows = [offer("ring", price, price_from_packs=start) for start, price in ((1, None), (10, "1.00"))]
    assert (choose(rows, 9).price, choose(rows, 9).next_break) == (None, None)


def test_a_cheaper_break_keeps_to_the_multiple():
    """From 10 packs on, in multiples of 4, it is 12 packs: 36.00, more than 8 at 4.00."""
    assert choose(breaks(multiple_packs=4), 40).next_break is None


def test_minimum_multiple_and_lead_are_those_of_the_lowest_break():
    rows = [
        offer("ring", "4.00", price_from_packs=3, minimum_packs=9, multiple_packs=7, lead_days=9),
        offer("ring", "5.00", minimum_packs=2, lead_days=3, transit_days=1),
    ]
    found = choose(rows, 1)
    assert (found.packs, found.lead_days) == (2, 4)


# --- which offer


def test_an_offer_in_time_comes_before_a_cheaper_late_one():
    late = offer("ring", "1.00", "Fernhope", lead_days=6)
    assert supplier(late, offer("ring", "9.00", "Norrvik", lead_days=5)) == "Norrvik"
    assert supplier(replace(late, lead_days=5), offer("ring", "9.00", "Norrvik", lead_days=5)) == "Fernhope"


def test_an_offer_that_is_here_on_the_need_day_is_in_time():
    on_the_day = offer("ring", "1.00", "Fernhope", lead_days=5)
    assert supplier(on_the_day, offer("ring", "9.00", "Norrvik", lead_days=1)) == "Fernhope"
    assert supplier(on_the_day, offer("ring", "9.00", "Norrvik", lead_days=1), need=NEED - 1) == "Norrvik"


def test_transit_days_count():
    by_road = offer("ring", "1.00", "Fernhope", lead_days=4, transit_days=2)
    assert supplier(by_road, offer("ring", "9.00", "Norrvik", lead_days=5)) == "Norrvik"


def test_if_none_is_in_time_the_earliest_is_taken():
    assert supplier(
        offer("ring", "1.00", "Fernhope", lead_days=8), offer("ring", "9.00", "Norrvik", lead_days=7)
    ) == "Norrvik"  # fmt: skip


def test_in_time_the_lowest_total_decides_and_not_the_price_of_a_pack():
    """2 rings: a bag of 25 for 6.50 is less than 2 x 3.50."""
    bag = offer("ring", "6.50", "Norrvik", pack=25, lead_days=1)
    assert supplier(bag, offer("ring", "3.50", "Fernhope", lead_days=1), net=2) == "Norrvik"
    assert supplier(bag, offer("ring", "3.50", "Fernhope", lead_days=1), net=1) == "Fernhope"


def test_equal_totals_go_by_supplier_and_then_by_number_and_pack():
    same = {"lead_days": 1}
    assert supplier(offer("ring", "2.00", "Norrvik", **same), offer("ring", "2.00", "Lantry", **same)) == "Lantry"
    rows = [offer("ring", "2.00", supplier_part_number=number, **same) for number in ("N-2", "N-1")]
    assert choose(rows, 1).supplier_part_number == "N-1"
    rows = [offer("ring", "2.00", pack=pack, **same) for pack in (10, 5)]
    assert choose(rows, 1).pack_size == 5 * ONE


@pytest.mark.parametrize(
    "doubtful", [{"valid_to": march(3)}, {"price": None}, {"foreign_currency": "USD"}]
)  # fmt: skip
def test_expired_unpriced_and_foreign_offers_come_last(doubtful):
    """Even if they alone are in time."""
    doubt = offer("ring", **{"price": "1.00", "supplier": "Fernhope", "lead_days": 1} | doubtful)
    assert supplier(doubt, offer("ring", "9.00", "Norrvik", lead_days=50)) == "Norrvik"
    assert supplier(doubt) == "Fernhope"


def test_an_offer_is_valid_on_its_last_day():
    valid = offer("ring", "1.00", "Fernhope", lead_days=1, valid_to=TODAY)
    assert supplier(valid, offer("ring", "9.00", "Norrvik", lead_days=1)) == "Fernhope"


def test_a_foreign_price_is_not_ours():
    """Its total stands beside, at the price break that the packs reach; ours stands nowhere there."""
    rows = [
        offer("ring", price, foreign_currency="USD", price_from_packs=packs) for packs, price in ((1, "1.10"), (5, "1"))
    ]
    assert [(choose(rows, net).price, choose(rows, net).abroad) for net in (4, 6)] == [
        (None, Abroad(Decimal("4.40"), "USD")),
        (None, Abroad(Decimal(6), "USD")),
    ]
    assert choose([offer("ring", "1.00")], 1).abroad is None
    assert choose([offer("ring", None, foreign_currency="USD")], 1).abroad is None


def test_an_offer_without_a_lead_has_the_items_without_transit():
    found = choose([offer("ring", lead_days=None, transit_days=4)], 1)
    assert (found.lead_days, found.arrives_on) == (5, NEED)


def test_an_unknown_lead_gives_no_arrival_and_is_no_offer_in_time():
    items = [Item("ring")]
    unknown = offer("ring", "1.00", "Fernhope", lead_days=None)
    found = choose([unknown], 1, items=items)
    assert (found.lead_days, found.arrives_on) == (None, None)
    assert choose([unknown, offer("ring", "9.00", "Norrvik", lead_days=50)], 1, items=items).supplier == "Norrvik"


def test_without_a_need_date_the_cheapest_is_taken():
    slow = offer("ring", "1.00", "Fernhope", lead_days=80)
    assert supplier(slow, offer("ring", "9.00", "Norrvik", lead_days=1), need=None) == "Fernhope"


# --- bought inside another number


def inside_shop(**more):
    lines = [renew("PUMP", "disc"), holds("K", "disc", 2), holds("K", "disc", position="spare"), holds("K", "ring")]
    items = [Item("disc", source="in_kit_only", get_as="K", lead_days=2), kit(lead_days=7)]
    return make_shop(lines, items=items, **more)


def test_a_piece_got_in_a_kit_is_bought_in_kits():
    """3 discs in a kit: 4 discs are 2 kits, 6 discs; the kits come in bags of 2 and 7 discs are 2 bags."""
    found = choose_in(inside_shop(offers=[offer("K", "9.00", lead_days=3), offer("disc", "0.01")]), "disc", 4)
    assert (found.packs, found.pack_size, found.order_quantity) == (2, 3 * ONE, 6 * ONE)
    assert (found.price, found.lead_days) == (Decimal("18.00"), 3)
    found = choose_in(inside_shop(offers=[offer("K", "9.00", pack=2)]), "disc", 7)
    assert (found.packs, found.pack_size) == (2, 6 * ONE)


def test_a_piece_got_in_a_kit_without_offers_takes_the_lead_of_the_kit():
    found = choose_in(inside_shop(), "disc", 4)
    assert (found.packs, found.order_quantity, found.lead_days) == (2, 6 * ONE, 7)


def test_what_could_be_had_in_a_kit_but_is_bought_is_bought_itself():
    lines = [renew("PUMP", "disc"), holds("K", "disc", 3)]
    disc = Item("disc", source="buy", get_as="K", lead_days=2)
    offers = [offer("K", "9.00", "Fernhope"), offer("disc", "5.00", "Norrvik", lead_days=4)]
    shop = make_shop(lines, items=[disc, kit(lead_days=7)], offers=offers)
    found = choose_in(shop, "disc", 4)
    assert (found.supplier, found.packs, found.pack_size, found.lead_days) == ("Norrvik", 4, ONE, 4)

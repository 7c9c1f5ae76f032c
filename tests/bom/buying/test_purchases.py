"""The purchase list: short, wear and top-up apart, by when they are needed, when to order, what to do about wear."""

from dataclasses import replace
from datetime import date

import pytest

from bom.plan import plan
from bom.values import ONE, Item, KitFit, OtherNeed
from tests.bom.small_shops import (
    NEED,
    answer,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    offer,
    opens,
    order,
    pick,
    renew,
    row_of,
)


def buy(shop, part="ring"):
    return row_of(answer(shop)["buy"], part)


def test_what_is_short_is_bought_for_the_jobs_that_lack_it():
    """2 on the shelf go to the first job; the second lacks 1 of 2 and the third both."""
    jobs = [job("J-1"), job("J-2", march(13)), job("J-3", march(16))]
    shop = make_shop([renew("PUMP", "ring", 2)], jobs=jobs, lots=[lot("ring", 3)])
    row = buy(shop)
    assert pick(row, "short", "net", "order_quantity", "surplus", "jobs") == (3, 3, 3, 0, ["J-2", "J-3"])
    assert row["need_on"] == "2026-03-12"  # of J-2, the first that lacks


def test_other_needs_stand_among_the_jobs():
    shop = make_shop([renew("PUMP", "ring")], needs=[OtherNeed("sale", "ring", ONE, march(20))])
    assert buy(shop)["jobs"] == ["J-1", "sale"]


def test_the_order_day_is_the_need_less_the_lead():
    """Need 11 March, 3 working days: Friday 6 March; with 7 it was Monday 2 March, 2 working days ago."""
    for lead, order_by, late, arrival in ((3, "2026-03-06", 0, "2026-03-09"), (7, "2026-03-02", 2, "2026-03-13")):
        row = buy(make_shop([renew("PUMP", "ring")], offers=[offer("ring", lead_days=lead)]))
        assert pick(row, "need_on", "order_by", "days_late", "earliest_arrival") == (NEED, order_by, late, arrival)


def test_a_holiday_moves_the_order_day():
    """6 March is closed: 3 working days before 11 March are Thursday 5 March, and an order comes on the 10th."""
    shop = make_shop([renew("PUMP", "ring")], offers=[offer("ring", lead_days=3)], holidays=(march(6),))
    assert pick(buy(shop), "order_by", "earliest_arrival") == ("2026-03-05", "2026-03-10")


def test_without_a_known_lead_no_day_is_given_and_it_is_flagged():
    shop = make_shop([renew("PUMP", "ring")], items=[Item("ring")])
    assert pick(buy(shop), "need_on", "order_by", "days_late", "earliest_arrival") == (NEED, None, None, None)
    (flag,) = answer(shop)["flags"]
    assert pick(flag, "kind", "part_number") == ("no_lead_time", "ring")
    assert "No lead time known for ring" in flag["says"]


def test_prices_are_rounded_to_cents():
    shop = make_shop([renew("PUMP", "ring", 3)], offers=[offer("ring", "0.337")])
    assert buy(shop)["price"] == 1.01


# --- safety stock


def stock_shop(stock, safety=10, lines=(), **more):
    items = [Item("ring", lead_days=5, safety_stock=safety * ONE), *more.pop("items", ())]
    lots = [*([lot("ring", stock)] if stock else []), *more.pop("lots", ())]
    return make_shop([renew("PUMP", "ring", 2), *lines], items=items, lots=lots, **more)


def test_safety_stock_is_set_against_what_sure_pieces_leave():
    """8 less 2 sure leave 6: 4 to top up. 12 less 2 leave 10: nothing."""
    assert pick(buy(stock_shop(8)), "short", "top_up", "net") == (0, 4, 4)
    assert answer(stock_shop(12))["buy"] == []


def test_a_top_up_alone_has_no_need_date():
    assert pick(buy(stock_shop(8)), "need_on", "order_by", "days_late", "jobs", "wear_advice") == (
        None, None, None, [], None,
    )  # fmt: skip


def test_a_top_up_comes_on_top_of_what_is_short():
    assert pick(buy(stock_shop(1)), "short", "top_up", "net", "need_on") == (1, 10, 11, NEED)


def test_open_orders_count_for_safety_whatever_their_day():
    shop = stock_shop(8, orders=[order("ring", 3, march(30)), order("ring", 1, date(2026, 2, 2), "PO-2")])
    assert answer(shop)["buy"] == []


def test_lots_that_die_before_the_last_build_are_no_safety():
    jobs = [job("J-1"), job("J-2", march(30))]
    shop = stock_shop(
        0, 3, jobs=jobs, lots=[lot("ring", 5, last_use=march(29)), lot("ring", 4, "B", last_use=march(30))]
    )
    assert buy(shop)["top_up"] == 1  # of 4 two go to J-2, and the 3 that are left of the other lot die


def test_lots_of_a_customer_and_reserved_pieces_are_no_safety():
    shop = stock_shop(2, 3, lots=[lot("ring", 9, "B", owner="Harbour Line")])
    assert buy(shop)["top_up"] == 3


def test_an_item_that_nobody_asks_for_is_topped_up_too():
    shop = stock_shop(12, items=[Item("cup", lead_days=5, safety_stock=3 * ONE)], lots=[lot("cup", 1)])
    assert pick(buy(shop, "cup"), "short", "top_up", "net") == (0, 2, 2)


@pytest.mark.parametrize("source", ["pack", "make"])
def test_what_is_packed_or_made_here_is_not_topped_up(source):
    thing = Item("thing", "kit" if source == "pack" else "assembly", source=source, safety_stock=3 * ONE)
    shop = stock_shop(12, items=[thing], lines=[holds("thing", "cup")])
    assert answer(shop)["buy"] == []


def test_a_kit_that_may_be_bought_is_topped_up():
    shop = stock_shop(12, items=[replace(kit(source="pack_else_buy"), safety_stock=3 * ONE)], lines=[holds("K", "cup")])
    assert buy(shop, "K")["top_up"] == 3


def test_bench_items_are_not_bought_here():
    shop = stock_shop(12, items=[Item("grease", bench=True, safety_stock=3 * ONE)])
    assert answer(shop)["buy"] == []


def test_wear_lies_inside_the_top_up_and_not_on_top_of_it():
    """After the sure pieces 6 are left of 8; wear of 9 then lacks 3, safety 4: the larger of the two is bought."""
    look = inspect("PUMP", "ring", 100, 9, position="look")
    assert pick(buy(stock_shop(8, lines=[look])), "short_wear", "top_up", "net") == (3, 4, 4)
    many = inspect("PUMP", "ring", 100, 12, position="look")
    assert pick(buy(stock_shop(8, lines=[many])), "short_wear", "top_up", "net") == (6, 4, 6)


# --- wear


def wear_shop(lead=5, build=None, strip=None, **more):
    """One spool, sure to be found worn, for a build on 26 March: needed on Wednesday 25 March."""
    items = [Item("spool", lead_days=lead)]
    jobs = more.pop("jobs", [job(build_on=build or march(26), strip_on=strip)])
    return make_shop([inspect("PUMP", "spool", 100)], items=items, jobs=jobs, **more)


def test_wear_is_bought_apart_from_what_is_sure():
    row = buy(wear_shop(), "spool")
    assert pick(row, "short", "short_wear", "net", "need_on", "jobs") == (0, 1, 1, "2026-03-25", [])


def advice(*shop, **more):
    return buy(wear_shop(*shop, **more), "spool")["wear_advice"]


def test_wear_that_can_wait_for_the_strip_down_says_so():
    """To be ordered by 18 March: on the strip date or later it can wait; stripped on the 19th it cannot."""
    assert advice(strip=march(18)) == "decide_after_strip"
    assert advice(strip=march(17)) == "decide_after_strip"
    assert advice(strip=march(19)) is None


def test_without_a_strip_date_the_build_date_counts():
    assert advice(strip=None) is None
    assert advice(lead=0, strip=None, build=march(27), staging_days=0) == "decide_after_strip"


def test_wear_that_cannot_come_in_time_is_asked_for_only_if_found():
    """15 working days from 4 March are 25 March; with 16 it comes a day late, stripped or not."""
    assert advice(lead=15, strip=march(4)) == "decide_after_strip"
    assert advice(lead=16, strip=march(4)) == "only_if_found"


def test_with_an_unknown_lead_no_advice_is_given():
    assert advice(lead=None, strip=march(4)) is None


def test_the_earliest_strip_date_behind_the_wear_counts():
    """Both jobs are built on the 26th; those of other days do not count."""
    jobs = [job("J-1", march(26), strip_on=march(20)), job("J-2", march(26), strip_on=march(16))]
    assert advice(jobs=jobs) == "decide_after_strip"
    jobs = [job("J-1", march(26), strip_on=march(20)), job("J-2", march(30), strip_on=march(16))]
    shop = wear_shop(jobs=jobs, lots=[lot("spool", 1)])
    assert pick(buy(shop, "spool"), "need_on", "wear_advice") == ("2026-03-27", "decide_after_strip")


def test_behind_wear_of_a_made_part_stand_the_jobs_that_look_at_the_whole():
    """The head, made in 2 days, is looked at in J-1 alone: its core is needed on 23 March, and ordered by the 16th."""
    lines = [opens("PUMP", "end"), inspect("end", "head", 100), holds("head", "core"), opens("PUMP", "drive")]
    lines += [inspect("drive", "cup", 100)]
    head = Item("head", "assembly", source="make", lead_days=2)
    for strip, told in ((march(16), "decide_after_strip"), (march(17), None)):
        jobs = [job("J-1", march(26), strip_on=strip), job("J-2", march(26), scope="air", strip_on=march(5))]
        shop = make_shop(lines, items=[head], sections=(("end", 1),), jobs=jobs)
        rows = (*shop.catalog.scopes, replace(shop.catalog.scopes[0], scope="air", section="drive"))
        shop = replace(shop, catalog=replace(shop.catalog, scopes=rows))
        assert pick(buy(shop, "core"), "short_wear", "need_on", "wear_advice") == (1, "2026-03-23", told)


def test_wear_is_needed_when_need_and_wear_exceed_the_shelf():
    """2 on the shelf. Sure: 1 by 11 March, 1 by 27 March. Wear: 1 by 18 March, which is then the second and is served
    by date, but only the third is one too many, on 27 March."""
    lines = [opens("PUMP", "end"), renew("end", "spool"), opens("PUMP", "drive"), inspect("drive", "spool", 100)]
    jobs = [job("J-1"), job("J-2", march(30)), job("J-3", march(19), scope="air")]
    shop = make_shop(lines, sections=(("end", 1),), jobs=jobs, lots=[lot("spool", 2)])
    rows = (*shop.catalog.scopes, replace(shop.catalog.scopes[0], scope="air", section="drive"))
    shop = replace(shop, catalog=replace(shop.catalog, scopes=rows))
    assert pick(buy(shop, "spool"), "short", "short_wear", "need_on") == (0, 1, "2026-03-27")


def test_an_order_moves_the_day_on_which_wear_is_needed():
    jobs = [job("J-1", march(19)), job("J-2", march(26))]
    assert buy(wear_shop(jobs=jobs), "spool")["need_on"] == "2026-03-18"
    shop = wear_shop(jobs=jobs, orders=[order("spool", 1, march(18))])
    assert buy(shop, "spool")["need_on"] == "2026-03-25"


def test_wear_may_take_late_orders_without_expediting_them():
    shop = wear_shop(orders=[order("spool", 1, march(30))])
    assert (answer(shop)["buy"], answer(shop)["expedite"]) == ([], [])


# --- cure dates


def test_the_oldest_cure_quarter_lasts_to_the_latest_build_served():
    """5 years of life, needed on 12 March 2026: cured in 4Q20, it starts on 1 January 2021 and dies on 31 December
    2025; 1Q21 lasts to 31 March 2026."""
    shop = make_shop([renew("PUMP", "ring")], items=[Item("ring", limited_life=True, life_months=60, lead_days=5)])
    (row,) = plan(shop).buy
    assert str(row.oldest_cure) == "1Q2021"


def test_the_latest_build_that_lacks_it_decides():
    """J-2 is built on 9 April 2026: 1Q21 is dead by then, 2Q21 lasts to 30 June."""
    ring = Item("ring", limited_life=True, life_months=60, lead_days=5)
    (row,) = plan(make_shop([renew("PUMP", "ring")], items=[ring], jobs=[job(), job("J-2", date(2026, 4, 9))])).buy
    assert str(row.oldest_cure) == "2Q2021"


def test_a_minimum_life_at_receipt_is_stricter():
    """24 months left on 11 March 2026 ask for a last use in March 2028 or later: 1Q23."""
    ring = Item("ring", limited_life=True, life_months=60, lead_days=5, min_life_months=24)
    (row,) = plan(make_shop([renew("PUMP", "ring")], items=[ring])).buy
    assert str(row.oldest_cure) == "1Q2023"


def test_a_minimum_life_that_no_lot_can_have_is_said():
    """70 months at receipt are more than a life of 60: the build day alone decides, as without the minimum."""
    ring = Item("ring", limited_life=True, life_months=60, lead_days=5, min_life_months=70)
    shop = make_shop([renew("PUMP", "ring")], items=[ring])
    (row,) = plan(shop).buy
    assert (str(row.oldest_cure), row.minimum_met) == ("1Q2021", False)
    (flag,) = answer(shop)["flags"]
    assert (flag["kind"], flag["part_number"]) == ("minimum_life_unmet", "ring")
    assert "at receipt, 70 months, cannot be met by a shelf life of 60 months" in flag["says"]


def test_a_minimum_life_that_can_be_had_is_no_matter():
    ring = Item("ring", limited_life=True, life_months=60, lead_days=5, min_life_months=24)
    assert answer(make_shop([renew("PUMP", "ring")], items=[ring]))["flags"] == []


def test_an_item_without_shelf_life_has_no_oldest_cure():
    (row,) = plan(make_shop([renew("PUMP", "ring")])).buy
    assert row.oldest_cure is None


# --- pieces got inside others


def test_a_shortage_of_a_piece_got_in_a_kit_stands_on_its_own_row():
    """4 discs in kits of 3: 2 kits, 6 discs, 2 over; the kits of the job are another row."""
    lines = [opens("PUMP", "end", 2), renew("end", "disc", 2), holds("K", "disc", 3)]
    items = [Item("disc", source="in_kit_only", get_as="K"), kit()]
    shop = make_shop(
        lines, items=items, offers=[offer("K", "8.00")], fits=[KitFit("K", "PUMP")], sections=(("end", 2),)
    )
    row = buy(shop, "disc")
    assert pick(row, "short", "packs", "pack_size", "order_quantity", "surplus", "price") == (4, 2, 3, 6, 2, 16)
    assert row["earliest_arrival"] == "2026-03-11"  # by the kit's lead

"""Which lot or order line serves which piece: what counts as supply, in which order it is taken, and by whom."""

from dataclasses import replace
from datetime import date

import pytest

from bom.demand.askers import Taker
from bom.plan import plan
from bom.structure.arrays import LAST_DAY, compile_structure, day_number
from bom.supply.matching import take_from_lots
from bom.supply.supplies import SetAside, gather_supplies
from bom.values import ONE, Issue, Item, KitFit, OtherNeed
from tests.bom.results import Result
from tests.bom.small_shops import (
    TODAY,
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    opens,
    order,
    pick,
    renew,
    row_of,
    statuses,
)

RING = [renew("PUMP", "ring")]


def drawn(shop):
    """Who takes how many from which lot or order line, in serving order."""
    found = Result(plan(shop))
    taken = []
    for piece in found.pieces:
        taken += [(piece.name, shop.lots[place].lot, quantity // ONE) for place, quantity in piece.lots]
        taken += [(piece.name, shop.orders[place].order, quantity // ONE) for place, quantity in piece.orders]
        taken += [(piece.name, name, quantity // ONE) for name, quantity in
                  (("own", piece.own), ("uncovered", piece.uncovered)) if quantity]  # fmt: skip
    return taken


def lots_of(count, *lots, **more):
    return make_shop([renew("PUMP", "ring", count)], lots=lots, **more)


# --- what counts


def left_out(item, **row):
    shop = make_shop(RING, items=[replace(item, lead_days=5)], lots=[lot("ring", 3, **row)])
    return pick(demand_of(shop, "ring"), "on_hand", "left_out")


LIMITED = Item("ring", limited_life=True)
PLAIN = Item("ring")


@pytest.mark.parametrize(
    ("item", "row", "reason"),
    [
        (PLAIN, {"condition": "quarantine"}, "quarantine"),
        (PLAIN, {"condition": "owing"}, "owing"),
        (LIMITED, {"last_use": march(3), "condition": "owing"}, "owing"),
        (LIMITED, {}, "no_date"),
        (LIMITED, {"last_use": march(3)}, "expired"),
        (PLAIN, {"last_use": march(3)}, "expired"),
        (PLAIN, {"packet": "loose"}, "resealed"),
        (replace(PLAIN, resealed_usable=False), {"packet": "resealed"}, "resealed"),
        (LIMITED, {"last_use": march(3), "condition": "quarantine", "packet": "loose"}, "quarantine"),
        (LIMITED, {"packet": "loose"}, "no_date"),
        (LIMITED, {"last_use": march(3), "packet": "loose"}, "expired"),
        (replace(PLAIN, cleanliness="oxygen_clean"), {"packet": "resealed"}, "resealed"),
        (replace(PLAIN, cleanliness="lubricant_free"), {"packet": "resealed", "last_use": TODAY}, "resealed"),
        (PLAIN, {"last_use": march(11)}, "too_old"),
        (LIMITED, {"last_use": TODAY}, "too_old"),
        (PLAIN, {"packet": "loose", "last_use": march(11)}, "resealed"),
    ],
)
def test_a_lot_is_left_out_for_the_first_reason_that_applies(item, row, reason):
    assert left_out(item, **row) == (0, {reason: 3})


@pytest.mark.parametrize(
    ("item", "row"),
    [
        (PLAIN, {}),
        (LIMITED, {"last_use": march(12)}),
        (PLAIN, {"packet": "resealed"}),
        (replace(PLAIN, ageless=True), {"packet": "loose"}),
        (replace(PLAIN, ageless=True, resealed_usable=False), {"packet": "resealed"}),
    ],
)
def test_other_lots_are_on_hand(item, row):
    """Also what dies on the day of the first build; parts without shelf life ignore the packet."""
    assert left_out(item, **row) == (3, {})


def test_left_out_counts_every_lot_with_its_reason():
    lots = [
        lot("ring", 2, "A", condition="quarantine"),
        lot("ring", 3, "B", condition="quarantine"),
        lot("ring", 1, "C"),
    ]
    row = demand_of(lots_of(9, *lots, lot("ring", 4, "D", packet="loose")), "ring")
    assert pick(row, "on_hand", "left_out", "uncovered") == (1, {"quarantine": 5, "resealed": 4}, 8)


def test_what_dies_before_the_first_build_is_too_old_to_be_on_hand():
    """Five rings for four places, each worn every second time, but they die on the eve of the only build.

    The shelf is enough only if nothing is worn: 0.5 ** 4 = 6.25 %.
    """
    lines = [inspect("PUMP", "ring", 50, 4)]
    row = demand_of(make_shop(lines, lots=[lot("ring", 5, last_use=march(17))], jobs=[job(build_on=march(18))]), "ring")
    assert pick(row, "on_hand", "left_out", "chance_enough") == (0, {"too_old": 5}, 0.0625)


@pytest.mark.parametrize(
    "asked",
    [
        {"lines": [inspect("PUMP", "ring", 0)]},
        {"lines": [renew("PUMP", "cup")], "needs": [OtherNeed("sale", "ring", ONE, march(11))]},
        {
            "lines": [opens("PUMP", "END"), renew("END", "cup"), holds("K", "ring"), holds("K", "cup")],
            "items": [kit(source="pack")],
            "fits": [KitFit("K", "END")],
        },
    ],
)
def test_the_first_build_is_that_of_any_piece_or_place_that_asks(asked):
    """The ring may be looked at on the 11th, sold on that day, or packed into a kit for that build."""
    asked = {"jobs": [job(build_on=march(11)), job("J-2", march(25))], **asked}
    shop = make_shop(asked.pop("lines"), lots=[lot("ring", 5, last_use=march(11))], **asked)
    assert pick(demand_of(shop, "ring"), "on_hand", "left_out") == (5, {})


def test_what_is_reserved_for_others_is_not_too_old_as_well():
    jobs = [job("J-1"), job("J-2", stage="held")]
    shop = make_shop(RING, lots=[lot("ring", 3, last_use=march(11))], jobs=jobs, issues=[aside("J-2", 2)])
    assert pick(demand_of(shop, "ring"), "on_hand", "left_out") == (0, {"reserved": 2, "too_old": 1})


def test_what_is_too_old_does_not_count_where_it_lies_in_a_bag_or_is_set_aside_for_the_job():
    lots = [lot("ring", 1, "L", last_use=march(11)), lot("ring", 0, "D", last_use=march(11))]
    shop = make_shop(RING, lots=lots, issues=[aside("J-1", 1), aside("J-1", 2, "bagged", "D")])
    assert pick(demand_of(shop, "ring"), "on_hand", "left_out") == (0, {"too_old": 3})


# --- in which order


def test_the_earliest_last_use_goes_first():
    lots = [
        lot("ring", 1, "none"),
        lot("ring", 1, "late", last_use=march(30)),
        lot("ring", 1, "soon", last_use=march(20)),
    ]
    assert [name for _, name, _ in drawn(lots_of(3, *lots))] == ["soon", "late", "none"]


def test_of_two_lots_the_earlier_last_use_is_emptied_before_the_other_is_touched():
    lots = [lot("ring", 5, "later", last_use=march(30)), lot("ring", 2, "sooner", last_use=march(20))]
    assert drawn(lots_of(3, *lots)) == [("J-1", "sooner", 2), ("J-1", "later", 1)]


def test_a_lot_serves_a_build_on_its_last_day_of_use_and_none_a_day_later():
    """The build is on 12 March."""
    assert drawn(lots_of(1, lot("ring", 1, "last day", last_use=march(12)))) == [("J-1", "last day", 1)]
    assert drawn(lots_of(1, lot("ring", 1, "day before", last_use=march(11)))) == [("J-1", "uncovered", 1)]


def test_then_the_earliest_received_and_then_the_lot_code():
    days = {"c": date(2025, 1, 1), "a": date(2025, 6, 1), "b": date(2025, 6, 1), "z": None}
    lots = [lot("ring", 1, code, received=day) for code, day in sorted(days.items(), reverse=True)]
    for count, names in ((1, "c"), (2, "ca"), (3, "cab"), (4, "cabz")):
        assert "".join(sorted(name for _, name, _ in drawn(lots_of(count, *lots)))) == "".join(sorted(names))


def test_a_lot_that_dies_before_the_build_is_passed_over():
    """It would be first, lives to the need date, and stays on the shelf; the next one lives to the build itself."""
    lots = [lot("ring", 1, "dying", last_use=march(11)), lot("ring", 1, "good", last_use=march(12))]
    shop = lots_of(2, *lots)
    assert drawn(shop) == [("J-1", "good", 1), ("J-1", "uncovered", 1)]
    (row,) = answer(shop)["expiring"]
    assert pick(row, "lot", "quantity", "unused") == ("dying", 1, 1)


def test_what_an_earlier_job_leaves_a_later_one_cannot_always_use():
    """The lot of 12 March serves the first job, although the second would have nothing else either way."""
    lots = [lot("ring", 1, "soon", last_use=march(12)), lot("ring", 1, "good")]
    shop = make_shop(RING, lots=lots, jobs=[job("J-1"), job("J-2", march(19))])
    assert drawn(shop) == [("J-1", "soon", 1), ("J-2", "good", 1)]


def test_a_lot_in_two_places_is_two_supplies():
    lots = [lot("ring", 1, "L", place="A1"), lot("ring", 2, "L", place="S1")]
    assert drawn(lots_of(3, *lots)) == [("J-1", "L", 1), ("J-1", "L", 2)]


def test_of_one_lot_the_opened_packets_are_used_up_first():
    lots = [lot("ring", 2, "L", place="A1"), lot("ring", 1, "L", place="S1", packet="resealed")]
    assert drawn(lots_of(3, *lots)) == [("J-1", "L", 1), ("J-1", "L", 2)]
    held = Issue("J-1", "ring", "L", 2 * ONE, "reserved")
    supplies, ring = supplies_of(lots, [held])
    assert [(one.left, one.opened) for one in supplies.set_aside[0, ring]] == [(ONE, True), (ONE, False)]


def test_lots_come_before_orders_and_orders_by_their_day():
    orders = [
        order("ring", 1, march(9), "PO-10"), order("ring", 1, march(9), "PO-9"), order("ring", 1, march(16), "PO-1"),
        order("ring", 1, march(6), "PO-11"),
    ]  # fmt: skip
    shop = lots_of(6, lot("ring", 1), orders=orders)
    assert [name for _, name, _ in drawn(shop)] == ["L", "PO-11", "PO-9", "PO-10", "PO-1", "uncovered"]


def test_an_overdue_order_counts_from_today():
    """PO-2 was promised first, but both come today at the earliest, so their numbers decide."""
    orders = [order("ring", 1, date(2026, 2, 2), "PO-2"), order("ring", 1, TODAY, "PO-1")]
    assert [name for _, name, _ in drawn(lots_of(2, orders=orders))] == ["PO-1", "PO-2"]


def test_an_order_of_which_nothing_is_open_serves_nothing():
    shop = lots_of(1, orders=[order("ring", 0, date(2026, 2, 2))])
    assert drawn(shop) == [("J-1", "uncovered", 1)]
    assert answer(shop)["chase"] == []


# --- who comes first


def winner(*jobs, **more):
    shop = make_shop(RING, lots=[lot("ring", 1)], jobs=jobs, **more)
    return next(name for name, place, _ in drawn(shop) if place == "L")


def test_the_earlier_need_is_served_first():
    assert winner(job("J-1", march(19), priority=1), job("J-2", march(12), priority=9)) == "J-2"


def test_then_the_priority():
    assert winner(job("J-1", priority=5), job("J-2", priority=1)) == "J-2"


def test_then_the_job_number_as_text():
    assert winner(job("J-9"), job("J-10")) == "J-10"


def test_builds_that_need_their_parts_on_one_day_are_equals():
    """Saturday and Monday builds both need their parts by Friday less nothing: priority decides between them."""
    assert winner(job("J-1", march(14), priority=5), job("J-2", march(16), priority=1), staging_days=0) == "J-1"
    assert winner(job("J-1", march(14), priority=5), job("J-2", march(13), priority=1), staging_days=0) == "J-2"


def test_what_is_past_its_need_is_needed_today():
    """Both builds are over: today is the need date of both, and the priority decides."""
    assert winner(job("J-1", march(2), priority=5), job("J-2", march(4), priority=1)) == "J-2"


def test_what_is_past_its_need_goes_by_its_build_day_before_its_number():
    """Today is the need date of both, and they are of one priority: the build that has waited longer comes first."""
    assert winner(job("J-1", march(4)), job("J-2", march(2))) == "J-2"
    assert winner(job("J-1", march(4), priority=4), job("J-2", march(2))) == "J-1"
    assert winner(job("J-1", march(4)), needs=[OtherNeed("sale", "ring", ONE, march(3))]) == "sale"


def test_another_need_on_a_closed_day_is_needed_on_the_working_day_before():
    """A sale on Saturday the 14th and a build on Monday the 16th both want their ring by Friday the 13th."""
    sale = OtherNeed("A-sale", "ring", ONE, march(14))
    assert winner(job("J-1", march(16)), needs=[sale]) == "A-sale"
    shop = make_shop(RING, jobs=[], needs=[sale], orders=[order("ring", 1, march(14))])
    assert pick(answer(shop)["expedite"][0], "need_on", "days_late") == ("2026-03-13", 1)


def test_other_needs_compete_like_jobs_without_staging():
    """The door sale of 11 March has the need date of the build of 12 March."""
    sale = OtherNeed("A-sale", "ring", ONE, march(11))
    assert winner(job("J-1"), needs=[sale]) == "A-sale"
    assert winner(job("J-1"), needs=[replace(sale, priority=6)]) == "J-1"
    assert winner(job("J-1"), needs=[replace(sale, need_on=march(12))]) == "J-1"


def test_a_lot_for_another_need_lasts_to_its_day():
    sale = OtherNeed("sale", "ring", ONE, march(20))
    shop = make_shop(RING, lots=[lot("ring", 2, last_use=march(19))], needs=[sale])
    assert drawn(shop) == [("J-1", "L", 1), ("sale", "uncovered", 1)]


def test_sure_pieces_are_served_before_wear_of_an_earlier_build():
    lines = [inspect("PUMP", "ring", 100), renew("PUMP", "cup")]
    shop = make_shop(lines, lots=[lot("ring", 1), lot("cup", 1)], needs=[OtherNeed("sale", "ring", ONE, march(30))])
    assert drawn(shop) == [("J-1", "L", 1), ("sale", "L", 1), ("", "uncovered", 1)]


# --- owners


def test_a_lot_with_an_owner_serves_that_customer_alone():
    lots = [lot("ring", 2, "theirs", owner="Harbour Line")]
    jobs = [job("J-1", customer="Tube Mill"), job("J-2", customer=" harbour  LINE")]
    shop = make_shop(RING, lots=lots, jobs=jobs)
    assert drawn(shop) == [("J-1", "uncovered", 1), ("J-2", "theirs", 1)]
    assert demand_of(shop, "ring")["on_hand"] == 2


def test_an_owner_also_buys_at_the_door():
    sale = OtherNeed("sale", "ring", ONE, march(20), for_whom="Harbour Line")
    shop = make_shop(RING, lots=[lot("ring", 2, "theirs", owner="Harbour Line")], needs=[sale])
    assert drawn(shop) == [("J-1", "uncovered", 1), ("sale", "theirs", 1)]


def test_wear_takes_no_lot_of_an_owner():
    lines = [inspect("PUMP", "ring", 100)]
    shop = make_shop(lines, lots=[lot("ring", 2, owner="Harbour Line")], jobs=[job(customer="Harbour Line")])
    assert demand_of(shop, "ring")["uncovered_wear"] == 1


# --- set aside


def aside(name, count, state="reserved", code="L", place=""):
    return Issue(name, "ring", code, count * ONE, state, place)


@pytest.mark.parametrize("owner", ["", "Harbour Line"])
def test_a_measured_need_is_served_to_the_last_millionth(owner):
    """Also lot by lot, as it goes where one lot has an owner."""
    lots = [lot("cord", 2, "A"), lot("cord", 2, "B"), lot("cord", 1, "C", owner=owner)]
    cord = replace(renew("PUMP", "cord"), quantity=2 * ONE + 1)
    found = Result(plan(make_shop([cord], items=[Item("cord", countable=False)], lots=lots)))
    assert [(piece.lots, piece.uncovered) for piece in found.pieces] == [(((0, 2 * ONE), (1, 1)), 0)]


def test_a_millionth_on_the_shelf_and_a_millionth_on_order_serve():
    cord = replace(renew("PUMP", "cord"), quantity=3)
    lots, orders = [replace(lot("cord", 1), quantity=1)], [replace(order("cord", 1, march(5)), quantity=1)]
    shop = make_shop([cord], items=[Item("cord", countable=False)], lots=lots, orders=orders)
    (piece,) = Result(plan(shop)).pieces
    assert (piece.lots, piece.orders, piece.uncovered) == (((0, 1),), ((0, 1),), 1)


def test_the_last_millionth_of_a_lot_that_dies_before_the_build_serves_nothing():
    cord = replace(renew("PUMP", "cord"), quantity=1)
    lots = [replace(lot("cord", 1, last_use=march(11)), quantity=1)]
    (piece,) = Result(plan(make_shop([cord], items=[Item("cord", countable=False)], lots=lots))).pieces
    assert (piece.lots, piece.uncovered) == ((), 1)


def supplies_of(lots, issues=()):
    structure = compile_structure(make_shop(RING).catalog)
    supplies = gather_supplies(structure, day_number(TODAY), lots, (), issues, {"J-1": 0})
    return supplies, structure.index["ring"]


def test_what_is_reserved_serves_its_job_and_no_other():
    """J-1 needs it a week earlier, and goes without."""
    shop = make_shop(RING, lots=[lot("ring", 1)], jobs=[job("J-1"), job("J-2", march(19))], issues=[aside("J-2", 1)])
    assert drawn(shop) == [("J-1", "uncovered", 1), ("J-2", "own", 1)]
    assert pick(demand_of(shop, "ring"), "on_hand", "left_out") == (1, {})


def test_what_a_job_has_set_aside_is_taken_before_anything_else():
    lots = [lot("ring", 2, "A", last_use=march(20)), lot("ring", 1, "L")]
    shop = make_shop([renew("PUMP", "ring", 2)], lots=lots, issues=[aside("J-1", 1)])
    assert drawn(shop) == [("J-1", "A", 1), ("J-1", "own", 1)]


def test_what_is_in_the_bag_is_not_on_the_shelf_but_on_hand():
    shop = make_shop([renew("PUMP", "ring", 2)], lots=[lot("ring", 1)], issues=[aside("J-1", 1, "bagged")])
    assert drawn(shop) == [("J-1", "L", 1), ("J-1", "own", 1)]
    assert pick(demand_of(shop, "ring"), "on_hand", "uncovered") == (2, 0)
    assert statuses(answer(shop)) == {"J-1": "ready"}


def test_what_is_in_the_bag_lies_at_no_place_and_what_is_reserved_at_its_own():
    lots, issues = [lot("ring", 1, "A"), lot("ring", 1, "L")], [aside("J-1", 2, "bagged", "A"), aside("J-1", 1)]
    supplies, ring = supplies_of(lots, issues)
    assert supplies.set_aside == {(0, ring): [SetAside(2 * ONE, LAST_DAY, -1), SetAside(ONE, LAST_DAY, 1)]}


@pytest.mark.parametrize(("asked", "taken"), [(1, [1]), (ONE, [ONE]), (ONE + 1, [ONE, 1]), (3 * ONE, [ONE, ONE])])
def test_lots_are_taken_to_the_last_millionth(asked, taken):
    supplies, ring = supplies_of([lot("ring", 1, "A"), lot("ring", 1, "B")])
    assert [part for _, part in take_from_lots(supplies, ring, asked, day_number(TODAY), Taker())] == taken
    assert supplies.left.sum() == 2 * ONE - sum(taken)


def test_what_is_reserved_for_jobs_that_do_not_ask_is_left_out():
    jobs = [job("J-1"), job("J-2", stage="held")]
    shop = make_shop(RING, lots=[lot("ring", 3)], jobs=jobs, issues=[aside("J-2", 2)])
    assert pick(demand_of(shop, "ring"), "on_hand", "left_out", "uncovered") == (1, {"reserved": 2}, 0)


def test_what_is_in_the_bag_of_a_job_that_does_not_ask_is_nowhere():
    jobs = [job("J-1"), job("J-2", stage="held")]
    shop = make_shop(RING, jobs=jobs, issues=[aside("J-2", 2, "bagged")])
    assert pick(demand_of(shop, "ring"), "on_hand", "left_out", "uncovered") == (0, {}, 1)


def test_what_is_set_aside_beyond_the_need_serves_nobody():
    shop = make_shop(RING, lots=[lot("ring", 3)], jobs=[job("J-1"), job("J-2")], issues=[aside("J-1", 3)])
    assert drawn(shop) == [("J-1", "own", 1), ("J-2", "uncovered", 1)]
    assert demand_of(shop, "ring")["on_hand"] == 3


@pytest.mark.parametrize("row", [{"condition": "quarantine"}, {"last_use": march(11)}, {"last_use": march(3)}])
def test_what_is_reserved_of_a_lot_that_cannot_be_used_serves_nothing(row):
    """In quarantine, dead before the build, or dead already."""
    shop = make_shop(RING, lots=[lot("ring", 1, **row)], issues=[aside("J-1", 1)])
    assert drawn(shop) == [("J-1", "uncovered", 1)]


def test_what_is_reserved_of_a_lot_that_lives_to_the_build_day_itself_serves():
    shop = make_shop(RING, lots=[lot("ring", 1, last_use=march(12))], issues=[aside("J-1", 1)])
    assert drawn(shop) == [("J-1", "own", 1)]


def test_what_is_set_aside_serves_its_job_once():
    """The job asks twice: for a ring on the pump, and for one in the kit that is packed for it."""
    lines = [renew("PUMP", "ring"), opens("PUMP", "END"), renew("END", "ring"), holds("K", "ring")]
    set_aside = {"lots": [lot("ring", 1)], "issues": [aside("J-1", 1)]}
    shop = make_shop(lines, items=[kit(source="pack")], fits=[KitFit("K", "END")], **set_aside)
    assert sorted(drawn(shop)) == [("J-1", "own", 1), ("J-1", "uncovered", 1)]


def test_a_bag_with_a_lot_that_dies_before_the_build_serves_nothing():
    lots = [lot("ring", 0, last_use=march(11))]
    shop = make_shop(RING, lots=lots, issues=[aside("J-1", 1, "bagged")])
    assert drawn(shop) == [("J-1", "uncovered", 1)]


def test_a_reservation_at_a_place_holds_there_alone():
    lots = [lot("ring", 1, "L", place="A1"), lot("ring", 1, "L", place="S1", last_use=march(11))]
    jobs = [job("J-1"), job("J-2", march(19))]
    at_a1 = make_shop(RING, lots=lots, jobs=jobs, issues=[aside("J-2", 1, place="A1")])
    assert drawn(at_a1) == [("J-1", "uncovered", 1), ("J-2", "own", 1)]
    at_s1 = replace(at_a1, issues=(aside("J-2", 1, place="S1"),))
    assert drawn(at_s1) == [("J-1", "L", 1), ("J-2", "uncovered", 1)]


def test_a_reservation_at_another_place_hides_none_at_this_one():
    lots = [lot("ring", 1, "L", place="A1"), lot("ring", 1, "L", place="S1")]
    jobs = [job("J-1"), job("J-2", march(19)), job("J-3", march(26))]
    issues = [aside("J-2", 1, place="S1"), aside("J-3", 1, place="A1")]
    shop = make_shop(RING, lots=lots, jobs=jobs, issues=issues)
    assert drawn(shop) == [("J-1", "uncovered", 1), ("J-2", "own", 1), ("J-3", "own", 1)]


def test_a_reservation_at_no_place_holds_once_where_the_lot_lies_twice():
    lots = [lot("ring", 1, "L", place="A1"), lot("ring", 1, "L", place="S1")]
    shop = make_shop(RING, lots=lots, jobs=[job("J-1"), job("J-2", march(19))], issues=[aside("J-2", 1)])
    assert drawn(shop) == [("J-1", "L", 1), ("J-2", "own", 1)]


def test_more_reserved_than_lies_there_reserves_what_lies_there():
    shop = make_shop(RING, lots=[lot("ring", 1)], issues=[aside("J-1", 5)])
    assert demand_of(shop, "ring")["on_hand"] == 1


# --- what is told of it


def test_on_hand_and_on_order_are_told_before_anything_is_taken():
    shop = lots_of(2, lot("ring", 1), orders=[order("ring", 3, march(9)), order("ring", 2, date(2026, 2, 2), "PO-2")])
    assert pick(demand_of(shop, "ring"), "on_hand", "on_order", "uncovered") == (1, 5, 0)


def test_dying_lots_are_summed_over_their_places():
    lots = [
        lot("ring", 1, "D", place="A1", last_use=march(10)), lot("ring", 2, "D", place="S1", last_use=march(10)),
        lot("ring", 9, "E", last_use=march(12)),
    ]  # fmt: skip
    shop = lots_of(1, *lots)
    assert answer(shop)["expiring"] == [
        {"part_number": "ring", "lot": "D", "last_use": "2026-03-10", "quantity": 3, "unused": 3}
    ]


def test_a_dying_lot_of_which_something_is_used_tells_the_rest():
    lots = [lot("ring", 3, "D", last_use=march(13))]
    shop = make_shop(RING, lots=lots, jobs=[job("J-1"), job("J-2", march(19))])
    assert pick(answer(shop)["expiring"][0], "quantity", "unused") == (3, 2)


def test_bench_items_never_expire_in_the_list():
    lines = [*RING, renew("PUMP", "grease")]
    lots = [lot("ring", 1), lot("grease", 1, last_use=march(6))]
    assert answer(make_shop(lines, items=[Item("grease", bench=True)], lots=lots))["expiring"] == []


def test_a_lot_that_dies_before_the_last_part_is_here_is_flagged_and_stays():
    """The cup comes on 16 March, when the ring has died; the ring is served all the same."""
    lines = [*RING, renew("PUMP", "cup")]
    shop = make_shop(lines, lots=[lot("ring", 1, "D", last_use=march(13))], orders=[order("cup", 1, march(16))])
    found = answer(shop)
    (flag,) = [flag for flag in found["flags"] if flag["kind"] == "lot_dies_first"]
    assert pick(flag, "part_number", "job") == ("ring", "J-1")
    assert "Lot D of ring may be used to 13 Mar 2026" in flag["says"]
    assert row_of(found["demand"], "ring")["uncovered"] == 0

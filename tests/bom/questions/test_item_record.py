"""The record of one item from a plan: the demo shop's seats by hand, and the plan itself on random shops."""

from dataclasses import replace
from datetime import date

import pytest

from bom.plan import plan
from bom.questions.item_record import item_record, reconcile
from bom.questions.record import LOT_FOR_LOT, LotRule
from bom.structure.calendar import ShopCalendar
from bom.values import ONE, Issue, Item, KitFit, OtherNeed
from tests.bom.results import plan_of
from tests.bom.small_shops import holds, inspect, job, kit, lot, make_shop, march, offer, order, renew
from tests.demo_shop import demo_shop
from tests.shops import random_shop


@pytest.fixture(scope="module")
def demo():
    return plan(demo_shop())


def pieces(buckets):
    return [quantity // ONE for quantity in buckets]


def by_day(found, buckets):
    """What is not nil, by day."""
    return {on: quantity // ONE for on, quantity in zip(found.starts, buckets, strict=True) if quantity}


# --- by hand


def test_the_seats_of_the_demo_shop_by_hand(demo):
    """Thirty seats: six here, ten promised on 27 March; 4 are missing on 23 March, 2 and 8 more after Easter."""
    found = item_record(demo, "SE-M", by_week=False, lots=LOT_FOR_LOT)
    assert by_day(found, found.sure) == {date(2026, 3, 31): 2}
    assert by_day(found, found.passed_down) == {
        date(2026, 3, 23): 10, date(2026, 4, 7): 8, date(2026, 4, 13): 2, date(2026, 4, 15): 8,
    }  # fmt: skip
    assert by_day(found, found.record.scheduled) == {date(2026, 3, 27): 10}
    assert by_day(found, found.record.net) == {date(2026, 3, 23): 4, date(2026, 4, 13): 2, date(2026, 4, 15): 8}
    assert found.holding.on_hand == 6 * ONE
    assert found.total_net == 14 * ONE


def test_seats_are_released_their_lead_time_before_and_in_whole_packs(demo):
    """Twelve working days before 13 April, over the two holidays, is 24 March; in fives, 4 wanted make 5."""
    found = item_record(demo, "SE-M", by_week=False)
    assert (found.lead_days, found.holding.lead_buckets) == (12, 12)
    assert found.holding.lots == LotRule(minimum=5 * ONE, multiple=5 * ONE)
    assert by_day(found, found.record.receipts) == {
        date(2026, 3, 23): 5, date(2026, 4, 13): 5, date(2026, 4, 15): 5,
    }  # fmt: skip
    assert by_day(found, found.record.releases) == {
        date(2026, 3, 5): 5, date(2026, 3, 24): 5, date(2026, 3, 26): 5,
    }  # fmt: skip
    assert found.record.past_due == ()


def test_seats_by_week(demo):
    """The ten seats of PO-7104 come in the week in which they are needed: a week hides that they are four days late."""
    found = item_record(demo, "SE-M", lots=LOT_FOR_LOT)
    assert found.starts[0] == date(2026, 3, 2)
    assert pieces(found.record.gross) == [0, 0, 0, 10, 2, 8, 10]
    assert pieces(found.record.scheduled) == [0, 0, 0, 10, 0, 0, 0]
    assert pieces(found.record.net) == [0, 0, 0, 0, 0, 4, 10]
    assert found.holding.lead_buckets == 3
    assert found.total_net == 14 * ONE


def test_an_overdue_order_stands_in_the_first_bucket(demo):
    found = item_record(demo, "K-CV")
    assert pieces(found.record.scheduled)[0] == 16
    assert found.total_net == 0


def test_wear_stands_apart_and_may_be_left_out(demo):
    with_it, without = item_record(demo, "BA-716"), item_record(demo, "BA-716", with_wear=False)
    assert (sum(with_it.sure), sum(with_it.wear), sum(without.wear)) == (3 * ONE, 19 * ONE, 0)
    # Safety stock of ten: 12 - 3 leaves 9 and a bag of 25; with 19 of wear a bag of 25 is enough as well.
    assert (with_it.holding.safety_stock, sum(with_it.record.receipts)) == (10 * ONE, 25 * ONE)
    assert sum(without.record.net) == ONE


def test_lots_that_die_are_counted_and_told(demo):
    """Nine of the thirteen cup seals die before the last build: five serve, four do not, and the record counts all."""
    assert item_record(demo, "CS-34-U").restricted == 9 * ONE
    found = reconcile(demo, "CS-34-U")
    assert (found.uncovered, found.restricted, found.agrees) == (5 * ONE, 9 * ONE, True)
    assert found.net_if_hurried == ONE


def test_every_item_of_the_demo_shop_is_reconciled(demo):
    for item in demo.shop.catalog.items:
        if not item.bench:
            assert reconcile(demo, item.part_number).agrees, item.part_number


def test_an_order_that_comes_on_a_closed_day_counts_on_the_next_and_a_need_on_the_one_before():
    shop = make_shop(
        [renew("PUMP", "RING")], orders=[order("RING", 1, march(7))], needs=[OtherNeed("VAN", "RING", ONE, march(14))]
    )
    found = item_record(plan(shop), "RING", by_week=False)
    assert by_day(found, found.record.scheduled) == {march(9): 1}
    assert by_day(found, found.sure) == {march(11): 1, march(13): 1}
    weeks = item_record(plan(shop), "RING")
    assert (weeks.starts, pieces(weeks.record.scheduled)) == ((march(2), march(9)), [0, 1])


def test_a_day_on_which_the_shop_is_closed_begins_with_the_next_open_one():
    shop = make_shop([renew("PUMP", "RING")], as_of=march(7), lots=[lot("RING", 1)])
    assert item_record(plan(shop), "RING", by_week=False).starts[0] == march(9)
    assert item_record(plan(shop), "RING").starts[0] == march(9)


def test_an_item_that_nobody_asks_for_has_one_empty_bucket():
    shop = make_shop([renew("PUMP", "RING")], items=[Item("SPARE", lead_days=5)])
    found = item_record(plan(shop), "SPARE")
    assert (found.starts, found.record.gross, found.record.net) == ((march(2),), (0,), (0,))
    with pytest.raises(KeyError):
        item_record(plan(shop), "NOTHING")


def test_a_kit_packed_here_is_made_up_lot_for_lot_in_its_packing_time():
    shop = make_shop(
        [renew("PUMP", "K", 3), holds("K", "RING")],
        items=[kit("K", "pack", lead_days=2)],
        lots=[lot("RING", 9), lot("K", 1)],
        offers=[offer("K", pack=5)],
    )
    found = item_record(plan(shop), "K", by_week=False)
    assert (found.holding.lots, found.lead_days) == (LOT_FOR_LOT, 2)
    assert by_day(found, found.record.receipts) == {march(11): 2}
    assert by_day(found, found.record.releases) == {march(9): 2}
    assert (reconcile(plan(shop), "K").uncovered, reconcile(plan(shop), "K").net) == (2 * ONE, 2 * ONE)


def test_minimum_and_multiple_are_those_of_the_offer_chosen():
    shop = make_shop(
        [renew("PUMP", "RING", 3)], offers=[offer("RING", pack=2, minimum_packs=2, multiple_packs=3, lead_days=1)]
    )
    found = item_record(plan(shop), "RING")
    assert found.holding.lots == LotRule(minimum=4 * ONE, multiple=6 * ONE)
    assert sum(found.record.receipts) == 6 * ONE == plan(shop).buy[0].purchase.order_quantity


def test_an_unknown_lead_time_is_told_and_taken_as_none():
    found = item_record(plan(make_shop([renew("PUMP", "RING")], items=[Item("RING")])), "RING")
    assert (found.lead_days, found.holding.lead_buckets, found.record.past_due) == (None, 0, ())


def test_a_late_order_is_netted_by_the_record_and_waited_for_by_the_plan():
    shop = make_shop([renew("PUMP", "RING", 2)], orders=[order("RING", 2, march(20))])
    found = reconcile(plan(shop), "RING")
    assert (found.net, found.net_if_hurried, found.uncovered, found.late) == (2 * ONE, 0, 0, 2 * ONE)
    assert found.agrees


def test_a_reconciliation_that_does_not_add_up_says_so():
    found = reconcile(plan(make_shop([renew("PUMP", "RING", 2)])), "RING")
    assert found.agrees
    assert not replace(found, uncovered=ONE).agrees
    assert not replace(found, net=ONE).agrees
    assert replace(found, net_if_hurried=ONE, restricted=ONE).agrees


def test_reserved_pieces_are_told():
    shop = make_shop(
        [renew("PUMP", "RING"), inspect("PUMP", "BALL", 50)],
        jobs=[job("J-1"), job("J-2")],
        lots=[lot("RING", 5), lot("BALL", 2, owner="harbour line")],
        issues=[Issue("J-2", "RING", "L", 2 * ONE, "reserved"), Issue("J-1", "RING", "L", ONE, "bagged")],
    )
    assert item_record(plan(shop), "RING").restricted == 3 * ONE
    assert item_record(plan(shop), "BALL").restricted == 2 * ONE


def test_an_opened_packet_is_not_for_a_clean_kit():
    shop = make_shop(
        [renew("PUMP", "RING"), holds("K", "RING")],
        items=[Item("RING", lead_days=5), kit(source="pack", cleanliness="oxygen_clean")],
        fits=[KitFit("K", "PUMP")],
        lots=[lot("RING", 3, packet="resealed")],
    )
    found = reconcile(plan(shop), "RING")
    assert (found.restricted, found.uncovered, found.net, found.agrees) == (3 * ONE, ONE, 0, True)


# --- against the plan


def plain(shop):
    """The shop without lots that die, have an owner or were opened, and without reservations and bags."""
    lots = tuple(replace(row, owner="", packet="sealed", last_use=date(2040, 1, 1)) for row in shop.lots)
    issues = tuple(row for row in shop.issues if row.state in ("issued", "returned"))
    return replace(shop, lots=lots, issues=issues)


@pytest.mark.parametrize("by_week", [False, True])
def test_record_and_plan_agree_where_every_lot_serves_every_job(by_week):
    late = uncovered = 0
    for seed in range(50):
        worked_out = plan(plain(random_shop(seed)))
        for item in worked_out.shop.catalog.items:
            if item.bench:
                continue
            found = reconcile(worked_out, item.part_number, by_week=by_week)
            assert found.restricted == 0, seed
            assert found.net_if_hurried == found.uncovered, (seed, item.part_number)
            assert found.uncovered <= found.net <= found.uncovered + found.late, (seed, item.part_number)
            assert found.late or found.net == found.uncovered, (seed, item.part_number)
            late += bool(found.late)
            uncovered += bool(found.uncovered)
    assert late > 10
    assert uncovered > 50


def test_record_and_plan_agree_on_every_item_whose_lots_serve_every_job():
    """Whatever else is in the shop."""
    seen = 0
    for seed in range(40):
        worked_out = plan_of(seed)
        for item in worked_out.shop.catalog.items:
            found = reconcile(worked_out, item.part_number) if not item.bench else None
            if found and not found.restricted:
                assert found.net_if_hurried == found.uncovered, (seed, item.part_number)
                seen += 1
    assert seen > 200


def test_nothing_of_the_plan_is_lost_in_the_buckets():
    for seed in range(30):
        worked_out = plan_of(seed)
        calendar = ShopCalendar(worked_out.shop.workdays, worked_out.shop.holidays)
        netted, index = worked_out.netting.pieces, worked_out.demand.structure.index
        for item in worked_out.shop.catalog.items:
            mine = netted.item == index[item.part_number]
            for by_week in (True, False):
                found = item_record(worked_out, item.part_number, by_week=by_week)
                assert sum(found.record.gross) == int(netted.quantity[mine].sum()), seed
                assert sum(found.record.scheduled) == int(worked_out.supplies.on_order[index[item.part_number]]), seed
                assert len(found.starts) == len(found.sure) == len(found.record.net)
            assert all(calendar.on_or_after(on) == on for on in found.starts)

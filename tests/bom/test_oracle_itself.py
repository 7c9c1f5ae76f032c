"""The slow oracle against small shops worked out by hand; the arithmetic stands in each docstring.

The shops are open Monday to Friday; today is Wednesday 4 March 2026 and staging takes one working day, so a build on
Thursday 12 March needs its parts on Wednesday 11 March.
"""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest

from bom.errors import ShopError
from bom.values import (
    ONE,
    Catalog,
    Issue,
    Item,
    Job,
    KitFit,
    Line,
    Lot,
    Offer,
    OrderLine,
    OtherNeed,
    ScopeSection,
    Shop,
    Verdict,
)
from tests.oracle import slow_faults, slow_plan

TODAY = date(2026, 3, 4)
BUILD = date(2026, 3, 12)


def march(day):
    return date(2026, 3, day)


def renew(parent, child, count=1, **more):
    return Line(parent, child, count * ONE, "renew", **more)


def inspect(parent, child, rate, count=1, **more):
    return Line(parent, child, count * ONE, "inspect", renewals_per_100=Fraction(rate), **more)


def shop_of(lines, *, items=(), sections=(("PUMP", 1),), jobs=None, fits=(), offers=(), **more):
    """A shop of one pump and one scope; items that are not given are bought parts with a lead of 5 working days."""
    given = {item.part_number: item for item in items}
    names = {name for line in lines for name in (line.parent, line.child)} | set(given)
    names |= {lot.part_number for lot in more.get("lots", ())} | {need.part_number for need in more.get("needs", ())}
    parents = {line.parent for line in lines}
    for name in names:
        given.setdefault(name, Item(name, "assembly" if name in parents else "part", lead_days=5))
    given.setdefault("PUMP", Item("PUMP", "pump"))
    scopes = tuple(ScopeSection("PUMP", "reseal", section, count) for section, count in sections)
    catalog = Catalog(tuple(given.values()), tuple(lines), scopes, tuple(fits), tuple(offers))
    if jobs is None:
        jobs = (Job("J-1", "PUMP", "reseal", BUILD),)
    return Shop(TODAY, catalog, jobs=tuple(jobs), **more)


def row_of(rows, name, key="part_number"):
    found = [row for row in rows if row[key] == name]
    assert len(found) == 1, f"{len(found)} rows with {key} = {name}"
    return found[0]


def test_chain_netting_goes_level_by_level():
    """100 X; X > A > B > C > D, one each; stock A 2, B 15, C 7, D 46.

    Net A = 100 - 2 = 98, B = 98 - 15 = 83, C = 83 - 7 = 76, D = 76 - 46 = 30. Netting each against 100 alone would give
    98, 85, 93, 54 (Orlicky, Material Requirements Planning, p. 105).
    """
    chain = "XABCD"
    lines = [Line(parent, child, ONE) for parent, child in pairwise(chain)]
    items = [Item(name, "assembly", source="make", lead_days=0) for name in "XABC"] + [Item("D", lead_days=5)]
    lots = [Lot(name, "L", count * ONE) for name, count in {"A": 2, "B": 15, "C": 7, "D": 46}.items()]
    needs = (OtherNeed("order", "X", 100 * ONE, BUILD),)
    plan = slow_plan(shop_of(lines, items=items, sections=(), jobs=(), lots=tuple(lots), needs=needs))
    assert {row["kit"]: row["quantity"] for row in plan["pack"]} == {"X": 100, "A": 98, "B": 83, "C": 76}
    assert [(row["part_number"], row["short"]) for row in plan["buy"]] == [("D", 30)]
    assert plan["other_needs"] == [{"need": "order", "status": "short", "parts_on": "2026-03-11"}]


def test_48_positions_at_35_per_100_are_covered_by_21():
    """Expected 48 x 0.35 = 16.8; P(X <= 20) = 0.868 and P(X <= 21) = 0.918 (binomial), so 90 % takes 21.

    With 17 on the shelf P(X <= 17) = 0.59.
    """
    plan = slow_plan(shop_of([inspect("PUMP", "ball", 35, 48)], lots=(Lot("ball", "L", 17 * ONE),)))
    ball = row_of(plan["demand"], "ball")
    assert (ball["positions"], ball["expected"], ball["planned_wear"], ball["uncovered_wear"]) == (48, 16.8, 21, 4)
    assert ball["chance_enough"] == pytest.approx(0.59, abs=0.005)


def test_late_receipt_does_not_cover_an_earlier_need():
    """Need 11 March. The order of 13 March is two working days late for it; 5 days from today are 11 March."""
    orders = (OrderLine("PO-1", "1", "ring", 2 * ONE, march(13)),)
    plan = slow_plan(shop_of([renew("PUMP", "ring")], orders=orders))
    job = plan["jobs"][0]
    assert (job["status"], job["parts_on"], job["days_late"], job["blocking_part"]) == ("late", "2026-03-13", 2, "ring")
    assert plan["expedite"] == [
        {
            "order": "PO-1",
            "line": "1",
            "part_number": "ring",
            "quantity": 1,
            "promised": "2026-03-13",
            "need_on": "2026-03-11",
            "days_late": 2,
            "bought_today_on": "2026-03-11",
            "jobs": ["J-1"],
        }
    ]
    assert plan["buy"] == []
    assert plan["frees"] == [{"part_number": "ring", "jobs": ["J-1"]}]


def test_receipt_on_the_need_date_is_in_time():
    orders = (OrderLine("PO-1", "1", "ring", ONE, march(11)),)
    assert slow_plan(shop_of([renew("PUMP", "ring")], orders=orders))["jobs"][0]["status"] == "waiting"


def test_overdue_order_counts_from_today_and_is_leaned_on():
    """Promised on Thursday 26 February: four working days (26, 27 February, 2, 3 March) before 4 March."""
    orders = (OrderLine("PO-1", "1", "ring", 3 * ONE, date(2026, 2, 26)),)
    plan = slow_plan(shop_of([renew("PUMP", "ring")], orders=orders))
    job = plan["jobs"][0]
    assert (job["status"], job["parts_on"], job["leans_on_overdue"]) == ("waiting", "2026-03-04", True)
    assert (plan["chase"][0]["days_late"], plan["chase"][0]["quantity"], plan["chase"][0]["jobs"]) == (4, 3, ["J-1"])


def test_lot_must_last_to_the_build_and_not_only_to_the_need():
    """The lot that dies on 11 March would be first, but the build is on 12 March; it stays unused."""
    lots = (Lot("ring", "dying", 4 * ONE, last_use=march(11)), Lot("ring", "good", ONE, last_use=march(12)))
    plan = slow_plan(shop_of([renew("PUMP", "ring", 2)], lots=lots))
    ring = row_of(plan["demand"], "ring")
    assert (ring["on_hand"], ring["left_out"], ring["uncovered"]) == (1, {"too_old": 4}, 1)
    assert plan["expiring"] == [
        {"part_number": "ring", "lot": "dying", "last_use": "2026-03-11", "quantity": 4, "unused": 4}
    ]
    assert plan["jobs"][0]["order_by"] == "2026-03-04"


def test_whole_pump_total_is_divided_by_the_joints_it_holds():
    """8 nuts in the whole pump, 2 joints: 8 / 2 = 4 per joint; one joint opened, two pumps: 8 nuts.

    9 nuts leave a remainder, which is an error.
    """
    nuts = Line("joint", "nut", 8 * ONE, "renew", quantity_is_for="whole_pump", pump="PUMP")
    lines = [Line("PUMP", "joint", 2 * ONE, "open", "ends"), nuts]
    jobs = (Job("J-1", "PUMP", "reseal", BUILD, quantity=2),)
    plan = slow_plan(shop_of(lines, sections=(("joint", 1),), jobs=jobs))
    assert row_of(plan["demand"], "nut")["sure"] == 8
    broken = shop_of([lines[0], replace(nuts, quantity=9 * ONE)], sections=(("joint", 1),), jobs=jobs)
    assert [fault.kind for fault in slow_faults(broken)] == ["remainder"]


def test_kit_shows_what_it_covers_lacks_spares_and_leaves_over():
    """Two ends x (2 backup rings, 1 cup, 1 ball looked at) in 2 pumps: needed 8 rings, 4 cups; 4 balls looked at.

    4 kits of 1 ring, 1 cup, 2 balls and 1 shim bring 4 rings (short 4), 4 cups, 8 balls (4 spare, 4 over) and 4 shims.
    """
    lines = [
        Line("PUMP", "end", 2 * ONE, "open", "ends"),
        renew("end", "ring", 2),
        renew("end", "cup"),
        inspect("end", "ball", 50),
        Line("K", "ring", ONE),
        Line("K", "cup", ONE),
        Line("K", "ball", 2 * ONE),
        Line("K", "shim", ONE),
    ]
    jobs = (Job("J-1", "PUMP", "reseal", BUILD, quantity=2),)
    plan = slow_plan(
        shop_of(
            lines,
            items=[Item("K", "kit", lead_days=5)],
            sections=(("end", 2),),
            jobs=jobs,
            fits=(KitFit("K", "end"),),
            lots=(Lot("K", "L", 4 * ONE),),
        )
    )
    assert plan["kits"] == [
        {
            "job": "J-1",
            "kit": "K",
            "fits": "end",
            "count": 4,
            "covered": {"cup": 4, "ring": 4},
            "short": {"ring": 4},
            "spare": {"ball": 4},
            "surplus": {"ball": 4, "shim": 4},
        }
    ]
    ball = row_of(plan["demand"], "ball")
    assert (ball["positions"], ball["spares"], ball["expected"], ball["planned_wear"]) == (4, 4, 2, 0)
    assert ball["chance_enough"] == 1
    assert row_of(plan["demand"], "ring")["sure"] == 4


def test_packed_kit_asks_for_its_pieces_one_packing_day_earlier():
    """Need 11 March, packing 1 day: pieces by 10 March. One ring comes on 11 March: packed on 12 March, late."""
    lines = [Line("PUMP", "end", ONE, "open"), renew("end", "ring", 2), Line("K", "ring", 2 * ONE)]
    shop = shop_of(
        lines,
        items=[Item("K", "kit", source="pack", lead_days=1)],
        sections=(("end", 1),),
        fits=(KitFit("K", "end"),),
        lots=(Lot("ring", "L", ONE),),
        orders=(OrderLine("PO-1", "1", "ring", ONE, march(11)),),
    )
    plan = slow_plan(shop)
    job = plan["jobs"][0]
    assert (job["status"], job["parts_on"], job["days_late"], job["blocking_part"]) == ("late", "2026-03-12", 1, "ring")
    assert plan["pack"] == [{"kit": "K", "quantity": 1, "need_on": "2026-03-11", "jobs": ["J-1"]}]
    assert plan["expedite"][0]["need_on"] == "2026-03-10"
    assert row_of(plan["demand"], "ring")["passed_down"] == 2


def test_pack_else_buy_packs_whole_kits_from_lots_only():
    """Two kits of 2 rings asked; 3 rings on the shelf and 9 on order: one kit is packed, one is bought."""
    lines = [Line("PUMP", "end", 2 * ONE, "open"), renew("end", "ring", 2), Line("K", "ring", 2 * ONE)]
    shop = shop_of(
        lines,
        items=[Item("K", "kit", source="pack_else_buy", lead_days=1)],
        sections=(("end", 2),),
        fits=(KitFit("K", "end"),),
        lots=(Lot("ring", "L", 3 * ONE),),
        offers=(Offer("Lantry", "K", lead_days=5, transit_days=1, price_per_pack=Decimal("9.50")),),
        orders=(OrderLine("PO-1", "1", "ring", 9 * ONE, march(9)),),
    )
    plan = slow_plan(shop)
    assert plan["pack"] == [{"kit": "K", "quantity": 1, "need_on": "2026-03-11", "jobs": ["J-1"]}]
    buy = row_of(plan["buy"], "K")
    assert (buy["short"], buy["price"], buy["order_by"], buy["days_late"]) == (1, 9.5, "2026-03-03", 1)
    assert buy["earliest_arrival"] == "2026-03-12"
    assert plan["jobs"][0]["status"] == "short"


def test_sure_pieces_are_served_before_the_wear_of_an_earlier_job():
    """One spool; J-1 only looks at its own, J-2 builds a week later and renews for sure: J-2 is ready."""
    lines = [
        inspect("PUMP", "spool", 90),
        renew("PUMP", "other"),
        renew("tail", "spool"),
        Line("PUMP", "tail", ONE, "keep"),
    ]
    shop = shop_of(lines, lots=(Lot("spool", "L", ONE), Lot("other", "L", ONE)))
    tail_only = ScopeSection("PUMP", "tail", "tail", 1)
    shop = replace(
        shop,
        catalog=replace(shop.catalog, scopes=(*shop.catalog.scopes, tail_only)),
        jobs=(Job("J-1", "PUMP", "reseal", BUILD), Job("J-2", "PUMP", "tail", march(19))),
    )
    plan = slow_plan(shop)
    assert [job["status"] for job in plan["jobs"]] == ["ready", "ready"]
    assert row_of(plan["demand"], "spool")["uncovered_wear"] == 1


def test_one_renewal_takes_its_group_along():
    """Two bumpers renew together; one is found torn, so both are sure and none is left to chance."""
    verdicts = (Verdict("J-1", "PUMP 1 / head 2", "bumper", "renew", "torn"),)
    line = inspect("PUMP", "bumper", 30, 2, position="head", renew_together="bumpers")
    bumper = row_of(slow_plan(shop_of([line], verdicts=verdicts))["demand"], "bumper")
    assert (bumper["sure"], bumper["positions"], bumper["planned_wear"]) == (2, 0, 0)
    alone = (replace(verdicts[0], with_group=False),)
    bumper = row_of(slow_plan(shop_of([line], verdicts=alone))["demand"], "bumper")
    assert (bumper["sure"], bumper["positions"], bumper["expected"]) == (1, 1, 0.3)


def test_open_group_is_found_worn_as_a_whole():
    """Two bumpers at 50 % each, together: 1 - 0.5 x 0.5 = 0.75 that both go, expected 2 x 0.75 = 1.5."""
    line = inspect("PUMP", "bumper", 50, 2, position="head", renew_together="bumpers")
    plan = slow_plan(shop_of([line], items=[Item("bumper", how_sure_percent=25.0)]))
    bumper = row_of(plan["demand"], "bumper")
    assert (bumper["expected"], bumper["planned_wear"], bumper["chance_enough"]) == (1.5, 0, 0.25)


def test_rates_are_learned_from_five_pumps_on():
    """Entered 35 per 100 counts as 10: five pumps with 5 balls looked at, 3 found bad: (3.5 + 3) / 15 = 0.43333..."""
    jobs = (Job("J-1", "PUMP", "reseal", BUILD), Job("old", "PUMP", "reseal", march(2), quantity=5, stage="shipped"))
    verdicts = tuple(
        Verdict("old", f"pump {pump} / PUMP 1 / ball", "ball", "renew" if pump <= 3 else "keep") for pump in range(1, 6)
    )
    line = inspect("PUMP", "ball", 35)
    plan = slow_plan(shop_of([line], jobs=jobs, verdicts=verdicts))
    assert row_of(plan["demand"], "ball")["expected"] == pytest.approx(6.5 / 15, abs=1e-6)
    plan = slow_plan(shop_of([line], jobs=jobs, verdicts=verdicts[:4]))
    assert row_of(plan["demand"], "ball")["expected"] == 0.35


def test_issued_kit_comes_off_with_its_contents_and_a_return_brings_the_need_back():
    """Two ends of 2 rings: 2 kits asked. One is issued: 1 left, covering 2. All issued but returned: 2 again."""
    lines = [Line("PUMP", "end", 2 * ONE, "open"), renew("end", "ring", 2), Line("K", "ring", 2 * ONE)]
    shop = shop_of(
        lines,
        items=[Item("K", "kit", source="buy", lead_days=5)],
        sections=(("end", 2),),
        fits=(KitFit("K", "end"),),
        issues=(Issue("J-1", "K", "L", ONE, "issued"),),
    )
    row = slow_plan(shop)["kits"][0]
    assert (row["count"], row["covered"]) == (1, {"ring": 2})
    returned = replace(shop, issues=(*shop.issues, Issue("J-1", "K", "L", ONE, "returned")))
    assert slow_plan(returned)["kits"][0]["count"] == 2
    enough = replace(shop, issues=(Issue("J-1", "ring", "L", 4 * ONE, "issued"),))
    plan = slow_plan(enough)
    assert (plan["kits"], plan["demand"], plan["jobs"][0]["status"]) == ([], [], "ready")


def test_offer_in_time_beats_the_cheaper_one_that_comes_late():
    """Need 11 March is 5 working days off: Norrvik (3 days) is in time, Fernhope (8 days) is cheaper but late.

    7 rings in packs of 5 are 2 packs, in multiples of 3 three packs: 15, 8 over, 3 x 4.00 = 12.00.
    """
    offers = (
        Offer("Fernhope", "ring", pack_size=10 * ONE, lead_days=8, price_per_pack=Decimal("1.00")),
        Offer("Norrvik", "ring", pack_size=5 * ONE, multiple_packs=3, lead_days=3, price_per_pack=Decimal("5.00")),
        Offer(
            "Norrvik",
            "ring",
            pack_size=5 * ONE,
            multiple_packs=3,
            lead_days=3,
            price_per_pack=Decimal("4.00"),
            price_from_packs=3,
        ),
    )
    buy = row_of(slow_plan(shop_of([renew("PUMP", "ring", 7)], offers=offers))["buy"], "ring")
    assert (buy["supplier"], buy["packs"], buy["order_quantity"], buy["surplus"]) == ("Norrvik", 3, 15, 8)
    assert (buy["price"], buy["order_by"], buy["days_late"]) == (12.0, "2026-03-06", 0)


def test_safety_stock_is_topped_up_beside_the_shortage():
    """5 on the shelf, 2 asked, safety 10: 3 are left, so 7 to top up. Wear of 4 on the same item is inside the 7."""
    items = [Item("ball", lead_days=5, safety_stock=10 * ONE)]
    lines = [renew("PUMP", "ball", 2), inspect("PUMP", "ball", 100, 7, position="seat")]
    buy = row_of(slow_plan(shop_of(lines, items=items, lots=(Lot("ball", "L", 5 * ONE),)))["buy"], "ball")
    assert (buy["short"], buy["short_wear"], buy["top_up"], buy["net"]) == (0, 4, 7, 7)


def test_unanswered_and_unknown_compounds_are_refused():
    lines = [
        renew("PUMP", "soft", position="gland", options=(("compound", "nbr"),)),
        renew("PUMP", "hard", position="gland", options=(("compound", "fkm"),)),
    ]
    assert [fault.kind for fault in slow_faults(shop_of(lines))] == ["unanswered"]
    epdm = (Job("J-1", "PUMP", "reseal", BUILD, options=(("compound", "epdm"),)),)
    assert [fault.kind for fault in slow_faults(shop_of(lines, jobs=epdm))] == ["unknown_answer"]
    with pytest.raises(ShopError, match="compound"):
        slow_plan(shop_of(lines, jobs=epdm))
    fkm = (Job("J-1", "PUMP", "reseal", BUILD, options=(("compound", "fkm"),)),)
    assert [row["part_number"] for row in slow_plan(shop_of(lines, jobs=fkm))["demand"]] == ["hard"]


def test_a_loop_and_a_scope_that_opens_too_much_are_refused():
    loop = [Line("PUMP", "a", ONE, "open"), Line("a", "b", ONE, "open"), Line("b", "a", ONE, "open")]
    faults = slow_faults(shop_of(loop))
    assert [(fault.kind, fault.names) for fault in faults] == [("cycle", ("a", "b"))]
    ends = [Line("PUMP", "end", 2 * ONE, "open"), renew("end", "ring")]
    assert [fault.kind for fault in slow_faults(shop_of(ends, sections=(("end", 3),)))] == ["scope"]

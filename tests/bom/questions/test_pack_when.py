"""Pack when the orders come: kits to buy that could be packed in time, by hand and against a plan that had the pieces.

Today is Wednesday 4 March; the pump is built on the 19th, so that its kit is needed on Wednesday the 18th. Packing
takes two working days: what comes by Monday the 16th can be packed in time.
"""

from dataclasses import replace
from datetime import date

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from bom.questions.kits.pack_when import pack_when
from bom.values import ONE, Item, KitFit, OtherNeed
from tests.bom.small_shops import (
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    order,
    pick,
    renew,
    row_of,
)
from tests.shops import random_shop

WAITING = (3, 186, 256, 375, 396, 630, 655, 737, 993, 1172, 1702, 1989, 2066, 2143, 2189, 2350, 2416, 2439, 2663, 2972)
"""Random shops in which kits wait for an order: one of a hundred and fifty."""
FITS = (KitFit("K", "PUMP"),)
LINES = (renew("PUMP", "RING", 2), renew("PUMP", "SEAT"), holds("K", "RING", 2), holds("K", "SEAT"))


def kit_shop(lots=(), orders=(), lines=LINES, jobs=None, **more):
    items = [kit(source=more.pop("source", "pack_else_buy"), lead_days=2), *more.pop("items", ())]
    jobs = [job(build_on=march(19))] if jobs is None else jobs
    return make_shop(lines, items=items, fits=FITS, lots=lots, orders=orders, jobs=jobs, **more)


def told(shop):
    return pack_when(plan(shop))


SEAT, RING_ON_16 = lot("SEAT", 1), order("RING", 5, march(16), "PO-9")


def test_a_kit_is_packed_when_the_order_for_its_pieces_comes():
    (row,) = told(kit_shop([SEAT], [RING_ON_16]))
    assert (row.job, row.kit, row.count) == ("J-1", "K", 1)
    assert [(share.order, share.part_number, share.quantity) for share in row.orders] == [("PO-9", "RING", 2 * ONE)]
    assert row.from_shelf == (("SEAT", ONE),)
    assert (row.comes_on, row.packed_on, row.need_on) == (march(16), march(18), march(18))


@pytest.mark.parametrize("promised", [march(17), march(3), march(15)])
def test_an_order_that_comes_too_late_or_is_overdue_packs_nothing(promised):
    """Sunday the 15th is as good as Monday; of an overdue promise nobody knows the day."""
    found = told(kit_shop([SEAT], [replace(RING_ON_16, promised=promised)]))
    assert [row.comes_on for row in found] == ([promised] if promised == march(15) else [])


def test_the_last_of_several_orders_decides():
    orders = [
        order("RING", 1, march(6), "PO-1"),
        order("RING", 1, march(13), "PO-2"),
        order("SEAT", 1, march(9), "PO-3"),
    ]
    (row,) = told(kit_shop(orders=orders))
    assert ([share.order for share in row.orders], row.comes_on) == (["PO-1", "PO-2", "PO-3"], march(13))
    assert row.packed_on == march(17)


def test_as_many_kits_as_the_pieces_make_and_no_more_than_lack():
    jobs = [job(build_on=march(19), quantity=3)]
    orders = [order("RING", 5, march(9)), order("SEAT", 9, march(9), "PO-2")]
    assert [row.count for row in told(kit_shop(orders=orders, jobs=jobs))] == [2]
    assert [row.count for row in told(kit_shop(orders=orders, jobs=jobs, lots=[lot("K", 2)]))] == [1]
    assert told(kit_shop(orders=[order("RING", 1, march(9)), order("SEAT", 9, march(9), "PO-2")], jobs=jobs)) == ()


def test_pieces_that_sure_needs_take_are_not_counted_and_those_of_wear_are():
    sale = OtherNeed("sale", "RING", 4 * ONE, march(16))
    assert told(kit_shop([SEAT], [RING_ON_16], needs=[sale])) == ()
    looked_at = [*LINES, inspect("PUMP", "RING", 100, 5, position="other")]
    assert [row.count for row in told(kit_shop([SEAT], [RING_ON_16], lines=looked_at))] == [1]


@pytest.mark.parametrize(
    "seat",
    [
        lot("SEAT", 1, last_use=march(18)),
        lot("SEAT", 1, owner="Harbour Line"),
        lot("SEAT", 1, condition="quarantine"),
    ],
)
def test_a_piece_that_the_job_may_not_have_packs_nothing(seat):
    assert told(kit_shop([seat], [RING_ON_16])) == ()


def test_a_clean_kit_is_packed_from_sealed_packets():
    clean = [replace(kit(source="pack_else_buy", lead_days=2), cleanliness="oxygen_clean")]
    for packet, count in (("sealed", 1), ("resealed", 0)):
        seat = [Item("SEAT", lead_days=5, ageless=True)]
        shop = make_shop(
            LINES, items=[*clean, *seat], fits=FITS, lots=[lot("SEAT", 1, packet=packet)], orders=[RING_ON_16],
            jobs=[job(build_on=march(19))],
        )  # fmt: skip
        assert len(pack_when(plan(shop))) == count


@pytest.mark.parametrize("source", ["buy", "pack"])
def test_a_kit_that_is_always_bought_or_always_packed_is_not_proposed(source):
    assert told(kit_shop([SEAT], [RING_ON_16], source=source)) == ()


def test_a_kit_sold_at_the_door_is_packed_as_well():
    sale = OtherNeed("sale", "K", ONE, march(18))
    (row,) = told(kit_shop([SEAT], [RING_ON_16], jobs=[], needs=[sale]))
    assert (row.job, row.need_on) == ("sale", march(18))


def test_a_proposal_changes_nothing_in_the_plan():
    made = plan(kit_shop([SEAT], [RING_ON_16]))
    before = as_json(made)
    assert pack_when(made)
    assert as_json(made) == before
    assert pick(row_of(before["buy"], "K"), "short", "jobs") == (1, ["J-1"])


@pytest.mark.parametrize("seed", WAITING)
def test_with_the_pieces_of_the_orders_on_the_shelf_the_plan_packs_more_kits(seed):
    """What was to come of the parts lies there already; other kits may be packed out of it instead."""
    shop = random_shop(seed)
    made = plan(shop)
    rows = pack_when(made)
    assert rows, "no shop in which kits wait for an order: find another seed"
    for row in rows:
        parts = {share.part_number for share in row.orders}
        here = tuple(
            replace(LAST_LOT, part_number=line.part_number, quantity=line.quantity, last_use=last_use(shop, line))
            for line in shop.orders
            if line.part_number in parts
        )
        to_come = tuple(line for line in shop.orders if line.part_number not in parts)
        after = plan(replace(shop, lots=(*shop.lots, *here), orders=to_come))
        assert kits_packed(after) > kits_packed(made), row
        assert shop.as_of <= row.comes_on <= row.packed_on <= row.need_on, row


LAST_LOT = lot("", 0, "what the orders bring")


def last_use(shop, line):
    """None where the item allows it, so that every other lot is taken first."""
    limited = {item.part_number for item in shop.catalog.items if item.limited_life}
    return date(2040, 1, 1) if line.part_number in limited else None


def kits_packed(made):
    return sum(row["quantity"] for row in as_json(made)["pack"])

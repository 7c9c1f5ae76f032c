"""The plan as it is read from outside: each piece with the lot, place and packet, order line or bag that serves it."""

from collections import Counter

from bom.answers.rows import as_json
from bom.plan import plan
from bom.reading import Reading, ServedBy
from bom.values import ONE, Issue, Lot
from tests.bom.results import plan_of
from tests.bom.small_shops import job, lot, make_shop, march, order, renew
from tests.oracle.plan import SlowPlan
from tests.shops import random_shop, with_bags

RINGS = [renew("PUMP", "ring", 3)]


def shelf_row(lot):
    return lot.part_number, lot.lot, lot.place, lot.condition, lot.packet


def everything(pieces):
    for piece in pieces:
        yield piece
        yield from everything(piece.contents)


def as_read(reading):
    """What each asker takes of which row of the shelf, which order line, its bag, packing and nothing."""
    found = Counter()
    for asker in reading.askers:
        for piece in everything(reading.pieces_of(asker)):
            assert sum(served.quantity for served in piece.served) == piece.quantity
            for served in piece.served:
                where = shelf_row(served.lot) if served.lot else served.source.value
                if served.order:
                    where = (served.order.order, served.order.line, served.late)
                found[asker.name, piece.part_number, where] += served.quantity
    return found


def as_worked_out_slowly(shop):
    slow, found = SlowPlan(shop), Counter()
    for piece in (piece for pieces in slow.matching.sure.values() for piece in pieces):
        key = piece.name, piece.part_number
        for row, quantity in piece.lots:
            found[*key, shelf_row(row.lot)] += quantity
        for row, quantity, late in piece.orders:
            found[*key, (row.line.order, row.line.line, late)] += quantity
        for where, quantity in (("bag", piece.bag), ("packed", piece.packed), ("nothing", piece.uncovered)):
            found[*key, where] += quantity
    return +found


def test_each_piece_is_served_from_the_lot_place_packet_and_order_line_that_the_oracle_finds():
    opened, reserved = 0, 0
    for seed in range(150):
        shop = with_bags(random_shop(seed), seed) if seed % 3 == 0 else random_shop(seed)
        reading = Reading(plan(shop))
        assert as_read(reading) == as_worked_out_slowly(shop), f"seed {seed}"
        served = [one for who in reading.askers for piece in reading.pieces_of(who) for one in piece.served]
        opened += any(one.lot and one.lot.packet != "sealed" for one in served)
        reserved += any(one.source is ServedBy.RESERVED for one in served)
    assert (opened > 30, reserved > 10) == (True, True)


def test_what_is_reserved_is_read_with_its_place_and_packet_and_the_bag_apart():
    shop = make_shop(
        RINGS,
        lots=[Lot("ring", "L", ONE, "A1", packet="resealed"), Lot("ring", "L", 5 * ONE, "A1")],
        issues=[Issue("J-1", "ring", "L", 2 * ONE, "reserved"), Issue("J-1", "ring", "L", ONE, "bagged")],
    )
    reading = Reading(plan(shop))
    (piece,) = reading.pieces_of(reading.jobs["J-1"])
    assert [(one.source, one.quantity // ONE, one.lot and one.lot.packet) for one in piece.served] == [
        (ServedBy.BAG, 1, None),
        (ServedBy.RESERVED, 1, "resealed"),
        (ServedBy.RESERVED, 1, "sealed"),
    ]


def test_a_piece_tells_its_order_line_its_state_and_its_days():
    shop = make_shop(RINGS, lots=[lot("ring", 1)], orders=[order("ring", 1, march(9)), order("ring", 1, march(20))])
    reading = Reading(plan(shop))
    (piece,) = reading.pieces_of(reading.jobs["J-1"])
    assert [(one.source.value, one.late) for one in piece.served] == [("lot", False), ("order", False), ("order", True)]
    assert (piece.state, piece.here_on) == ("late", march(20))


def test_who_asks_is_told_the_same_as_in_the_rows():
    for seed in range(40):
        made = plan_of(seed)
        rows = {row["job"]: row for row in as_json(made)["jobs"]}
        jobs = Reading(made).jobs
        assert jobs.keys() == rows.keys()
        for name, row in rows.items():
            told = jobs[name]
            assert (told.status, told.days_late, told.blocking_part) == (
                row["status"],
                row["days_late"],
                row["blocking_part"],
            )
            assert [day and day.isoformat() for day in (told.parts_on, told.order_by)] == [
                row["parts_on"],
                row["order_by"],
            ]


def test_a_job_is_known_by_its_name_from_one_plan_to_the_next():
    first, second = (Reading(plan(make_shop(RINGS, jobs=[job("J-1", march(day))]))).jobs["J-1"] for day in (16, 19))
    assert (first == second, first.build_on == second.build_on) == (True, False)

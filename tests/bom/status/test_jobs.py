"""What a job is told: ready, waiting, late or short, when its parts are here, what holds it and what would free it."""

from dataclasses import replace
from datetime import date

import pytest

from bom.values import ONE, Issue, Item, KitFit, OtherNeed
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
    statuses,
)

RING = [renew("PUMP", "ring")]
BOTH = [*RING, renew("PUMP", "cup")]


def told(shop, *keys):
    (row,) = answer(shop)["jobs"]
    return pick(row, *keys)


def state(shop):
    return told(shop, "status", "parts_on", "days_late", "blocking_part")


# --- the four states


def test_a_job_whose_pieces_all_lie_here_is_ready():
    assert state(make_shop(RING, lots=[lot("ring", 1)])) == ("ready", "2026-03-04", 0, None)


def test_a_job_that_asks_for_nothing_is_ready():
    assert state(make_shop([inspect("PUMP", "ball", 0)])) == ("ready", "2026-03-04", 0, None)


def test_an_order_in_time_is_waited_for():
    """Also on the need date itself."""
    shop = make_shop(RING, orders=[order("ring", 1, march(11))])
    assert state(shop) == ("waiting", NEED, 0, "ring")


def test_an_order_after_the_need_date_makes_the_job_late():
    """13 March is two working days after 11 March; Monday 16 March is three."""
    assert state(make_shop(RING, orders=[order("ring", 1, march(13))])) == ("late", "2026-03-13", 2, "ring")
    assert state(make_shop(RING, orders=[order("ring", 1, march(16))])) == ("late", "2026-03-16", 3, "ring")


def test_an_order_promised_on_a_closed_day_is_not_moved():
    assert state(make_shop(RING, orders=[order("ring", 1, march(7))])) == ("waiting", "2026-03-07", 0, "ring")


def test_what_nothing_covers_makes_the_job_short():
    """5 working days from 4 March are 11 March: short, but in time if ordered at once."""
    shop = make_shop(RING)
    assert state(shop) == ("short", NEED, 0, "ring")
    assert told(shop, "order_by") == ("2026-03-04",)


def test_a_job_is_as_bad_as_its_worst_piece():
    shop = make_shop([*BOTH, renew("PUMP", "seat")], lots=[lot("ring", 1)], orders=[order("cup", 1, march(20))])
    assert state(shop)[0] == "short"
    assert state(replace(shop, lots=(lot("ring", 1), lot("seat", 1))))[0] == "late"


def test_a_piece_is_as_bad_as_its_worst_part():
    """Three rings: one lies here, one is on order, one is missing."""
    shop = make_shop([renew("PUMP", "ring", 3)], lots=[lot("ring", 1)], orders=[order("ring", 1, march(9))])
    assert state(shop)[0] == "short"
    shop = replace(shop, lots=(lot("ring", 2),))
    assert state(shop) == ("waiting", "2026-03-09", 0, "ring")


def test_wear_does_not_touch_the_state():
    assert state(make_shop([*RING, inspect("PUMP", "ball", 100)], lots=[lot("ring", 1)]))[0] == "ready"


def test_what_the_bag_holds_is_here():
    shop = make_shop(RING, issues=[Issue("J-1", "ring", "L", ONE, "bagged")])
    assert state(shop) == ("ready", "2026-03-04", 0, None)


def test_without_a_known_lead_no_day_is_told():
    shop = make_shop(BOTH, items=[Item("ring")], lots=[lot("cup", 1)])
    assert (*state(shop), *told(shop, "order_by")) == ("short", None, None, "ring", None)


# --- need dates


@pytest.mark.parametrize(
    ("build", "staging", "holidays", "need"),
    [
        (march(12), 1, (), "2026-03-11"),
        (march(16), 1, (), "2026-03-13"),  # Monday: the Friday before
        (march(15), 1, (), "2026-03-12"),  # Sunday counts as Friday, and one day back is Thursday
        (march(15), 0, (), "2026-03-13"),
        (march(12), 2, (march(11),), "2026-03-09"),  # the holiday is passed over
        (march(12), 1, (march(12),), "2026-03-10"),  # a build on a holiday counts as the day before
        (march(4), 3, (), "2026-03-04"),  # never before today
    ],
)
def test_parts_are_needed_so_many_working_days_before_the_build(build, staging, holidays, need):
    """An order of 27 March is late for all of them, and the row tells for when it was needed."""
    shop = make_shop(
        RING, jobs=[job(build_on=build)], staging_days=staging, holidays=holidays, orders=[order("ring", 1, march(27))]
    )
    assert answer(shop)["expedite"][0]["need_on"] == need


def test_on_a_closed_day_today_is_the_next_working_day():
    shop = make_shop(RING, as_of=march(7), jobs=[job(build_on=march(2))], orders=[order("ring", 1, march(10))])
    assert pick(answer(shop)["expedite"][0], "need_on", "days_late") == ("2026-03-09", 1)


# --- the order day of a job


def test_everything_missing_may_be_ordered_by_the_earliest_of_their_days():
    """Rings take 3 days, cups 4: by 6 and 5 March; balls lie here and do not count."""
    lines = [*BOTH, renew("PUMP", "ball")]
    shop = make_shop(
        lines, lots=[lot("ball", 1)], offers=[offer("ring", lead_days=3), offer("cup", lead_days=4)]
    )  # fmt: skip
    assert told(shop, "order_by") == ("2026-03-05",)


def test_one_unknown_lead_leaves_the_order_day_open():
    shop = make_shop(BOTH, items=[Item("cup")])
    assert told(shop, "order_by") == (None,)


def test_a_job_that_lacks_nothing_has_no_order_day():
    assert told(make_shop(RING, orders=[order("ring", 1, march(20))]), "order_by") == (None,)


def test_what_is_missing_for_a_kit_is_ordered_a_packing_time_earlier():
    """The kit is needed on 11 March and packed in a day; rings of 3 days are ordered by 5 March."""
    assert told(packed_shop(offers=[offer("ring", lead_days=3)]), "order_by") == ("2026-03-05",)


# --- overdue


def test_an_overdue_order_is_leaned_on_and_chased():
    """Promised on Thursday 26 February, four working days ago: counted as today, yet no shelf."""
    shop = make_shop(RING, orders=[order("ring", 3, date(2026, 2, 26))])
    assert (*state(shop), *told(shop, "leans_on_overdue")) == ("waiting", "2026-03-04", 0, "ring", True)
    (row,) = answer(shop)["chase"]
    assert pick(row, "order", "quantity", "promised", "days_late", "jobs") == ("PO-1", 3, "2026-02-26", 4, ["J-1"])
    assert answer(shop)["expedite"] == []


def test_an_overdue_order_that_nobody_needs_is_chased_all_the_same():
    shop = make_shop(RING, lots=[lot("ring", 1)], orders=[order("ring", 3, march(3))])
    assert told(shop, "leans_on_overdue") == (False,)
    assert pick(answer(shop)["chase"][0], "days_late", "jobs") == (1, [])


def test_an_order_of_today_is_not_overdue():
    shop = make_shop(RING, orders=[order("ring", 3, march(4))])
    assert told(shop, "status", "leans_on_overdue") == ("waiting", False)
    assert answer(shop)["chase"] == []


def test_a_job_leans_through_what_is_packed_for_it():
    shop = packed_shop(orders=[order("ring", 2, march(2))])
    assert told(shop, "leans_on_overdue") == (True,)
    assert answer(shop)["chase"][0]["jobs"] == ["J-1"]


def test_wear_leans_on_nothing():
    shop = make_shop([inspect("PUMP", "ring", 100)], orders=[order("ring", 1, march(2))])
    assert told(shop, "status", "leans_on_overdue") == ("ready", False)
    assert answer(shop)["chase"][0]["jobs"] == []


# --- late orders


def test_late_lines_are_expedited_with_what_is_drawn():
    """5 come on 16 March: 2 for J-1 (11 March) and 2 for J-2 (12 March) are late; J-3 needs them on the 18th."""
    jobs = [job("J-1"), job("J-2", march(13)), job("J-3", march(19))]
    shop = make_shop([renew("PUMP", "ring", 2)], jobs=jobs, orders=[order("ring", 6, march(16))])
    (row,) = answer(shop)["expedite"]
    assert pick(row, "quantity", "promised", "need_on", "days_late", "jobs") == (
        4, "2026-03-16", NEED, 3, ["J-1", "J-2"],
    )  # fmt: skip
    assert statuses(answer(shop)) == {"J-1": "late", "J-2": "late", "J-3": "waiting"}


def test_beside_a_late_line_stands_when_a_purchase_of_today_would_come():
    shop = make_shop(RING, orders=[order("ring", 1, march(20))], offers=[offer("ring", lead_days=2)])
    assert answer(shop)["expedite"][0]["bought_today_on"] == "2026-03-06"
    unknown = make_shop(RING, items=[Item("ring")], orders=[order("ring", 1, march(20))])
    assert answer(unknown)["expedite"][0]["bought_today_on"] is None


def test_what_is_packed_here_cannot_be_bought_today():
    shop = packed_shop(orders=[order("K", 1, march(20))])
    assert pick(answer(shop)["expedite"][0], "part_number", "bought_today_on") == ("K", None)


# --- what holds a job


def test_the_blocking_part_is_of_the_worst_state():
    """The cup is missing and would be here on 6 March; the ring comes on 20 March but is only late."""
    shop = make_shop(BOTH, orders=[order("ring", 1, march(20))], offers=[offer("cup", lead_days=2)])
    assert state(shop) == ("short", "2026-03-20", 7, "cup")


def test_in_the_worst_state_the_last_to_come_blocks():
    orders = [order("ring", 1, march(16)), order("cup", 1, march(13), "PO-2")]
    assert state(make_shop(BOTH, orders=orders))[3] == "ring"
    assert state(make_shop(BOTH, offers=[offer("cup", lead_days=9), offer("ring", lead_days=3)]))[3] == "cup"


def test_an_unknown_arrival_is_the_last():
    assert state(make_shop(BOTH, items=[Item("ring")], offers=[offer("cup", lead_days=90)]))[3] == "ring"


def test_among_equals_the_first_by_part_number_blocks():
    assert state(make_shop([renew("PUMP", part) for part in ("ring", "cup", "seat")]))[3] == "cup"


# --- packed kits


def packed_shop(lines=(), contents=("ring",), lead_days=1, items=(), **more):
    """One end of a ring and a cup; the kit K that is packed here does it."""
    kits = [kit(source="pack", lead_days=lead_days), *items]
    structure = [opens("PUMP", "end"), *(renew("end", part) for part in contents), *lines]
    structure += [holds("K", part) for part in contents]
    return make_shop(structure, items=kits, fits=[KitFit("K", "end")], sections=(("end", 1),), **more)


def test_a_kit_to_pack_is_never_ready():
    """All its pieces lie here: packed today, it is here tomorrow; it is the kit that is waited for."""
    assert state(packed_shop(lots=[lot("ring", 1)])) == ("waiting", "2026-03-05", 0, "K")


def test_a_kit_is_here_a_packing_time_after_its_last_piece():
    """Rings on 9 March: packed by the 10th. On Saturday 7 March: counted from Monday, again the 10th."""
    for day in (9, 7):
        shop = packed_shop(orders=[order("ring", 1, march(day))])
        assert state(shop) == ("waiting", "2026-03-10", 0, "ring")


def test_a_kit_whose_piece_comes_too_late_to_be_packed_is_late():
    """The ring of 11 March is in time for the build, but not for the kit, which needs it by the 10th."""
    shop = packed_shop(orders=[order("ring", 1, march(11))])
    assert state(shop) == ("late", "2026-03-12", 1, "ring")
    assert pick(answer(shop)["expedite"][0], "need_on", "days_late") == ("2026-03-10", 1)


def test_a_kit_that_only_its_packing_makes_late_blocks_itself():
    shop = packed_shop(lead_days=6, lots=[lot("ring", 1)])
    assert state(shop) == ("late", "2026-03-12", 1, "K")
    assert answer(shop)["frees"] == [{"part_number": "K", "jobs": ["J-1"]}]


def test_a_kit_with_a_missing_piece_is_short():
    shop = packed_shop()
    assert state(shop) == ("short", "2026-03-12", 1, "ring")
    assert answer(shop)["buy"][0]["jobs"] == ["J-1"]


def test_a_piece_with_an_unknown_lead_leaves_the_kit_without_a_day():
    assert state(packed_shop(items=[Item("ring")])) == ("short", None, None, "ring")


def test_the_blocking_part_lies_as_deep_as_it_goes():
    """K holds K-2, which is packed too and lacks its cup."""
    lines = [holds("K", "K-2"), holds("K-2", "cup")]
    shop = packed_shop(lines, items=[kit("K-2", "pack", lead_days=0)], lots=[lot("ring", 1)])
    assert state(shop)[3] == "cup"
    deep = packed_shop(lines, items=[kit("K-2", "pack", lead_days=0)], lots=[lot("ring", 1), lot("cup", 1)])
    assert state(deep)[3] == "K-2"


# --- what frees jobs


def frees(shop):
    return [pick(row, "part_number", "jobs") for row in answer(shop)["frees"]]


def test_the_only_thing_missing_frees_its_jobs():
    jobs = [job("J-1"), job("J-2"), job("J-3", quantity=2)]
    shop = make_shop(BOTH, jobs=jobs, lots=[lot("ring", 9), lot("cup", 1)])
    assert frees(shop) == [("cup", ["J-2", "J-3"])]


def test_two_things_missing_free_nobody():
    assert frees(make_shop(BOTH)) == []


def test_a_late_thing_counts_as_missing():
    shop = make_shop(BOTH, orders=[order("ring", 1, march(20))])
    assert frees(shop) == []
    assert frees(replace(shop, lots=(lot("cup", 1),))) == [("ring", ["J-1"])]
    in_time = replace(shop, orders=(order("ring", 1, march(9)),))
    assert frees(in_time) == [("cup", ["J-1"])]


def test_what_frees_most_stands_first_and_then_the_part_number():
    lines = [opens("PUMP", name) for name in ("a", "b", "c")]
    lines += [renew("a", "seat"), renew("b", "cup"), renew("c", "ring")]
    shop = make_shop(lines, sections=())
    scopes = tuple(
        replace(make_shop(lines).catalog.scopes[0], scope=name, section=name) for name in ("a", "b", "c")
    )  # fmt: skip
    jobs = [job(f"J-{number}", scope=scope) for number, scope in enumerate("abccb", 1)]
    shop = replace(shop, catalog=replace(shop.catalog, scopes=scopes), jobs=tuple(jobs))
    assert frees(shop) == [("cup", ["J-2", "J-5"]), ("ring", ["J-3", "J-4"]), ("seat", ["J-1"])]


def test_pieces_of_a_packed_kit_free_and_not_the_kit():
    assert frees(packed_shop()) == [("ring", ["J-1"])]
    assert frees(packed_shop(contents=("ring", "cup"))) == []
    assert frees(packed_shop(contents=("ring", "cup"), lots=[lot("cup", 1)])) == [("ring", ["J-1"])]


def test_other_needs_are_not_freed():
    shop = make_shop(RING, jobs=[], needs=[OtherNeed("sale", "ring", ONE, march(20))])
    assert frees(shop) == []
    assert answer(shop)["other_needs"] == [{"need": "sale", "status": "short", "parts_on": NEED}]


# --- the next order


def test_a_job_cancelled_gives_back_what_it_would_have_taken():
    jobs = [job("J-1"), job("J-2", march(13))]
    shop = make_shop(RING, jobs=jobs, lots=[lot("ring", 1)])
    assert statuses(answer(shop)) == {"J-1": "ready", "J-2": "short"}
    cancelled = replace(shop, jobs=(replace(jobs[0], stage="cancelled"), jobs[1]))
    assert statuses(answer(cancelled)) == {"J-2": "ready"}


def test_a_part_of_one_job_may_be_bought_and_late_at_once():
    """2 come late, 1 lacks: both lists name the job, and it is short."""
    shop = make_shop([renew("PUMP", "ring", 3)], orders=[order("ring", 2, march(20))])
    found = answer(shop)
    assert (row_of(found["buy"], "ring")["short"], found["expedite"][0]["quantity"]) == (1, 2)
    assert state(shop) == ("short", "2026-03-20", 7, "ring")

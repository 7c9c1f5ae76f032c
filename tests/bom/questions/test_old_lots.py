"""Lots that come in older than they were asked for.

One pump holds two rings that live 36 months. Worked out by hand; the count of quarters is that of the purchase list.
"""

from dataclasses import replace
from datetime import date

import pytest

from bom.questions.old_lots import latest_day, old_lots
from bom.values import ONE, Catalog, Item, Job, Lot, OtherNeed, ScopeSection, Shop
from tests.bom.small_shops import TODAY, march, opens, order, renew

APRIL, JULY = date(2026, 4, 16), date(2026, 7, 16)
CATALOG = Catalog(
    (
        Item("PUMP", kind="pump"),
        Item("END", kind="assembly"),
        Item("RING", limited_life=True, life_months=36, lead_days=10),
        Item("NUT"),
    ),
    (opens("PUMP", "END"), renew("END", "RING", 2), renew("END", "NUT")),
    scopes=(ScopeSection("PUMP", "full", "END", 1),),
)


def job(name, build_on, **more):
    return Job(name, "PUMP", "full", build_on, **more)


def ring(count, last_use, **more):
    return Lot("RING", "NEW", count * ONE, place="A", last_use=last_use, received=TODAY, **more)


@pytest.fixture
def shop():
    """Three jobs without a ring: in March, in April and in July."""
    return Shop(TODAY, CATALOG, jobs=(job("J-1", march(20)), job("J-2", APRIL), job("J-3", JULY)))


def found(shop, *lots):
    return [
        (one.place, one.latest_build, str(one.oldest_cure), one.leaves_short, lots[one.place].last_use)
        for one in old_lots(shop, lots)
    ]


def test_lot_that_lasts_to_the_latest_build_it_was_asked_for_is_not_old(shop):
    assert old_lots(shop, [ring(6, JULY)]) == []


def test_lot_that_dies_before_is_old_and_says_whose_pieces_it_cannot_be(shop):
    (one,) = old_lots(shop, [ring(6, march(31))])
    assert (one.place, one.latest_build) == (0, JULY)
    assert one.leaves_short == (("J-2", 2 * ONE), ("J-3", 2 * ONE))


def test_oldest_cure_is_the_quarter_of_the_purchase_list(shop):
    # 36 months from 1 October 2023, the day after 3Q23, last to 30 September 2026; from 1 July 2023 to 30 June 2026.
    (one,) = old_lots(shop, [ring(6, march(31))])
    assert str(one.oldest_cure) == "3Q2023"


def test_few_old_pieces_that_serve_the_first_builds_leave_nobody_short(shop):
    (one,) = old_lots(shop, [ring(2, march(31))])
    assert one.leaves_short == ()


def test_lot_is_measured_by_what_nothing_else_serves(shop):
    for served in ({"lots": (Lot("RING", "L", 6 * ONE, last_use=JULY),)}, {"orders": (order("RING", 6, march(6)),)}):
        assert old_lots(replace(shop, **served), [ring(6, march(31))]) == []
    half = replace(shop, jobs=shop.jobs[:2], lots=(Lot("RING", "L", 2 * ONE, last_use=march(31)),))
    assert [one.latest_build for one in old_lots(half, [ring(6, march(31))])] == [APRIL]


def test_job_that_a_later_order_would_serve_too_late_is_left_short_as_well(shop):
    ordered = replace(shop, orders=(order("RING", 2, date(2026, 8, 3)),))
    (one,) = old_lots(ordered, [ring(6, march(31))])
    assert dict(one.leaves_short) == {"J-2": 2 * ONE, "J-3": 2 * ONE}


def test_lots_of_one_delivery_are_looked_at_together(shop):
    assert found(shop, ring(4, JULY), ring(2, march(31))) == [(1, JULY, "3Q2023", (), march(31))]


def test_what_goes_into_quarantine_or_never_dies_is_not_asked_about(shop):
    assert old_lots(shop, [ring(6, march(31), condition="quarantine"), Lot("NUT", "N", 9 * ONE)]) == []


def test_printed_day_of_an_item_without_a_counted_life_is_held_against_the_builds_too(shop):
    nut = Lot("NUT", "N", 3 * ONE, place="A", last_use=march(31))
    assert [(one.oldest_cure, one.leaves_short) for one in old_lots(shop, [nut])] == [
        (None, (("J-2", ONE), ("J-3", ONE)))
    ]


def test_last_day_is_that_of_the_jobs_and_needs_that_still_ask(shop):
    done = replace(shop, jobs=(*shop.jobs, job("J-9", date(2027, 1, 4), stage="shipped")))
    assert latest_day(done) == JULY
    needs = replace(done, needs=(OtherNeed("van", "NUT", ONE, date(2026, 9, 1)),))
    assert latest_day(needs) == date(2026, 9, 1)
    assert latest_day(replace(shop, jobs=())) == date.min

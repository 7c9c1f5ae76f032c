"""Suppliers who close for a while: no order can be placed on those days, and none of them counts as a lead day.

Today is Wednesday 4 March 2026; the shop works from Monday to Friday.
"""

from datetime import date

import numpy as np
import pytest

from bom.buying.leads import NEVER, Lead, LeadDays
from bom.errors import QuantityError
from bom.structure.arrays import as_date, day_number
from bom.structure.calendar import ShopCalendar
from bom.values import Item
from tests.bom.small_shops import TODAY, answer, job, make_shop, march, offer, pick, renew, row_of

CLOSED = (march(5), march(11))


def arrival(lead):
    return as_date(LeadDays(ShopCalendar(), day_number(TODAY)).arrival(lead))


def order_by(need, *leads):
    days = np.full(len(leads), day_number(need), np.int64)
    return [as_date(day) for day in LeadDays(ShopCalendar(), day_number(TODAY)).order_days(days, leads).tolist()]


def test_the_days_of_a_closure_do_not_count_forwards():
    """Ordered on the 4th, worked on on the 12th, 13th and 16th, then two days on the road."""
    assert arrival(Lead(3, 2, CLOSED)) == march(18)
    assert arrival(Lead(3, 2)) == march(11)


@pytest.mark.parametrize(("days", "here"), [(0, march(11)), (3, march(16))])
def test_what_cannot_be_ordered_today_is_ordered_when_the_supplier_opens(days, here):
    """Closed until Friday the 6th: it is ordered on Monday the 9th, and takes two days on the road."""
    assert arrival(Lead(days, 2, (march(2), march(6)))) == here


def test_days_in_transit_are_the_shops_own():
    """Sent off on Thursday the 5th before he closes on the 6th, it is here on Monday the 9th all the same."""
    assert arrival(Lead(1, 2, (march(6), march(20)))) == march(9)


def test_the_days_of_a_closure_do_not_count_backwards():
    """Sent off on the 16th, two days before it is needed; worked on on the 13th and 12th, ordered on the 4th.

    Needed on the 11th, it has to be sent off by the 9th; as he is closed then, on the 4th, ordered on 27 February.
    """
    assert order_by(march(18), Lead(3, 2, CLOSED), Lead(3, 2)) == [march(4), march(11)]
    assert order_by(march(11), Lead(3, 2, CLOSED)) == [date(2026, 2, 27)]


def test_an_order_of_the_last_day_is_here_in_time_and_one_of_the_next_day_is_not():
    """Forwards and backwards agree, whatever the closure."""
    for first in range(2, 20):
        for days in range(4):
            lead = Lead(days, 1, (march(first), march(first + 5)))
            (last,) = order_by(march(26), lead)
            here = LeadDays(ShopCalendar(), day_number(last)).arrival(lead)
            too_late = LeadDays(ShopCalendar(), day_number(last) + 1).arrival(lead)
            assert here <= day_number(march(26)) < too_late, (first, days)


def test_without_a_lead_time_or_a_day_of_need_there_is_no_day():
    days = LeadDays(ShopCalendar(), day_number(TODAY))
    needs = np.array([day_number(march(18)), NEVER, day_number(march(18))], np.int64)
    assert days.order_days(needs, [None, Lead(1), Lead(1)]).tolist() == [NEVER, NEVER, day_number(march(17))]
    assert days.arrival(None) is None


@pytest.mark.parametrize("closed", [None, CLOSED])
def test_a_lead_time_that_leads_out_of_the_calendar_is_refused(closed):
    with pytest.raises(QuantityError, match="lead out of the calendar"):
        order_by(march(18), Lead(10**6, 0, closed))


def shop_of(*offers, **more):
    items = [Item("ring", lead_days=5)]
    return make_shop([renew("PUMP", "ring")], items=items, offers=offers, jobs=[job(build_on=march(19))], **more)


def test_a_closure_moves_the_row_to_buy_and_the_job_that_waits_for_it():
    """Needed on the 18th: it has to be ordered today, and then is here on that very day."""
    found = answer(shop_of(offer("ring", lead_days=3, transit_days=2, closed_from=CLOSED[0], closed_to=CLOSED[1])))
    row = row_of(found["buy"], "ring")
    assert pick(row, "order_by", "days_late", "earliest_arrival") == ("2026-03-04", 0, "2026-03-18")
    assert pick(found["jobs"][0], "parts_on", "order_by", "days_late") == ("2026-03-18", "2026-03-04", 0)


def test_an_offer_without_a_lead_takes_the_items_on_the_days_on_which_the_supplier_is_open():
    """Five days, transit within them: the 12th, 13th, 16th, 17th and 18th."""
    found = answer(shop_of(offer("ring", transit_days=2, closed_from=CLOSED[0], closed_to=CLOSED[1])))
    assert row_of(found["buy"], "ring")["earliest_arrival"] == "2026-03-18"


def test_a_dearer_supplier_who_is_open_is_taken_where_the_cheaper_one_would_be_late():
    cheap = offer("ring", "1.00", lead_days=4, transit_days=2, closed_from=CLOSED[0], closed_to=CLOSED[1])
    found = answer(shop_of(cheap, offer("ring", "9.00", supplier="Fernhope", lead_days=8)))
    assert pick(row_of(found["buy"], "ring"), "supplier", "earliest_arrival") == ("Fernhope", "2026-03-16")

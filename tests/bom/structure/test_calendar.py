from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bom.errors import BomError, QuantityError
from bom.structure.calendar import ShopCalendar

MONDAY_TO_FRIDAY = (True, True, True, True, True, False, False)
EASTER = ShopCalendar(MONDAY_TO_FRIDAY, (date(2026, 4, 3), date(2026, 4, 6)))

weeks = st.tuples(*[st.booleans()] * 7).filter(any)
some_days = st.dates(date(2020, 1, 1), date(2030, 12, 31))
calendars = st.builds(
    ShopCalendar, weeks, st.lists(st.dates(date(2024, 12, 1), date(2025, 3, 1)), max_size=20).map(tuple)
)
days_near_the_holidays = st.dates(date(2024, 11, 1), date(2025, 4, 1))
spans = st.integers(0, 60)


def is_open(calendar, day):
    return calendar.workdays[day.weekday()] and day not in calendar.holidays


def walk(calendar, day, count, step):
    """Find the day by walking day by day: roll to an open day first, then count open days."""
    while not is_open(calendar, day):
        day += step
    while count:
        day += step
        count -= is_open(calendar, day)
    return day


def test_a_holiday_weekend_is_jumped_in_both_directions():
    assert EASTER.back(date(2026, 4, 7), 1) == date(2026, 4, 2)
    assert EASTER.forward(date(2026, 4, 2), 1) == date(2026, 4, 7)


def test_a_closed_day_moves_before_it_counts():
    saturday = date(2026, 4, 4)
    assert EASTER.back(saturday, 0) == date(2026, 4, 2)
    assert EASTER.back(saturday, 1) == date(2026, 4, 1)
    assert EASTER.forward(saturday, 0) == date(2026, 4, 7)
    assert EASTER.forward(saturday, 1) == date(2026, 4, 8)
    assert EASTER.on_or_after(saturday) == date(2026, 4, 7)
    assert EASTER.on_or_after(date(2026, 4, 2)) == date(2026, 4, 2)


def test_days_between_count_the_first_and_not_the_last():
    assert EASTER.between(date(2026, 4, 1), date(2026, 4, 2)) == 1
    assert EASTER.between(date(2026, 4, 2), date(2026, 4, 7)) == 1
    assert EASTER.between(date(2026, 4, 3), date(2026, 4, 7)) == 0


def test_days_between_are_nil_when_the_last_is_not_later():
    assert EASTER.between(date(2026, 4, 7), date(2026, 4, 7)) == 0
    assert EASTER.between(date(2026, 4, 30), date(2026, 4, 1)) == 0


def test_a_shop_that_is_always_closed_is_refused():
    with pytest.raises(BomError, match="All seven days"):
        ShopCalendar((False,) * 7, ())


def test_a_week_of_six_days_is_refused():
    with pytest.raises(BomError, match="6 days"):
        ShopCalendar((True,) * 6, ())


def test_a_negative_span_is_refused():
    with pytest.raises(QuantityError, match="-1 working days"):
        EASTER.back(date(2026, 4, 7), -1)
    with pytest.raises(QuantityError, match="-2 working days"):
        EASTER.forward_all(np.array(["2026-04-07"], dtype="datetime64[D]"), np.array([-2]))


def test_a_span_that_leaves_the_calendar_is_refused():
    with pytest.raises(QuantityError, match="out of the calendar"):
        EASTER.forward(date(2026, 4, 7), 3_000_000)


def test_equal_weeks_and_holidays_make_equal_calendars():
    assert ShopCalendar(MONDAY_TO_FRIDAY, (date(2026, 4, 3), date(2026, 4, 6))) == EASTER
    assert ShopCalendar(MONDAY_TO_FRIDAY, ()) != EASTER


@given(calendars, days_near_the_holidays, spans)
def test_back_and_forward_agree_with_walking_day_by_day(calendar, day, count):
    assert calendar.back(day, count) == walk(calendar, day, count, timedelta(-1))
    assert calendar.forward(day, count) == walk(calendar, day, count, timedelta(1))


@given(calendars, days_near_the_holidays, days_near_the_holidays)
def test_between_agrees_with_counting_day_by_day(calendar, first, last):
    span = max((last - first).days, 0)
    assert calendar.between(first, last) == sum(is_open(calendar, first + timedelta(n)) for n in range(span))


@given(calendars, days_near_the_holidays, spans)
def test_going_back_and_forward_again_returns_to_an_open_day(calendar, day, count):
    assume(is_open(calendar, day))
    assert calendar.forward(calendar.back(day, count), count) == day
    assert calendar.between(day, calendar.forward(day, count)) == count


@given(calendars, st.lists(st.tuples(some_days, spans, some_days), min_size=1, max_size=8))
def test_arrays_give_what_single_days_give(calendar, rows):
    days = np.array([day for day, _, _ in rows], dtype="datetime64[D]")
    counts = np.array([count for _, count, _ in rows], dtype=np.int64)
    others = np.array([other for _, _, other in rows], dtype="datetime64[D]")
    assert calendar.back_all(days, counts).tolist() == [calendar.back(day, count) for day, count, _ in rows]
    assert calendar.forward_all(days, counts).tolist() == [calendar.forward(day, count) for day, count, _ in rows]
    assert calendar.between_all(days, others).tolist() == [calendar.between(day, other) for day, _, other in rows]
    assert calendar.back_all(days[:0], counts[:0]).size == 0

"""What packs bring over, set against the pace of the past: common practice, no source; the days are worked by hand."""

from datetime import date

import pytest

from bom.questions.bids.left_over import left_over
from bom.values import ONE

HERE = date(2026, 3, 20)


def test_what_is_used_up_in_time_says_when():
    # 24 in 12 months are 2 a month; 6 left over from 1 April on last three months, to 1 July.
    found = left_over(6 * ONE, 24 * ONE, 12, HERE, date(2026, 4, 1), 60)
    assert (found.used_up_on, found.dies) == (date(2026, 7, 1), 0)
    # Cured in the first quarter of 2026, five years from its end: the last day is 31 March 2031.
    assert found.last_use_on == date(2031, 3, 31)


def test_what_outlives_its_use_dies_in_part():
    # 1 a month from 1 April 2026 to 31 March 2027 are not quite twelve months: 11 whole and a part of one.
    found = left_over(20 * ONE, 12 * ONE, 12, HERE, date(2026, 4, 1), 12)
    assert found.last_use_on == date(2027, 3, 31)
    assert 8 * ONE < found.dies < 9 * ONE


def test_what_was_never_used_dies_whole():
    found = left_over(5 * ONE, 0, 12, HERE, None, 12)
    assert (found.used_up_on, found.dies) == (None, 5 * ONE)


@pytest.mark.parametrize("life", [None, 12])
def test_nothing_left_over_never_dies(life):
    assert left_over(0, 12 * ONE, 12, HERE, None, life).dies == 0


def test_without_a_limit_nothing_dies():
    found = left_over(5 * ONE, ONE, 12, HERE, None, None)
    assert (found.last_use_on, found.dies, found.used_up_on) == (None, 0, date(2031, 3, 20))


def test_a_pace_beyond_the_calendar_has_no_day():
    assert left_over(10**15, 1, 12, HERE, None, None).used_up_on is None

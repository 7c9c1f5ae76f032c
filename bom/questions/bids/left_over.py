"""What packs bring beyond the need, and whether it will be used while it may be.

The pace is what was used in the past: the same each month, which is common practice for parts of slow and even use, and
no forecast. The month is a twelfth of a year. A lot that is bought now may be used until its own last day; how old it
is when it comes, nobody knows before, so that the answer is given for a lot cured in the quarter in which it comes.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from bom.structure.cure import quarter_of
from bom.structure.shelf_life import last_use

MONTHS = 12


@dataclass(frozen=True, slots=True)
class OverAfterPacks:
    """What a purchase brings beyond the need.

    ``used_up_on`` is when it is used up at the pace of the past, None where nothing was used; ``last_use_on`` the last
    day of a fresh lot, None without a limit. ``dies`` are the millionths that are still there after it.
    """

    quantity: int
    used_up_on: date | None
    last_use_on: date | None
    dies: int


def left_over(
    quantity: int, used: int, months: int, arrives_on: date, need_on: date | None, life_months: int | None
) -> OverAfterPacks:
    """Set what is left over against the pace at which it is used.

    Parameters
    ----------
    quantity : millionths beyond the need
    used : millionths that were used in the past months
    months : how many months that were, above 0
    arrives_on : when the purchase is here
    need_on : when what it is needed for is used; what is left is used from then on
    life_months : shelf life of the item, None for unlimited
    """
    start = max(arrives_on, need_on or arrives_on)
    last = last_use(quarter_of(arrives_on), life_months, None)
    pace = Fraction(used, months)
    used_up_on = _later(start, quantity / pace) if pace else None
    if last is None or not quantity:
        return OverAfterPacks(quantity, used_up_on, last, 0)
    spent = pace * _months_between(start, last)
    return OverAfterPacks(quantity, used_up_on, last, max(0, quantity - int(spent)))


def _months_between(first: date, last: date) -> Fraction:
    """Months from one day to another, days as a part of a twelfth of a year; none where the last comes before."""
    return Fraction(max(0, (last - first).days) * MONTHS * 100, 36525)


def _later(day: date, months: Fraction) -> date | None:
    """The day so many months later; None beyond the calendar."""
    whole = int(months)
    year, month = divmod(day.year * MONTHS + day.month - 1 + whole, MONTHS)
    if year >= date.max.year:
        return None
    _, length = calendar.monthrange(year, month + 1)
    rest = int((months - whole) * Fraction(36525, 1200))
    return date.fromordinal(min(date(year, month + 1, min(day.day, length)).toordinal() + rest, date.max.toordinal()))

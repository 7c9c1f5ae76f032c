"""The shop's working days, and the three sums that every date of a plan comes from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from bom.errors import BomError, QuantityError

Days = npt.NDArray[np.datetime64]
"""Days as ``datetime64[D]``."""

WEEKDAY_COUNT = 7


@dataclass(frozen=True)
class ShopCalendar:
    """The days on which the shop works, from its week and its holidays.

    A day on which the shop is closed is moved to a working day first, against the direction of time when counting
    backward and with it when counting forward; only then are working days counted off.

    Parameters
    ----------
    workdays : seven truth values, Monday first
    holidays : days on which the shop is closed besides

    Raises
    ------
    BomError
        If the week does not have seven days, or all seven are closed.

    Examples
    --------
    >>> shop = ShopCalendar((True,) * 5 + (False,) * 2, (date(2026, 4, 3), date(2026, 4, 6)))
    >>> shop.back(date(2026, 4, 7), 1)
    datetime.date(2026, 4, 2)
    >>> shop.forward(date(2026, 4, 4), 0)
    datetime.date(2026, 4, 7)
    >>> shop.between(date(2026, 4, 2), date(2026, 4, 8))
    2
    """

    workdays: tuple[bool, ...] = (True, True, True, True, True, False, False)
    holidays: tuple[date, ...] = ()
    _days: np.busdaycalendar = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if len(self.workdays) != WEEKDAY_COUNT:
            raise BomError(f"A week with {len(self.workdays)} days was given: name all seven, Monday first.")
        if not any(self.workdays):
            raise BomError("All seven days of the week are closed: a shop needs one working day at least, so open one.")
        closed = np.array(self.holidays, dtype="datetime64[D]")
        object.__setattr__(self, "_days", np.busdaycalendar([bool(day) for day in self.workdays], closed))

    def __reduce__(self) -> tuple[Any, ...]:
        # The library's calendar cannot be pickled; it is made again from the same days.
        return ShopCalendar, (self.workdays, self.holidays)

    def closed_besides(self, first: date, last: date) -> ShopCalendar:
        """Return the same calendar with the days from ``first`` to ``last`` closed as well.

        Parameters
        ----------
        first : first day on which it is closed besides
        last : last such day

        Examples
        --------
        >>> ShopCalendar().closed_besides(date(2026, 8, 3), date(2026, 8, 14)).forward(date(2026, 7, 31), 1)
        datetime.date(2026, 8, 17)
        """
        days = np.arange(np.datetime64(first), np.datetime64(last) + 1).tolist()
        return ShopCalendar(self.workdays, (*self.holidays, *days))

    def back(self, on: date, days: int) -> date:
        """Return the day ``days`` working days before ``on``; a closed ``on`` counts as the working day before it.

        Parameters
        ----------
        on : the day
        days : working days
        """
        return _as_date(self.back_all(_as_days(on), _count(days))[0], on, -days)

    def forward(self, on: date, days: int) -> date:
        """Return the day ``days`` working days after ``on``; a closed ``on`` counts as the working day after it.

        Parameters
        ----------
        on : the day
        days : working days
        """
        return _as_date(self.forward_all(_as_days(on), _count(days))[0], on, days)

    def on_or_after(self, on: date) -> date:
        """Return ``on`` itself if the shop works then, else the next working day.

        Parameters
        ----------
        on : the day
        """
        return self.forward(on, 0)

    def between(self, first: date, last: date) -> int:
        """Count the working days from ``first`` up to, and without, ``last``; 0 when ``last`` is not later.

        Parameters
        ----------
        first : the earlier day
        last : the later day
        """
        return int(self.between_all(_as_days(first), _as_days(last))[0])

    def back_all(self, on: Days, days: npt.NDArray[np.int64]) -> Days:
        """Do `back` for arrays of equal shape, or shapes that broadcast.

        Parameters
        ----------
        on : the days
        days : working days, element by element
        """
        _refuse_negative(days)
        return np.asarray(np.busday_offset(on, -days, roll="backward", busdaycal=self._days))

    def forward_all(self, on: Days, days: npt.NDArray[np.int64]) -> Days:
        """Do `forward` for arrays of equal shape, or shapes that broadcast.

        Parameters
        ----------
        on : the days
        days : working days, element by element
        """
        _refuse_negative(days)
        return np.asarray(np.busday_offset(on, days, roll="forward", busdaycal=self._days))

    def between_all(self, first: Days, last: Days) -> npt.NDArray[np.int64]:
        """Do `between` for arrays of equal shape, or shapes that broadcast.

        Parameters
        ----------
        first : the earlier days
        last : the later days, element by element
        """
        counted = np.asarray(np.busday_count(first, last, busdaycal=self._days), dtype=np.int64)
        return np.maximum(counted, 0)


def _as_days(on: date) -> Days:
    return np.array([on], dtype="datetime64[D]")


def _count(days: int) -> npt.NDArray[np.int64]:
    return np.array([days], dtype=np.int64)


def _as_date(found: Any, on: date, days: int) -> date:
    day = found.item()
    if not isinstance(day, date):  # NumPy's days reach further than the years 1 to 9999 of a date
        raise QuantityError(f"{days} working days lead out of the calendar: check the lead time.")
    return day


def _refuse_negative(days: npt.NDArray[np.int64]) -> None:
    if np.size(days) and np.min(days) < 0:
        raise QuantityError(f"A span of {int(np.min(days))} working days was given: it must be 0 or more.")

"""How long a purchase takes: working days on which the supplier is open, then those in transit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.structure.arrays import as_date, day_number
from bom.structure.calendar import ShopCalendar
from bom.structure.tables import Ints

NEVER = 10**6
"""A day number beyond every calendar: the arrival of what has no known lead time."""
FIRST_DATE = day_number(date.min)


@dataclass(frozen=True, slots=True)
class Lead:
    """A lead time in working days: ``days`` on which the supplier is open, then ``transit`` days of the shop.

    Nothing can be ordered on the days from the first to the last of ``closed``, and they do not count.
    """

    days: int
    transit: int = 0
    closed: tuple[date, date] | None = None

    @property
    def total(self) -> int:
        """All working days, where the supplier does not close."""
        return self.days + self.transit


class LeadDays:
    """Moves days by lead times, forward from today and back from days of need."""

    def __init__(self, calendar: ShopCalendar, as_of: int) -> None:
        self.calendar, self.as_of = calendar, as_of
        self._calendars: dict[tuple[date, date], ShopCalendar] = {}
        self._arrivals: dict[Lead, int] = {}

    def suppliers_calendar(self, closed: tuple[date, date] | None) -> ShopCalendar:
        """The working days on which a supplier is open.

        Parameters
        ----------
        closed : first and last day on which the supplier is closed, None where it does not close
        """
        if closed is None:
            return self.calendar
        if closed not in self._calendars:
            self._calendars[closed] = self.calendar.closed_besides(*closed)
        return self._calendars[closed]

    def arrival(self, lead: Lead | None) -> int | None:
        """The day on which what is ordered today, or on the first day on which it can be, is here; None if unknown.

        Parameters
        ----------
        lead : the lead time, None when unknown
        """
        if lead is None:
            return None
        if lead not in self._arrivals:
            sent = self.suppliers_calendar(lead.closed).forward(as_date(self.as_of), lead.days)
            self._arrivals[lead] = day_number(self.calendar.forward(sent, lead.transit))
        return self._arrivals[lead]

    def order_days(self, need: Ints, leads: Sequence[Lead | None], which: Ints | None = None) -> Ints:
        """The last day on which each may be ordered and be here on its day of need; ``NEVER`` where that is unknown.

        Parameters
        ----------
        need : days of need
        leads : lead times, None where one is not known
        which : place, among the lead times, of the one of each need; without it they run together

        Raises
        ------
        QuantityError
            If that is before the first day of the calendar.
        """
        place = np.arange(need.size) if which is None else which
        found = np.full(need.size, NEVER, np.int64)
        rows = np.flatnonzero(np.array([lead is not None for lead in leads], bool)[place] & (need < NEVER))
        unknown = Lead(0)
        known = [lead or unknown for lead in leads]
        transit = np.array([lead.transit for lead in known], np.int64)
        days = np.array([lead.days for lead in known], np.int64)
        closings: dict[tuple[date, date] | None, int] = {}
        closing = np.array([closings.setdefault(lead.closed, len(closings)) for lead in known], np.int64)
        closing_of = closing[place[rows]]
        sent = self.calendar.back_all(need[rows].astype("datetime64[D]"), transit[place[rows]])
        for closed, number in closings.items():
            mine = np.flatnonzero(closing_of == number)
            moved = self.suppliers_calendar(closed).back_all(sent[mine], days[place[rows[mine]]]).astype(np.int64)
            for row in rows[mine[moved < FIRST_DATE]].tolist():
                # Says that this leaves the calendar.
                self.calendar.back(as_date(int(need[row])), known[place[row]].total)
            found[rows[mine]] = moved
        return found

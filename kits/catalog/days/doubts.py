"""Days that can hardly be meant: what is asked about a build day or a promise before it is taken."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from bom.structure.calendar import ShopCalendar
from kits.catalog.days.words import in_full
from kits.catalog.queries import read_calendar, read_settings

LAST_OF_FEBRUARY = 28


@dataclass(frozen=True, slots=True)
class DayDoubts:
    """What is odd about a day, as half a sentence; an empty text where nothing is.

    ``years_ahead`` is the shop's setting: whatever lies further off is more likely a slip of the finger.
    """

    today: date
    calendar: ShopCalendar
    years_ahead: int

    def of_build(self, on: date) -> str:
        """What is odd about a day on which something is to be built, or needed."""
        if on < self.today:
            return f"the day has passed, for today is {in_full(self.today)}"
        return self._far_off(on) or self._closed(on)

    def of_promise(self, on: date, ordered_on: date | None = None) -> str:
        """What is odd about a day on which an order is to be here; a promise may be broken, so past days are not."""
        if ordered_on is not None and on < ordered_on:
            return f"the order was placed only on {in_full(ordered_on)}"
        if on < years_from(self.today, -self.years_ahead):
            return f"the day lies more than {self._years} back"
        return self._far_off(on)

    def _far_off(self, on: date) -> str:
        return f"the day lies more than {self._years} ahead" if on > years_from(self.today, self.years_ahead) else ""

    def _closed(self, on: date) -> str:
        if self.calendar.on_or_after(on) == on:
            return ""
        before = self.calendar.back(on, 0)
        return (
            f"the shop is closed on {on:%A} {in_full(on)}; the working day before it is {before:%A} {in_full(before)}"
        )

    @property
    def _years(self) -> str:
        return f"{self.years_ahead} year{'' if self.years_ahead == 1 else 's'}"


def doubts_now(today: date | None = None) -> DayDoubts:
    """What is odd about days as the shop's settings and closed days stand; ``today`` None takes the shop's."""
    settings = read_settings()
    day = today or settings.today or timezone.localdate()
    return DayDoubts(day, read_calendar(settings), settings.years_ahead)


def years_from(on: date, years: int) -> date:
    """The same day so many years on; the last of February where there is no 29th."""
    try:
        return on.replace(year=on.year + years)
    except ValueError:
        return on.replace(year=on.year + years, day=LAST_OF_FEBRUARY)


def asked(doubt: str, remedy: str) -> str:
    """A doubt as a sentence that says what to do; nothing where there is none."""
    return doubt and f"{doubt[:1].upper()}{doubt[1:]}: {remedy}."

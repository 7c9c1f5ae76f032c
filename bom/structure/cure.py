"""When rubber was cured and until when it may be used, as labels and sheets write it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from bom.errors import ShelfLifeError

MONTHS_IN_A_YEAR = 12
MONTHS_IN_A_QUARTER = 3
DAY = timedelta(days=1)

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"))
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_QUARTER_FORMS = (
    re.compile(r"(?P<quarter>[0-9])\s*Q[\s/-]*(?P<year>[0-9]{4}|[0-9]{2})"),  # 4Q20, 4Q2020
    re.compile(r"Q\s*(?P<quarter>[0-9])[\s/-]+(?P<year>[0-9]{4}|[0-9]{2})"),  # Q4 2020
    re.compile(r"(?P<year>[0-9]{4})[\s/-]*Q\s*(?P<quarter>[0-9])"),  # 2020-Q4
    re.compile(r"(?P<quarter>[0-9])\s*/\s*(?P<year>[0-9]{4}|[0-9]{2})"),  # 3/94, the label of ISO 2230
)
_MONTH_FORMS = (
    re.compile(r"(?P<year>[0-9]{4})[-/](?P<month>[0-9]{1,2})"),
    re.compile(r"(?P<month>[0-9]{1,2})[-/](?P<year>[0-9]{4})"),
)


@dataclass(frozen=True, slots=True)
class Cure:
    """When rubber was cured: on the day ``on``, or in the calendar quarter whose last day is ``on``."""

    on: date
    is_quarter: bool = False

    @property
    def starts_on(self) -> date:
        """The first day that counts against the shelf life: the day after a quarter, a cure day itself."""
        return self.on + DAY if self.is_quarter else self.on

    def __str__(self) -> str:
        """Write the cure as a label does: ``4Q2020``, or an ISO date."""
        if not self.is_quarter:
            return self.on.isoformat()
        return f"{self.on.month // MONTHS_IN_A_QUARTER}Q{self.on.year:04d}"


def parse_cure(value: str | date, today: date) -> Cure:
    """Read a cure date as labels and sheets write it.

    Parameters
    ----------
    value : a date, or a text such as ``4Q20``, ``4Q2020``, ``2020-Q4``, ``3/94`` (third quarter) or ``2020-11-15``
    today : the day against which a two-digit year is read: it is the latest year whose quarter has begun

    Raises
    ------
    ShelfLifeError
        If the text is none of these, or names a day or quarter that has not begun.

    Notes
    -----
    The label form quarter/year is that of ISO 2230:2002.

    Examples
    --------
    >>> str(parse_cure("4Q20", date(2026, 3, 4))), str(parse_cure("3/94", date(2026, 3, 4)))
    ('4Q2020', '3Q1994')
    """
    cure = _as_cure(value, today)
    first_on = _first_day_of_quarter(cure.on) if cure.is_quarter else cure.on
    if first_on > today:
        raise ShelfLifeError(
            f"The cure date '{_shown(value)}' lies after today: nothing is cured ahead of its day, so check the year."
        )
    return cure


def _as_cure(value: str | date, today: date) -> Cure:
    if isinstance(value, date):
        return Cure(_plain_day(value))
    text = tidy_label(value)
    if _ISO_DAY.fullmatch(text):
        return Cure(_iso_day(text, "cure date"))
    for form in _QUARTER_FORMS:
        if found := form.fullmatch(text):
            return _quarter_cure(value, int(found["quarter"]), found["year"], today)
    raise ShelfLifeError(
        f"The cure date '{value}' cannot be read: write a quarter such as 4Q20 or 2020-Q4, or a day such as 2020-11-15."
    )


def _quarter_cure(value: str, quarter: int, year: str, today: date) -> Cure:
    if not 1 <= quarter <= 4:
        raise ShelfLifeError(f"The cure date '{value}' names quarter {quarter}: a year has the quarters 1 to 4.")
    if len(year) == 4:
        if int(year) == 0:
            raise ShelfLifeError(f"The cure date '{value}' names the year 0000: write the year of the label.")
        return Cure(_last_day_of_quarter(int(year), quarter), is_quarter=True)
    full = today.year - (today.year - int(year)) % 100
    if date(full, MONTHS_IN_A_QUARTER * (quarter - 1) + 1, 1) > today:
        full -= 100
    return Cure(_last_day_of_quarter(full, quarter), is_quarter=True)


def parse_use_by(value: str | date) -> date:
    """Read a printed use-by date: a day, or a month (``2026-03``, ``03/2026``), which means its last day.

    Parameters
    ----------
    value : a date, or a text as it is printed

    Raises
    ------
    ShelfLifeError
        If the text is none of these.

    Notes
    -----
    That a month means its last day follows the guidance of the US Defense Logistics Agency.

    Examples
    --------
    >>> parse_use_by("03/2026")
    datetime.date(2026, 3, 31)
    """
    if isinstance(value, date):
        return _plain_day(value)
    text = tidy_label(value)
    if _ISO_DAY.fullmatch(text):
        return _iso_day(text, "use-by date")
    for form in _MONTH_FORMS:
        if found := form.fullmatch(text):
            year, month = int(found["year"]), int(found["month"])
            if not 1 <= month <= MONTHS_IN_A_YEAR or year == 0:
                raise ShelfLifeError(f"The use-by date '{value}' names no month of a year: months run from 1 to 12.")
            return _last_day_of_month(year, month)
    raise ShelfLifeError(
        f"The use-by date '{value}' cannot be read: "
        "write a month such as 2026-03 or 03/2026, or a day such as 2026-03-31."
    )


def tidy_label(text: str) -> str:
    """Fold what differs between labels that say the same: case, blanks, and the several dash glyphs.

    Parameters
    ----------
    text : as it was typed
    """
    return " ".join(text.translate(_DASHES).split()).upper()


def _shown(value: str | date) -> str:
    return _plain_day(value).isoformat() if isinstance(value, date) else value


def _plain_day(value: date) -> date:
    return value.date() if isinstance(value, datetime) else value


def _iso_day(text: str, what: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ShelfLifeError(f"The {what} '{text}' is no day of the calendar: check its month and day.") from None


def after_months(on: date, months: int) -> date:
    """Return the same day of the month so many months on; a day that the month lacks is its last day.

    Parameters
    ----------
    on : the day
    months : how many

    Raises
    ------
    ShelfLifeError
        If that leaves the calendar.
    """
    count = on.year * MONTHS_IN_A_YEAR + on.month - 1 + months
    year, month = divmod(count, MONTHS_IN_A_YEAR)
    if not date.min.year <= year < date.max.year:
        raise ShelfLifeError(f"{months} months lead out of the calendar: check the shelf life.")
    return date(year, month + 1, min(on.day, _last_day_of_month(year, month + 1).day))


def _last_day_of_month(year: int, month: int) -> date:
    if month == MONTHS_IN_A_YEAR:
        return date(year, month, 31)
    return date(year, month + 1, 1) - DAY


def _last_day_of_quarter(year: int, quarter: int) -> date:
    return _last_day_of_month(year, MONTHS_IN_A_QUARTER * quarter)


def _first_day_of_quarter(on: date) -> date:
    return date(on.year, on.month - (on.month - 1) % MONTHS_IN_A_QUARTER, 1)


def quarter_of(on: date) -> Cure:
    """Return the calendar quarter in which ``on`` lies.

    Parameters
    ----------
    on : the day
    """
    quarter = (on.month - 1) // MONTHS_IN_A_QUARTER + 1
    return Cure(_last_day_of_quarter(on.year, quarter), is_quarter=True)


def next_quarter(cure: Cure) -> Cure:
    """Return the calendar quarter that follows.

    Parameters
    ----------
    cure : a quarter
    """
    return quarter_of(cure.on + DAY)

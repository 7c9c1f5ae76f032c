"""Cells that hold calendar dates: the century, and which number is the day and which the month."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

from bom.errors import ShelfLifeError
from bom.structure.shelf_life import parse_cure, parse_use_by
from kits.catalog.days.words import in_full
from kits.exchange.reading.cells.cell import Cell, CellRefused, begin_small, reason_and_remedy
from kits.exchange.reading.cells.marks import refuse_control

DAY_CELL = "date cell"
ORDER_READ = "day and month told apart by size"

FIRST_YEAR, LAST_YEAR = 1980, 2099
_DAY_ZERO = date(1899, 12, 30)
_ISO = "write it as 2026-03-04, or as a date cell"
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec".split()
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]00:00(?::00(?:\.0+)?)?)?")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})")
_SHORT_YEAR = re.compile(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}")
_NAMED = re.compile(r"(\d{1,2})[-. ]*([A-Za-z]{3,9})\.?[-, ]*(\d{4})|([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})")


def read_day(cell: Cell) -> date:
    """A calendar date of which only one reading is possible."""
    day = _plain_day(cell)
    if day.year < FIRST_YEAR or day.year > LAST_YEAR:
        near = next((year for year in (day.year + 100, day.year - 100) if FIRST_YEAR <= year <= LAST_YEAR), None)
        remedy = f"if {near} is meant, write the year in full" if near else _ISO
        raise CellRefused(f"the year {day.year} lies in the wrong century", remedy)
    return day


def _plain_day(cell: Cell) -> date:
    value = cell.value
    if isinstance(value, datetime):
        if value.time() != time(0):
            cell.notes.append("a time of day was left out")
        cell.tags.append(DAY_CELL)
        return value.date()
    if isinstance(value, date):
        cell.tags.append(DAY_CELL)
        return value
    if isinstance(value, (bool, time, timedelta)):
        raise CellRefused("it is no date", _ISO)
    if isinstance(value, (int, float)):
        raise _not_a_number_of_days(float(value))
    text = str(value).strip("\u00a0 \t\r\n")
    refuse_control(text)
    return _read_text(cell, text)


def _not_a_number_of_days(value: float) -> CellRefused:
    if 10_000 <= value <= 73_050 and value.is_integer():
        day = _DAY_ZERO + timedelta(days=int(value))
        return CellRefused(
            "it is a number, not a date", f"if the day number of {in_full(day)} is meant, format the cell as a date"
        )
    return CellRefused("it is a number, not a date", _ISO)


def _read_text(cell: Cell, text: str) -> date:
    if found := _YEAR_FIRST.fullmatch(text):
        return _day(int(found[1]), int(found[2]), int(found[3]))
    if found := _YEAR_LAST.fullmatch(text):
        return _year_last(cell, int(found[1]), int(found[3]), int(found[4]), found[2])
    if found := _NAMED.fullmatch(text):
        name = (found[2] or found[4])[:3].lower()
        if name in _MONTHS:
            day, year = (found[1], found[3]) if found[2] else (found[5], found[6])
            return _day(int(year), _MONTHS.index(name) + 1, int(day))
    if _SHORT_YEAR.fullmatch(text):
        raise CellRefused("the year has two digits, so the century and the order of day and month are not said", _ISO)
    if text.isdecimal() and len(text) == 5:
        raise _not_a_number_of_days(float(text))
    raise CellRefused("it cannot be read as a date", _ISO)


def _year_last(cell: Cell, first: int, second: int, year: int, mark: str) -> date:
    if mark == ".":
        cell.notes.append("dates with points were read as day, month, year")
        return _day(year, second, first)
    if first > 12 or second > 12 or first == second:
        cell.tags.append(ORDER_READ)
        if first != second:
            order = "day, month, year" if first > 12 else "month, day, year"
            cell.notes.append(f"dates kept as text were read as {order}")
        return _day(year, second, first) if first > 12 else _day(year, first, second)
    one, other = _day(year, second, first), _day(year, first, second)
    raise CellRefused(
        f"it may mean {in_full(one)} or {in_full(other)}",
        f"write {one.isoformat()} or {other.isoformat()}",
    )


def _day(year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise CellRefused("the calendar has no such day", _ISO) from None


def read_use_by(cell: Cell) -> date:
    """A printed use-by date; a month means its last day."""
    value = cell.value
    if isinstance(value, str) and re.fullmatch(r"\s*(\d{4}[-/]\d{1,2}|\d{1,2}[-/]\d{4})\s*", value):
        try:
            day = parse_use_by(value)
        except ShelfLifeError as error:
            raise CellRefused(*reason_and_remedy(error, "write it as 2026-03 or 2026-03-31")) from error
        cell.notes.append("a month was read as its last day")
        cell.value = day
    return read_day(cell)


def read_cure(cell: Cell) -> str:
    """A cure date as it is kept: a quarter as on the label, or a day."""
    value: str | date
    if isinstance(cell.value, str):
        value = cell.value.strip("\u00a0 \t\r\n")
        if not re.search(r"[Qq]|^\d\s*/", value):
            value = read_day(cell)
    else:
        value = read_day(cell)
    try:
        cure = parse_cure(value, cell.today)
    except ShelfLifeError as error:
        raise CellRefused(begin_small(str(error).rstrip(".")), "write it as 4Q20, 2020-Q4 or a date") from error
    if cure.on.year < FIRST_YEAR:
        raise CellRefused(f"the year {cure.on.year} lies in the wrong century", "write the year in full")
    return value.isoformat() if isinstance(value, date) else value

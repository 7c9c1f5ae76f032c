"""Cells that name something (a part, a lot, a job) and that a spreadsheet may have made a number or a date of."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

from kits.catalog.days.words import in_full
from kits.catalog.folding import fold, without_turns
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.known_marks import plain_number

_AS_TEXT = "format the column as text and type it again"
_ODD_SPACES = re.compile("[\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000\t\r\n]")
_UNSEEN = re.compile("[\u00ad\u200b-\u200f\u2060\ufeff]")
_DASHES = re.compile("[\u2010-\u2015\u2043\u2212\ufe58\ufe63\uff0d]")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_ONLY_ZEROS = re.compile(r"0{2,}")
_EXPONENT = re.compile(r"\d([.,]\d+)?[eE]\+\d+")
_SHOWN_DAY = re.compile(
    r"(?P<year>(?:19|20)\d\d)-(?P<month>\d\d)-(?P<day>\d\d)([ T]00:00(:00)?)?"
    r"|(?P<d>\d{1,2})-(?P<m>jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
    r"|(?P<m2>jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)-(?P<y>\d\d)",
    re.IGNORECASE,
)
_MAY_BE_DAY = re.compile(r"\d|jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec", re.IGNORECASE)
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec".split()
_FIRST_DAY_NUMBER, _LAST_DAY_NUMBER = 10_000, 73_050
_DAY_ZERO = date(1899, 12, 30)
_OTHER_NUMBERS = frozenset({"maker_number", "supplier_part_number"})
"""Columns that hold part numbers of somebody else. A lot or a serial may well look like a date."""


def read_mark(cell: Cell) -> str:
    """A number or name exactly as it was meant; a damaged one is refused with what it may have been."""
    value = cell.value
    if isinstance(value, str):
        mark = clean_mark(cell, value)
        _refuse_shown_day(cell, mark)
    elif isinstance(value, bool):
        raise CellRefused(f"a spreadsheet made the logical value {str(value).upper()} of it", _AS_TEXT)
    elif isinstance(value, (int, float)):
        mark = _number_as_mark(cell, value)
    elif isinstance(value, (datetime, date)):
        _refuse_day(cell, value.date() if isinstance(value, datetime) else value, "a date")
    elif isinstance(value, (time, timedelta)):
        raise CellRefused("a spreadsheet made a time of day of it", _AS_TEXT)
    else:
        mark = clean_mark(cell, str(value))
    if len(mark) > cell.column.longest:
        raise CellRefused(f"it has {len(mark)} characters, but at most {cell.column.longest} are kept", "shorten it")
    return mark


def clean_mark(cell: Cell, text: str) -> str:
    """The text with plain spaces and dashes; says what was changed."""
    if text.isascii() and text.isprintable() and "  " not in text and text == text.strip():
        return text
    refuse_control(text)
    text = plainly_shown(cell, text)
    if _UNSEEN.search(text):
        cell.notes.append("characters that cannot be seen were left out")
        text = _UNSEEN.sub("", text)
    if _ODD_SPACES.search(text):
        cell.notes.append("a no-break space, tab or line break was read as a plain space")
        text = _ODD_SPACES.sub(" ", text)
    if text != text.strip():
        cell.notes.append("spaces at the ends were left out")
        text = text.strip()
    if "  " in text:
        cell.notes.append("several spaces in a row were read as one")
        text = " ".join(text.split())
    if _DASHES.search(text):
        cell.notes.append("a long dash or minus sign was read as a plain dash")
        text = _DASHES.sub("-", text)
    return text


def plainly_shown(cell: Cell, text: str) -> str:
    """The text without what would show it in another order; says so."""
    plain = without_turns(text)
    if plain != text:
        cell.notes.append("characters that turn the direction of writing were left out")
    return plain


def refuse_control(text: str) -> None:
    """Refuse characters that no keyboard makes and no sheet can show."""
    if found := _CONTROL.search(text):
        raise CellRefused(f"it holds the control character {ord(found.group()):#04x}", "type it again")


def _number_as_mark(cell: Cell, value: int | float) -> str:
    known = cell.known
    if abs(value) >= 1e15:
        raise CellRefused("a number of more than 15 digits, of which a spreadsheet keeps only 15", _AS_TEXT)
    mark = plain_number(value)
    if _ONLY_ZEROS.fullmatch(cell.number_format) and len(cell.number_format) > len(mark):
        raise CellRefused(
            f"the cell holds the number {mark} and only shows it as {mark.zfill(len(cell.number_format))}", _AS_TEXT
        )
    meant = known.read_as_number(value)
    is_known = mark in known
    if meant:
        own = [mark] if is_known else []
        lost = (
            "a spreadsheet read it as a number"
            if any(not one.isdigit() for one in meant)
            else "its leading zeros are lost"
        )
        raise CellRefused(f"the cell holds the number {mark}: {lost}", f"{_AS_TEXT}; it may be {_either(own + meant)}")
    if is_known:
        return mark
    if float(value).is_integer():
        if _FIRST_DAY_NUMBER <= value <= _LAST_DAY_NUMBER:
            day = _DAY_ZERO + timedelta(days=int(value))
            if known.read_as_day(day):
                _refuse_day(cell, day, f"the day number {mark}, which is")
        cell.notes.append("numbers were read as the text of their digits")
        return mark
    raise CellRefused(f"the cell holds the number {mark}, whose last zeros may be lost", _AS_TEXT)


def _refuse_day(cell: Cell, day: date, what: str) -> None:
    meant = cell.known.read_as_day(day)
    offer = f"; it may be {_either(meant)}" if meant else ""
    label = what if what != "a date" else "a date,"
    raise CellRefused(f"a spreadsheet turned it into {label} {in_full(day)}", f"{_AS_TEXT}{offer}")


def _refuse_shown_day(cell: Cell, mark: str) -> None:
    """Refuse texts that a spreadsheet shows in place of a part number, as they arrive through a text file."""
    if cell.column.reads != "part" and cell.column.name not in _OTHER_NUMBERS:
        return
    if not _MAY_BE_DAY.match(mark):
        return
    if mark in cell.known and not cell.column.key:
        return
    if _EXPONENT.fullmatch(mark):
        meant = cell.known.read_as_number(float(mark.replace(",", ".")))
        offer = f"; it may be {_either(meant)}" if meant else ""
        raise CellRefused("a spreadsheet read it as a number and shows it with an exponent", f"{_AS_TEXT}{offer}")
    if mark.isdecimal() and len(mark) == 5 and mark not in cell.known:
        day = _DAY_ZERO + timedelta(days=int(mark))
        if cell.known.read_as_day(day):
            _refuse_day(cell, day, f"the day number {mark}, which is")
    shown = _SHOWN_DAY.fullmatch(mark)
    if shown and not _is_known_elsewhere(cell, mark):
        found = shown.groupdict()
        if found["year"]:
            days = _days(int(found["year"]), int(found["month"]), int(found["day"]))
        elif found["m"]:
            days = _days(2000, _MONTHS.index(found["m"].lower()) + 1, int(found["d"]))
        else:
            days = _days(2000 + int(found["y"]), _MONTHS.index((found["m2"] or "").lower()) + 1, 1)
        meant = [words for day in days for words in cell.known.read_as_day(day) if fold(words) != fold(mark)]
        offer = f"; it may be {_either(meant)}" if meant else ""
        raise CellRefused("a spreadsheet has made a date of it", f"{_AS_TEXT}{offer}")


def _is_known_elsewhere(cell: Cell, mark: str) -> bool:
    return mark in cell.known and not cell.column.key


def _days(year: int, month: int, day: int) -> list[date]:
    try:
        return [date(year, month, day)]
    except ValueError:
        return []


def _either(marks: list[str]) -> str:
    marks = marks[:5]
    return marks[0] if len(marks) == 1 else f"{'; '.join(marks[:-1])} or {marks[-1]}"

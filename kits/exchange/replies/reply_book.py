"""A shortage workbook that comes back: its filled-in rows, and what of each cell could not be read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.exchange.columns.layout import Column, fold_heading
from kits.exchange.files.file_guard import kind_of_file
from kits.exchange.files.raw_sheets import FileRefused, RawRow, RawSheet, Unread, is_blank
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.files.text_reader import read_text_file
from kits.exchange.files.workbook_reader import read_workbook
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.cells.readers import read_cell
from kits.exchange.replies.reply_words import PACK, count_in, is_pack, money_in, says_no_bid
from kits.exchange.workbooks.shortage_book import AS_OF, STAMP
from kits.purchasing.models import RequestLine

SHORTAGES, REQUEST, EXPEDITE = "Shortages", "Request", "Expedite"
LOOKED_AT = 30
TOO_MANY = Decimal(10) ** 12

_SHORTAGE_COLUMNS = (
    Column("Key", longest=300),
    Column("Our number", "part"),
    Column("Short", "stock"),
    Column("Unit", "unit"),
    Column("Pack", "quantity"),
    Column("Suggested packs", "whole"),
    Column("Supplier", longest=200),
    Column("Supplier's number", longest=100),
    Column("Lead, working days", "whole", most=2_000),
    Column("Reply: supplier", longest=200),
    Column("Reply: quote", "money"),
    Column("Reply: valid to", "day"),
    Column("Reply: promised", "day"),
    Column("Reply: quantity", "quantity"),
    Column("Reply: note", longest=400),
)
_EXPEDITE_COLUMNS = (
    Column("Order", longest=100),
    Column("Line", longest=50),
    Column("Our number", "part"),
    Column("Promised", "day"),
    Column("Reply: new promise", "day"),
    Column("Reply: note", longest=400),
)
_REQUEST_COLUMNS = (
    Column("Key", longest=300),
    Column("Our number", "part"),
    Column("Reply: quote", "money", also=("Price per pack",)),
    Column("Reply: pack", "quantity", also=("Pack size",)),
    Column("Reply: quantity", "quantity", also=("Packs",)),
    Column("Reply: promised", "day", also=("Promised at our door",)),
    Column("Reply: rest on", "day", also=("The rest on",)),
    Column("Reply: alternative", "mark", also=("Alternative number",), longest=100),
    Column("Reply: no bid", also=("No bid",)),
    Column("Reply: note", longest=400, also=("Your note",)),
    Column("Reply: valid to", "day", also=("Price holds until",)),
    Column("Reply: from packs", "whole", also=("From packs",)),
    Column("Reply: price then", "money", also=("price per pack from there",)),
    Column("Reply: from packs, next", "whole", also=("From packs, next",)),
    Column("Reply: price then, next", "money", also=("price per pack from there, next",)),
)
COLUMNS = {SHORTAGES: _SHORTAGE_COLUMNS, EXPEDITE: _EXPEDITE_COLUMNS, REQUEST: _REQUEST_COLUMNS}
NO_BID, _CHOSEN = "Reply: no bid", frozenset({"x", "yes", "y", "1", "true"})
_HOW_TO_SAVE = "take the workbook that was sent, and save it as .xlsx"


@dataclass(slots=True)
class FilledRow:
    """One filled-in row: what was read by column, and how.

    ``notes`` are sentences on how cells were read, ``unread`` those on cells that were not read, by column.
    ``asked`` is the line of a request that the row answers, ``remarks`` what is to be known of it. ``counts`` is
    what the quantity counts where that is said (packs, or a unit) and ``pack_stated`` what one of the packs holds;
    ``price_is_for`` what the price is for, ``currencies`` those it may be in; ``refused`` that there is no bid, in
    the supplier's words.
    """

    sheet: str
    row: int
    values: dict[str, object]
    notes: list[str] = field(default_factory=list)
    unread: dict[str, str] = field(default_factory=dict)
    counts: str = ""
    pack_stated: str = ""
    price_is_for: str = ""
    currencies: tuple[str, ...] = ()
    refused: str = ""
    asked: RequestLine | None = None
    remarks: list[str] = field(default_factory=list)

    @property
    def damaged(self) -> bool:
        """Whether something that the supplier wrote could not be read."""
        return any(name.startswith("Reply:") for name in self.unread)

    def text(self, column: str) -> str:
        """A text, empty for a blank."""
        value = self.values.get(column)
        return "" if value is None else str(value)

    def number(self, column: str) -> Decimal | None:
        """A number, None for a blank."""
        value = self.values.get(column)
        return Decimal(value) if isinstance(value, int | Decimal) else None

    def day(self, column: str) -> date | None:
        """A day, None for a blank."""
        value = self.values.get(column)
        return value if isinstance(value, date) else None

    @property
    def replies(self) -> bool:
        """Whether the supplier wrote anything into the row."""
        said = any(name.startswith("Reply:") and value is not None for name, value in self.values.items())
        return self.damaged or said or bool(self.refused)


@dataclass(frozen=True, slots=True)
class ReplyBook:
    """Everything a reply says: its rows, the day and the stamp it was written with, and what to know of it."""

    rows: tuple[FilledRow, ...]
    written_on: date | None
    stamp: str
    remarks: tuple[str, ...]
    sheets: frozenset[str]

    @property
    def digest(self) -> str:
        """What tells this reply from any other, however its rows are sorted and by whatever program it was saved."""
        rows = sorted(
            repr((row.sheet, sorted(row.values.items()), row.notes, sorted(row.unread.items()), row.refused))
            for row in self.rows
        )
        return hashlib.sha256(repr((self.written_on, self.stamp, rows)).encode()).hexdigest()


def read_reply(file: SheetFile, known: KnownMarks, today: date) -> ReplyBook:
    """Read a reply, or refuse the file as a whole; a damaged cell damages only itself."""
    try:
        is_book = kind_of_file(file.content, file.name) == "workbook"
        sheets = (read_workbook if is_book else read_text_file)(file.content, file.name)
    except FileRefused as refused:
        raise Refusal(f"{file.name}: {refused.reason}: {refused.remedy}.") from refused
    remarks: list[str] = []
    rows: list[FilledRow] = []
    found: set[str] = set()
    for sheet in sheets:
        name = _which(sheet)
        if name is None:
            continue
        if name in found:
            remarks.append(f"Sheet {sheet.name} is a second sheet of {name}; its rows were read too.")
        found.add(name)
        remarks += _hidden_says(sheet)
        rows += _read_rows(sheet, name, known, today)
    if not found:
        says = "no sheet has the columns Key and Reply: promised"
        raise Refusal(f"{file.name} is no shortage workbook, for {says}: {_HOW_TO_SAVE}.")
    about = next((sheet for sheet in sheets if sheet.name.casefold() == "about"), None)
    written_on, stamp = _about(about)
    return ReplyBook(tuple(rows), written_on, stamp, tuple(remarks), frozenset(found))


def _heading_row(sheet: RawSheet, columns: tuple[Column, ...]) -> int | None:
    """Where the headings stand: the row that has the key and something to reply in."""
    wanted = set(_by_heading(columns))
    for place, row in enumerate(sheet.rows[:LOOKED_AT]):
        there = {fold_heading(value) for value in row.values if isinstance(value, str)}
        own = there & wanted
        if {fold_heading(columns[0].name), fold_heading(columns[-2].name)} <= own or len(own) >= 6:
            return place
    return None


def _by_heading(columns: tuple[Column, ...]) -> dict[str, Column]:
    """The columns by the headings that they may have."""
    return {fold_heading(words): column for column in columns for words in (column.name, *column.also)}


def _which(sheet: RawSheet) -> str | None:
    return next((name for name, columns in COLUMNS.items() if _heading_row(sheet, columns) is not None), None)


def _hidden_says(sheet: RawSheet) -> Iterator[str]:
    if sheet.hidden:
        yield f"Sheet {sheet.name} is hidden; it was read all the same."
    hidden = sum(row.hidden for row in sheet.rows)
    if hidden:
        yield f"Sheet {sheet.name} has {hidden} hidden row{'s' if hidden > 1 else ''}, read all the same."
    if sheet.merged:
        yield (
            f"Sheet {sheet.name} has merged cells ({', '.join(sheet.merged[:3])}): "
            "only their first row holds the value, so look whether the others lack theirs."
        )
    yield from (f"Sheet {sheet.name}: {remark}." for remark in sheet.remarks)


def _read_rows(sheet: RawSheet, name: str, known: KnownMarks, today: date) -> Iterator[FilledRow]:
    place = _heading_row(sheet, COLUMNS[name])
    assert place is not None
    by_heading = _by_heading(COLUMNS[name])
    columns = [
        (position, by_heading[heading])
        for position, value in enumerate(sheet.rows[place].values)
        if isinstance(value, str) and (heading := fold_heading(value)) in by_heading
    ]
    for row in sheet.rows[place + 1 :]:
        stated = _read_row(row, name, columns, known, today, sheet.from_text)
        if stated.values or stated.unread or stated.refused:
            yield stated


def _read_row(
    row: RawRow, name: str, columns: list[tuple[int, Column]], known: KnownMarks, today: date, from_text: bool
) -> FilledRow:
    stated = FilledRow(name, row.number, {})
    for position, column in columns:
        value = row.values[position] if position < len(row.values) else None
        if is_blank(value) or _is_no_bid(stated, column, value):
            continue
        if (bare := _bare(stated, column, value)) is None:
            continue
        cell = Cell(bare, column, known, row.formats.get(position, ""), today, from_text)
        try:
            read = read_cell(cell)
            if column.name == NO_BID:
                raise CellRefused("it says neither no bid nor that there is one", "choose no bid, or clear it")
            if isinstance(read, Decimal) and read >= TOO_MANY:
                raise CellRefused("it is too large to be meant", "write it in digits")
            stated.values[column.name] = read
        except CellRefused as refused:
            says = f"{column.name} is “{quote_cell(value)}”: {refused.reason}; {refused.remedy}.".replace("; .", ".")
            stated.unread[column.name] = says
            continue
        stated.notes += [f"{column.name} “{quote_cell(value)}”: {note}." for note in cell.notes]
    return stated


def _is_no_bid(stated: FilledRow, column: Column, value: object) -> bool:
    """Whether a cell says that there is no bid; what is added in the note stays there."""
    if column.name == NO_BID and fold(str(value)) in _CHOSEN:
        stated.refused = "no bid"
        return True
    if not (column.name.startswith("Reply:") and isinstance(value, str) and says_no_bid(value)):
        return False
    stated.refused = stated.refused or value.strip()
    return column.name != "Reply: note"


def _bare(stated: FilledRow, column: Column, value: object) -> object:
    """The number alone of a price or a quantity with words that are known; None for a unit that is a pack."""
    if not isinstance(value, str):
        return value
    if column.name == "Reply: quote" and (money := money_in(value)):
        stated.currencies, stated.price_is_for = money.currencies, money.is_for
        return money.number
    if column.name.startswith("Reply: price then") and (money := money_in(value)):
        return money.number
    if column.name == "Reply: quantity" and (count := count_in(value)):
        stated.counts, stated.pack_stated = count.of, count.each_holds
        return count.number
    if column.name == "Unit" and is_pack(value):
        stated.values[column.name] = PACK
        return None
    return value


def quote_cell(value: object) -> str:
    """A cell as it is quoted in a sentence."""
    if isinstance(value, Unread):
        return value.says.removeprefix("the error ")
    return value.date().isoformat() if isinstance(value, datetime) else str(value)


def _about(sheet: RawSheet | None) -> tuple[date | None, str]:
    """The day and the stamp that the workbook was written with, as far as they are still there."""
    facts = {
        str(row.values[0]): row.values[1]
        for row in (sheet.rows if sheet else ())
        if len(row.values) > 1 and row.values[0] is not None
    }
    day, stamp = facts.get(AS_OF), facts.get(STAMP)
    written_on = day.date() if isinstance(day, datetime) else day if isinstance(day, date) else None
    return written_on, str(stamp or "")

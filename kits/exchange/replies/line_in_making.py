"""One line of a reply in the making, and what it is compared with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from kits.catalog.days.doubts import DayDoubts
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.replies.reply_book import EXPEDITE, FilledRow
from kits.exchange.replies.reply_questions import (
    LINE,
    PART,
    PRICE,
    PROMISED,
    QUANTITY,
    REFUSED,
    SUPPLIER,
    Questions,
)
from kits.exchange.replies.reply_words import PACK
from kits.exchange.workbooks.shortage_lines import ShortageLine
from kits.purchasing.models import OrderLine, ReplyLine, Supplier

ASK_SUPPLIER = "correct it, or ask the supplier whether it is meant"
ALL_THE_SAME = ("take it up all the same", {"line": "yes"})
_TOPICS = {
    "Our number": PART,
    "Key": PART,
    "Reply: supplier": SUPPLIER,
    "Supplier": SUPPLIER,
    "Pack": PRICE,
    "Reply: quote": PRICE,
    "Reply: pack": PRICE,
    "Reply: from packs": PRICE,
    "Reply: price then": PRICE,
    "Reply: from packs, next": PRICE,
    "Reply: price then, next": PRICE,
    "Reply: alternative": PART,
    "Reply: no bid": REFUSED,
    "Unit": QUANTITY,
    "Reply: quantity": QUANTITY,
    "Reply: promised": PROMISED,
    "Reply: rest on": PROMISED,
    "Reply: new promise": PROMISED,
}
"""What a cell that could not be read leaves open."""


@dataclass(slots=True)
class ReplyContext:
    """What rows are compared with: today's lines, the shop's numbers and suppliers, and what their offers cost."""

    lines: Mapping[str, ShortageLine]
    known: KnownMarks
    odd: DayDoubts
    jump: Decimal
    currency: str
    suppliers: Mapping[str, Supplier] = field(default_factory=dict)
    costs: Mapping[tuple[int, int], Decimal] = field(default_factory=dict)
    count: Counter[str] = field(default_factory=Counter)
    stated: Mapping[str, Decimal] = field(default_factory=dict)
    seen: Counter[str] = field(default_factory=Counter)


class LineInMaking:
    """One line in the making."""

    key: str

    def __init__(self, row: FilledRow) -> None:
        self.row = row
        self.key = ""
        self.item: Item | None = None
        self.order_line: OrderLine | None = None
        self.remarks: list[str] = []
        self.questions = Questions()
        self.stated: dict[str, str] = {"note": row.text("Reply: note")}
        self.before: dict[str, str] = {}
        for column, says in row.unread.items():
            self.questions.ask(_TOPICS.get(column, LINE), says, *([] if column in _TOPICS else [ALL_THE_SAME]))

    def finished(self) -> ReplyLine:
        """The line as it is kept."""
        return ReplyLine(
            row=self.row.row,
            sheet=self.row.sheet,
            key=self.key[:300],
            item=self.item,
            order_line=self.order_line,
            asked_line=self.row.asked,
            stated={name: said for name, said in self.stated.items() if said},
            before=self.before,
            notes=self.row.notes,
            remarks=self.remarks,
            questions=self.questions.as_json(),
        )


def key_of(row: FilledRow) -> str:
    """What tells what a row is about from any other, however it is spelled."""
    if row.sheet == EXPEDITE:
        return f"{row.text('Order')} / {row.text('Line')}"
    return fold(row.text("Key"))


def pieces_of(row: FilledRow, known: ShortageLine | None) -> Decimal | None:
    """How many pieces a row is about, where it says whether it counts packs."""
    number = row.number("Reply: quantity")
    return number * pack_of(row, known) if number is not None and row.counts == PACK else number


def pack_of(row: FilledRow, known: ShortageLine | None) -> Decimal:
    """What one pack holds: as written after the quantity, else in the column Pack, else as it was asked for."""
    stated = Decimal(row.pack_stated) if row.pack_stated.isdecimal() and int(row.pack_stated) else None
    return stated or row.number("Pack") or (known.pack_size if known else Decimal(1))

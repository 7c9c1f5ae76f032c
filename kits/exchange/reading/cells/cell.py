"""A cell on its way from what a spreadsheet holds to what the shop means by it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from kits.exchange.columns.layout import Column

if TYPE_CHECKING:
    from kits.exchange.reading.cells.known_marks import KnownMarks


_OPENINGS = frozenset({"The", "There", "Nothing"})


class CellRefused(Exception):
    """What stands in the cell cannot be meant: why, and the remedy."""

    def __init__(self, reason: str, remedy: str) -> None:
        self.reason = reason
        self.remedy = remedy
        super().__init__(f"{reason}: {remedy}")


def reason_and_remedy(error: Exception, otherwise: str) -> tuple[str, str]:
    """A sentence such as ``The unit 'x' is not known: write each or mm.`` in its two halves.

    The page of an upload shows them in two columns; ``otherwise`` is the remedy of a sentence that names none.
    """
    reason, colon, remedy = str(error).rstrip(".").rpartition(": ")
    return (begin_small(reason), remedy) if colon else (begin_small(remedy), otherwise)


def begin_small(sentence: str) -> str:
    """A sentence as it goes on after the place it is about: its opening word in small letters, names as they are."""
    first, space, rest = sentence.partition(" ")
    return f"{first.lower()}{space}{rest}" if first in _OPENINGS else sentence


@dataclass(slots=True)
class Cell:
    """One filled cell with its column, the format its number is shown in, and the names known for such a column.

    ``notes`` says in sentences how it was read where that is not plain; ``tags`` marks readings that are right only
    if the rest of the column agrees.
    """

    value: object
    column: Column
    known: KnownMarks
    number_format: str = ""
    today: date = date.max
    in_text_file: bool = False
    notes: list[str] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)

"""A sheet as it came out of a file, before anything is made of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from kits.catalog.folding import without_turns
from kits.exchange.files.codepages import TextReading


class FileRefused(Exception):
    """The file as a whole cannot be read: why, and what to do."""

    def __init__(self, reason: str, remedy: str) -> None:
        self.reason = reason
        self.remedy = remedy
        super().__init__(f"{reason}: {remedy}.")


@dataclass(frozen=True, slots=True)
class Unread:
    """What stands in a cell that holds no value: a formula whose result was never stored, or an error such as #N/A."""

    says: str

    def __str__(self) -> str:
        return self.says


NO_RESULT = Unread("formula without a stored result")
"""In place of the value of a formula that the program which wrote the file has not worked out."""


_NO_FORMATS: dict[int, str] = {}  # shared by the many rows that have none, and never written to


@dataclass(slots=True)
class RawRow:
    """One row: its number in the file, its values by column position, and the formats of the numbers among them."""

    number: int
    values: list[object]
    formats: Mapping[int, str] = field(default_factory=lambda: _NO_FORMATS)
    hidden: bool = False


@dataclass(slots=True)
class RawSheet:
    """One sheet of a file: name, filled rows, and what a spreadsheet shows but does not hand over with the values."""

    file: str
    name: str
    rows: list[RawRow]
    merged: tuple[str, ...] = ()
    hidden: bool = False
    hidden_columns: frozenset[int] = frozenset()
    remarks: tuple[str, ...] = ()
    from_text: bool = False
    text: TextReading | None = None
    opening: str = ""


def is_blank(value: object) -> bool:
    """Whether a cell holds nothing that can be seen."""
    return value is None or (
        isinstance(value, str) and not without_turns(value).strip("\u200b\ufeff \t\r\n\u00a0\u2007\u202f")
    )

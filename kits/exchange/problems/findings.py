"""What is wrong with a sheet, and what was read otherwise than it stood: values, collected, never the first only."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time
from decimal import Decimal

from bom.reading import NeverAsked
from kits.catalog.folding import fold
from kits.exchange.columns.layout import fold_heading
from kits.exchange.files.codepages import TextReading
from kits.exchange.problems.asked import StrangeSheet, UnknownList

MOST_PROBLEMS = 10_000
NO_ITEM = "there is no item "
IF_MEANT = "correct it, or say that it is meant"
_LONGEST_WRITTEN_OUT = 1e30
_LONG_WORD = re.compile(r"\S{61,}")


CellPlace = tuple[str, str, int | None, str]
"""File, sheet, row and column of a cell."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that keeps a file from being loaded: where it stands, what it is, why it cannot be, what to do.

    ``value`` is what was typed into the cell, ``heading`` what was typed above its column.
    """

    sheet: str
    row: int | None
    column: str
    value: str
    reason: str
    remedy: str
    file: str = ""
    heading: str = ""

    @property
    def cell(self) -> CellPlace:
        """The cell that it is about."""
        return self.file, self.sheet, self.row, self.column

    @property
    def where(self) -> str:
        """The place in words, such as ``items.csv, Items row 12, shelf_life_years``."""
        spot = self.sheet if self.row is None else f"{self.sheet} row {self.row}"
        return ", ".join(part for part in (self.file, spot.strip(), self._headed) if part)

    @property
    def _headed(self) -> str:
        """The heading as it was typed, and the name of its column where that is another word."""
        if not self.heading or not self.column:
            return self.column
        same = fold_heading(self.heading) == fold_heading(self.column)
        return self.heading if same else f"{self.heading} ({self.column})"

    @property
    def place(self) -> str:
        """The place in words without the file, for where there is only one; the file if it is wrong as a whole."""
        return replace(self, file="").where or self.file

    @property
    def says(self) -> str:
        """The whole problem as one sentence."""
        shown = f' "{self.value}"' if self.value else ""
        remedy = f": {self.remedy}" if self.remedy else ""
        return f"{self.where}{shown}: {self.reason}{remedy}."


@dataclass(frozen=True, slots=True)
class Remark:
    """Something read otherwise than it stood, or not read at all; it keeps nothing from being loaded."""

    sheet: str
    column: str
    reason: str
    rows: tuple[int, ...] = ()
    file: str = ""

    @property
    def says_here(self) -> str:
        """The remark without the file, where there is only one."""
        return (replace(self, file="") if self.sheet else self).says

    @property
    def says(self) -> str:
        """The remark as one sentence, with the first rows it is about."""
        shown = ", ".join(str(row) for row in self.rows[:5])
        more = f" and {len(self.rows) - 5} more" if len(self.rows) > 5 else ""
        rows = f" row{'s' if len(self.rows) > 1 else ''} {shown}{more}" if self.rows else ""
        place = ", ".join(part for part in (self.file, f"{self.sheet}{rows}".strip(), self.column) if part)
        return f"{place}: {self.reason}."


@dataclass(frozen=True, slots=True)
class MissingItem:
    """A part number that a list names and the shop does not have, with what the list says of it.

    ``alike`` names what the shop has and what looks like it.
    """

    number: str
    what: str
    unit: str
    kind: str
    alike: str


@dataclass(slots=True)
class Findings:
    """Collects the problems, questions and remarks of a whole load.

    A question is worded as a problem; it keeps the load waiting until somebody has said that it is meant.
    ``headings`` says by file and sheet what stands above which column, ``to_quote`` which cells are still to be quoted.
    ``described`` says what a list calls a part, and in which unit it counts it, by folded number.
    """

    problems: list[Problem] = field(default_factory=list)
    questions: list[Problem] = field(default_factory=list)
    strange: list[StrangeSheet] = field(default_factory=list)
    never_asked: list[NeverAsked] = field(default_factory=list)
    unknown: list[UnknownList] = field(default_factory=list)
    texts: list[TextReading] = field(default_factory=list)
    missing: list[MissingItem] = field(default_factory=list)
    described: dict[str, tuple[str, str]] = field(default_factory=dict)
    beyond: int = 0
    headings: dict[tuple[str, str], Mapping[str, str]] = field(default_factory=dict)
    to_quote: set[CellPlace] = field(default_factory=set)
    _remarks: dict[tuple[str, str, str, str], list[int]] = field(default_factory=dict)

    def refuse(
        self, sheet: str, row: int | None, column: str, value: object, reason: str, remedy: str, file: str = ""
    ) -> None:
        """Note a problem; beyond some thousands they are only counted, for nobody reads on."""
        if len(self.problems) < MOST_PROBLEMS:
            reason = _LONG_WORD.sub(lambda long: quote_value(long[0]), reason)
            self.problems.append(Problem(sheet, row, column, quote_value(value), reason, remedy, file))
        else:
            self.beyond += 1

    def ask(self, sheet: str, row: int | None, column: str, doubt: str, file: str = "", remedy: str = IF_MEANT) -> None:
        """Note something that can be stored as it stands, but can hardly be meant."""
        self.questions.append(Problem(sheet, row, column, "", doubt, remedy, file))
        self.to_quote.add(self.questions[-1].cell)

    def remark(self, sheet: str, column: str, reason: str, row: int | None = None, file: str = "") -> None:
        """Note a remark; equal remarks of one column are gathered with their rows."""
        rows = self._remarks.setdefault((file, sheet, column, reason), [])
        if row is not None:
            rows.append(row)

    def describe(self, number: str, what: str, unit: str) -> None:
        """Note what a list calls a part, for when the shop does not have it."""
        self.described.setdefault(fold(number), (what, unit))

    def copy(self) -> Findings:
        """The same findings, to be added to without touching these."""
        return copy.deepcopy(self)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """All remarks in the order in which they were first made."""
        return tuple(
            Remark(sheet, column, reason, tuple(rows), file)
            for (file, sheet, column, reason), rows in self._remarks.items()
        )


def quote_value(value: object, number_format: str = "", longest: int = 60) -> str:
    """A cell's value as it is quoted in a sentence: short, on one line, with stray characters visible."""
    if isinstance(value, bool):
        value = str(value).upper()
    if isinstance(value, (int, float)) and "%" in number_format:
        value = f"{Decimal(str(value)) * 100:f}".rstrip("0").rstrip(".") + "%"
    if isinstance(value, datetime) and value.time() == time(0):
        value = value.date()
    if isinstance(value, float) and value.is_integer() and abs(value) < _LONGEST_WRITTEN_OUT:
        # Fifteen digits, then zeros: as the spreadsheet shows it, and not as a power of ten.
        value = int(Decimal(f"{value:.15g}"))
    text = "" if value is None else str(value)[: 10 * longest]
    text = text.replace("\u00a0", "[no-break space]").replace("\n", " ").replace("\r", " ").replace("\t", "[tab]")
    text = "".join(mark if mark.isprintable() else "?" for mark in text)
    return text if len(text) <= longest else text[: longest - 3] + "..."

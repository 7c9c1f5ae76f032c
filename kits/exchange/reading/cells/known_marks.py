"""The numbers and names a shop already uses, asked backwards: which of them could this damaged cell have been?"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from datetime import date
from functools import cached_property

from kits.catalog.folding import fold

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_MONTHS = {
    name: number for number, name in enumerate("jan feb mar apr may jun jul aug sep oct nov dec".split(), start=1)
}
_ALIKE = str.maketrans({"o": "0", "i": "1", "l": "1", "|": "1"})
_PIECES = re.compile(r"[-/. ]+")
_LETTERS_DIGITS = re.compile(r"([a-z]+)(\d+)|(\d+)([a-z]+)")

Day = tuple[int | None, int, int | None]
"""Year within its century, month, day of the month; None where the text leaves it open."""


class KnownMarks:
    """A set of known numbers or names. ``also`` gives other numbers of the same thing, offered with its own."""

    def __init__(self, marks: Iterable[str] = (), also: dict[str, str] | None = None) -> None:
        self._also = {fold(other): own for other, own in (also or {}).items()}
        self._marks: dict[str, str] = {}
        self._others = tuple((also or {}).items())
        for mark in dict.fromkeys(marks):
            self._marks.setdefault(fold(mark), mark)

    def with_marks(self, marks: Iterable[str]) -> KnownMarks:
        """These marks and more, with the same other numbers."""
        return KnownMarks([*self._marks.values(), *marks], dict(self._others))

    def __contains__(self, mark: str) -> bool:
        return fold(mark) in self._marks

    def spelled(self, mark: str) -> str:
        """The mark as the shop spells it."""
        return self._marks.get(fold(mark), mark)

    def owner(self, other_number: str) -> str:
        """Whose other number this is, or an empty text."""
        return self._also.get(fold(other_number), "")

    @cached_property
    def _offers(self) -> list[tuple[str, str]]:
        """Every mark that could have been typed, with the words in which it is offered."""
        own = [(mark, mark) for mark in self._marks.values()]
        return own + [(other, f"{other}, another number of {number}") for other, number in self._others]

    @cached_property
    def _by_number(self) -> dict[float, list[tuple[str, str]]]:
        found: dict[float, list[tuple[str, str]]] = {}
        for mark, words in self._offers:
            if _NUMBER.fullmatch(mark) and len(mark) < 40:
                found.setdefault(float(mark), []).append((mark, words))
        return found

    @cached_property
    def _by_day(self) -> dict[Day, list[str]]:
        found: dict[Day, list[str]] = {}
        for mark, words in self._offers:
            for day in days_read_into(mark):
                found.setdefault(day, []).append(words)
        return found

    @cached_property
    def _by_look(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for folded, mark in self._marks.items():
            found.setdefault(_look(folded), []).append(mark)
        return found

    def looking_like(self, mark: str) -> list[str]:
        """The other known marks that differ from this one in O and 0, or in I, l and 1, alone."""
        return [known for known in self._by_look.get(_look(fold(mark)), ()) if fold(known) != fold(mark)]

    def read_as_number(self, value: float) -> list[str]:
        """The known marks that a spreadsheet turns into this number and that do not look like it."""
        plain = plain_number(value)
        return [words for mark, words in self._by_number.get(float(value), ()) if mark != plain]

    def read_as_day(self, day: date) -> list[str]:
        """The known marks that a spreadsheet turns into this day."""
        year = day.year % 100
        asked: list[Day] = [(year, day.month, day.day), (None, day.month, day.day)]
        if day.day == 1:
            asked.append((year, day.month, None))
        found = [words for key in asked for words in self._by_day.get(key, ())]
        return list(dict.fromkeys(found))

    def alike(self, mark: str, most: int = 3) -> list[str]:
        """Known marks that look like this one: first O for 0 and I for 1, then lost zeros, then near spellings."""
        if owner := self.owner(mark):
            return [owner]
        folded = fold(mark)
        found = list(self._by_look.get(_look(folded), ()))
        if not found and _NUMBER.fullmatch(mark) and len(mark) < 40:
            found = self.read_as_number(float(mark))
        if not found:
            squeezed = folded.replace(" ", "").replace("-", "")
            found = [own for known, own in self._marks.items() if known.replace(" ", "").replace("-", "") == squeezed]
        if not found and len(self._marks) <= 5000:
            near = difflib.get_close_matches(folded, self._marks, n=most, cutoff=0.75)
            found = [self._marks[known] for known in near]
        return found[:most]


def plain_number(value: float) -> str:
    """A number as text with the 15 digits that a spreadsheet keeps and no more."""
    if isinstance(value, int) or value.is_integer():
        return str(int(value))
    return format(value, ".15g")


def days_read_into(mark: str) -> set[Day]:
    """The days that a spreadsheet may make of a text, whichever country it is set to."""
    pieces = [piece for piece in _PIECES.split(mark.casefold()) if piece]
    if len(pieces) == 1 and (parts := _LETTERS_DIGITS.fullmatch(pieces[0])):
        pieces = [piece for piece in parts.groups() if piece]
    if not 2 <= len(pieces) <= 3 or any(len(piece) > 9 for piece in pieces):
        return set()
    months = [_MONTHS.get(piece[:3]) if piece.isalpha() else None for piece in pieces]
    if any(piece.isalpha() and month is None for piece, month in zip(pieces, months, strict=True)):
        return set()
    if any(not piece.isalpha() and not piece.isdecimal() for piece in pieces):
        return set()
    named = [month for month in months if month]
    numbers = [int(piece) for piece in pieces if piece.isdecimal()]
    if len(named) > 1:
        return set()
    return _with_named_month(named[0], numbers) if named else _without_named_month(numbers)


def _with_named_month(month: int, numbers: list[int]) -> set[Day]:
    if len(numbers) == 1:
        found: set[Day] = {(numbers[0] % 100, month, None)}
        return found | ({(None, month, numbers[0])} if 1 <= numbers[0] <= 31 else set())
    first, second = numbers
    return {(year % 100, month, day) for day, year in ((first, second), (second, first)) if 1 <= day <= 31}


def _without_named_month(numbers: list[int]) -> set[Day]:
    found: set[Day] = set()
    if len(numbers) == 2:
        for month, other in (numbers, numbers[::-1]):
            if 1 <= month <= 12:
                found.add((other % 100, month, None))
                if 1 <= other <= 31:
                    found.add((None, month, other))
        return found
    first, second, third = numbers
    for year, month, day in ((third, second, first), (third, first, second), (first, second, third)):
        if 1 <= month <= 12 and 1 <= day <= 31:
            found.add((year % 100, month, day))
    return found


def _look(folded: str) -> str:
    return folded.translate(_ALIKE)

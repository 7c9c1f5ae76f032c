"""The words that suppliers write after numbers, and in place of them: refusals, currencies, packs, alternatives."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from bom.errors import BomError
from bom.structure.units import unit_named
from kits.catalog.folding import fold
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.cells.words import PACKS

EACH = "each"
PACK = "pack"
_REFUSALS = re.compile(
    r"(no[ -]?(bid|quote|quotation|offer)|n\.?/?b\.?$|not (quoted|offered|available from us)"
    r"|(cannot|can't|can not|unable to|won't|will not|do not|don't) (bid|quote|offer|supply|deliver)"
    r"|(we )?(must )?(decline|declined|regret|pass))(?!\w)"
)
_ALTERNATIVES = re.compile(
    r"\b(alternatives?|alternativ\w*|equivalents?|instead|in place of|in lieu of|substitutes?|substituted|replaced? by"
    r"|replaces|replacement|superseded|successor|similar|we offer|offered as|or equal)\b"
)
_SIGNS = {"€": ("EUR",), "£": ("GBP",), "$": ("USD", "CAD", "AUD", "NZD", "SGD", "HKD"), "¥": ("JPY", "CNY")}
_CODES = frozenset("EUR GBP USD CAD AUD NZD SGD HKD JPY CNY CHF SEK NOK DKK PLN CZK HUF RON TRY INR KRW".split())
_BETWEEN = frozenset({"/", "per", "a", "of", "x", "@"})
_PIECES = frozenset("no nos off stk st pce pces unit units".split())
_NUMBER = re.compile(r"[+-]?\d(?:[\d.,'\u00a0\u2009\u202f ]*\d)?")
_WORD = re.compile(r"[^\W\d_]+|\S")
_VALID_DAY = re.compile(r"\bvalid(?:ity)?\b[^\d]{0,20}(\d{4}-\d{2}-\d{2})")
_VALID_SPAN = re.compile(r"\bvalid(?:ity)?\b[^\d]{0,12}(\d{1,3})\s*(days?|weeks?|months?)\b")
_DAYS_IN = {"d": 1, "w": 7, "m": 30}
_LONGEST_NUMBER = 3
"""Words that a part number may consist of."""


@dataclass(frozen=True, slots=True)
class StatedPrice:
    """A price as it was written: its number, the currencies it may be in, and what it is for where that is said."""

    number: str
    currencies: tuple[str, ...]
    is_for: str


@dataclass(frozen=True, slots=True)
class StatedCount:
    """How many as it was written: the number, what is counted (packs, or a unit), and what one of the packs holds."""

    number: str
    of: str
    each_holds: str


def says_no_bid(text: str) -> bool:
    """Whether the text begins by saying that there is no bid."""
    return _REFUSALS.match(fold(text)) is not None


def says_alternative(note: str) -> bool:
    """Whether a note speaks of something else than what was asked for."""
    return _ALTERNATIVES.search(fold(note)) is not None


def money_in(text: str) -> StatedPrice | None:
    """A price with the words around it, or None where one of them is strange."""
    numbers, words = _parted(text)
    if len(numbers) != 1 or not words:
        return None
    currencies: tuple[str, ...] = ()
    is_for = ""
    for word in words:
        if word in _SIGNS or word.upper() in _CODES:
            currencies = _SIGNS.get(word) or (word.upper(),)
        elif found := _counted(word):
            is_for = found
        elif word not in _BETWEEN:
            return None
    return StatedPrice(numbers[0], currencies, is_for)


def count_in(text: str) -> StatedCount | None:
    """A quantity with the word for what is counted, or None where one of the words is strange."""
    numbers, words = _parted(text)
    kinds = [kind for word in words if (kind := _counted(word))]
    strange = [word for word in words if not _counted(word) and word not in _BETWEEN]
    if strange or not kinds or len(numbers) > (2 if kinds[0] == PACK else 1) or not numbers:
        return None
    return StatedCount(numbers[0], kinds[0], numbers[1] if len(numbers) == 2 else "")


def is_pack(text: str) -> bool:
    """Whether a word means a pack."""
    return fold(text).rstrip(".") in PACKS


def numbers_in(text: str, known: KnownMarks) -> list[str]:
    """The part numbers of the shop that a text names, by their own or by other numbers."""
    words = re.split(r"[\s,;:()\[\]“”\"']+", text)
    found: dict[str, str] = {}
    for length in range(_LONGEST_NUMBER, 0, -1):
        for start in range(len(words) - length + 1):
            mark = " ".join(words[start : start + length]).strip(".")
            own = known.spelled(mark) if mark in known else known.owner(mark)
            if own and any(one.isdigit() for one in own):
                found.setdefault(fold(own), own)
    return list(found.values())


def validity_in(note: str, today: date) -> date | None:
    """Until when a note says that the price holds; months are of thirty days."""
    text = fold(note)
    if found := _VALID_DAY.search(text):
        try:
            return date.fromisoformat(found[1])
        except ValueError:
            return None
    span = _VALID_SPAN.search(text)
    return today + timedelta(days=int(span[1]) * _DAYS_IN[span[2][0]]) if span else None


def _parted(text: str) -> tuple[list[str], list[str]]:
    """The numbers of a text, and its words in small letters."""
    numbers = _NUMBER.findall(text)
    rest = _NUMBER.sub(" ", text)
    return numbers, [word.lower() for word in _words(rest)]


def _words(text: str) -> Iterator[str]:
    for word in _WORD.findall(text):
        if word != ".":
            yield word


def _counted(word: str) -> str:
    """What a word counts: packs, or a unit by its own name; empty for any other word."""
    if word in PACKS:
        return PACK
    if word in _PIECES:
        return EACH
    try:
        return unit_named(word)
    except BomError:
        return ""

"""The shape of an explanation: a number, the rule by which it follows from its parts, and the parts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from bom.buying.leads import NEVER
from bom.structure.arrays import as_date

Value = int | float | Fraction | Decimal | date | str | bool | None
Fact = int | float | date | str | None


class Unit(StrEnum):
    """What a value is counted in. ``PIECES`` are millionths of the stock unit, ``DAYS`` working days."""

    PIECES = "pieces"
    COUNT = "count"
    DAYS = "days"
    DAY = "day"
    CHANCE = "chance"
    EXPECTED = "expected"
    MONEY = "money"
    WORD = "word"


class Rule(StrEnum):
    """How a value follows from its parts. A part that is unknown makes days and their differences unknown."""

    GIVEN = "given"
    """Stands in a list; nothing below it."""
    SUM = "sum"
    """The parts added up, those marked ``less`` taken off."""
    NOT_BELOW_ZERO = "not below zero"
    """The sum, or 0 where it would be less."""
    PRODUCT = "product"
    """The parts multiplied."""
    SHARE = "share"
    """So much of the sum of the parts as the value says: the rest serves others."""
    FIRST = "first"
    """The first part; the others stood to choose."""
    LARGEST = "largest"
    SMALLEST = "smallest"
    HOW_MANY = "how many"
    """The number of parts."""
    BACK = "back"
    """The first part, a day, moved back by the second, working days."""
    FORWARD = "forward"
    """The first part, a day, moved forward by the second, working days."""
    WORKING_DAYS = "working days"
    """Working days from the first part to the second, none where it is not later."""
    ROUNDED_UP = "rounded up"
    """The first part divided by the second, up to the next whole number."""
    WHOLE_PACKS = "whole packs"
    """Net, pack size, minimum and multiple: the fewest packs that hold the net and meet both."""
    ROUNDED = "rounded"
    """The sum of the parts to the next whole number, half to even."""
    HALF_UP = "half up"
    """The sum of the parts to the next whole number, half up."""
    PER_HUNDRED = "per hundred"
    """The first part divided by 100."""
    LEARNED = "learned"
    """Found worn in so many inspected, after the rate entered, which counts as so many observations."""
    TOGETHER = "together"
    """The chance that at least one of the parts happens."""
    COVER = "cover"
    """The smallest number that is enough with the chance asked for, and never fewer than the day before."""
    ENOUGH = "enough"
    """The chance that what is left is enough for what the jobs may ask for."""
    SURE_FIRST = "sure first"
    """No chance: the parts, sure pieces, are not served from the shelf, so nothing there is left for wear."""
    WORST = "worst"
    """The worst state of the parts."""
    PACKED = "packed"
    """The state of what is packed here: that of its contents, its day of arrival against its day of need."""
    ANY = "any"
    """Whether there is a part at all."""
    FIRST_DAY_SHORT = "first day short"
    """The first day on which more is asked for than is here or comes by then."""
    ADVICE = "advice"
    """What to do with wear: by its day of need, the arrival of a purchase, the day to order by and the first strip."""


@dataclass(frozen=True, slots=True)
class Why:
    """One number of a plan and what it comes from.

    ``says`` names what the number is, ``facts`` whose it is: job, part, lot, order. ``less`` marks a part that is taken
    off. What is shown beside a number without entering into it stands in ``beside``.
    """

    says: str
    value: Value
    unit: Unit
    rule: Rule = Rule.GIVEN
    parts: tuple[Why, ...] = ()
    facts: tuple[tuple[str, Fact], ...] = ()
    less: bool = False
    beside: tuple[Why, ...] = ()

    def fact(self, name: str) -> Fact:
        """One fact, or None.

        Parameters
        ----------
        name : of the fact
        """
        return dict(self.facts).get(name)

    def part(self, says: str) -> Why:
        """The first part of that name.

        Parameters
        ----------
        says : what it is called in the tree

        Raises
        ------
        KeyError
            If there is none.
        """
        for part in self.parts:
            if part.says == says:
                return part
        raise KeyError(says)

    def nodes(self) -> Iterator[Why]:
        """Return the number itself and everything below and beside it."""
        yield self
        for part in (*self.parts, *self.beside):
            yield from part.nodes()

    def taken_off(self) -> Why:
        """The same, as a part that is taken off."""
        return replace(self, less=True)


def given(says: str, value: Value, unit: Unit, **facts: Fact) -> Why:
    """A number that stands in a list.

    Parameters
    ----------
    says : what it is called in the tree
    value : in the unit
    unit : of the value
    """
    return Why(says, value, unit, facts=_facts(facts))


def pieces(says: str, value: int, rule: Rule, parts: Iterable[Why] = (), **facts: Fact) -> Why:
    """A quantity that follows from its parts.

    Parameters
    ----------
    says : what it is called in the tree
    value : millionths
    rule : how the parts make it
    parts : what it is made of
    """
    return Why(says, int(value), Unit.PIECES, rule, tuple(parts), _facts(facts))


def whole(says: str, value: int, **facts: Fact) -> Why:
    """A quantity that stands in a list.

    Parameters
    ----------
    says : what it is called in the tree
    value : millionths
    """
    return given(says, int(value), Unit.PIECES, **facts)


def added(says: str, parts: Iterable[Why], **facts: Fact) -> Why:
    """Quantities added up, those marked ``less`` taken off.

    Parameters
    ----------
    says : what it is called in the tree
    parts : what it is made of
    """
    held = tuple(parts)
    return pieces(says, sum(signed(part) for part in held), Rule.SUM, held, **facts)


def signed(part: Why) -> int:
    """The value of a quantity as it enters a sum.

    Parameters
    ----------
    part : of a sum

    Raises
    ------
    TypeError
        If its value is no whole number of millionths.
    """
    if not isinstance(part.value, int):
        raise TypeError(f"'{part.says}' is no quantity.")
    return -part.value if part.less else part.value


def day(says: str, number: int | None, rule: Rule = Rule.GIVEN, parts: Iterable[Why] = (), **facts: Fact) -> Why:
    """A day; unknown where the day number is not known.

    Parameters
    ----------
    says : what it is called in the tree
    number : day number, None when unknown
    rule : how the parts make it
    parts : what it is made of
    """
    return Why(says, day_of(number), Unit.DAY, rule, tuple(parts), _facts(facts))


def day_of(number: int | None) -> date | None:
    """The day of a day number; None where it is not known.

    Parameters
    ----------
    number : day number, None when unknown
    """
    return None if number is None or number >= NEVER else as_date(number)


def _facts(facts: dict[str, Fact]) -> tuple[tuple[str, Fact], ...]:
    return tuple((name, fact) for name, fact in facts.items() if fact not in (None, ""))

"""What can be wrong with the input, as a small tree of exceptions that carry facts.

BomError
|-- UnitError          a unit is unknown, or has the wrong dimension
|-- ShelfLifeError     a cure date or a use-by date cannot be read
|-- QuantityError      a quantity is not a number, not positive, not whole, or too large
`-- ShopError          one or more ``Fault``s in the lists: cycles, unanswered options, scopes that open too much
"""

from __future__ import annotations

from dataclasses import dataclass


class BomError(Exception):
    """Base of every refusal of the engine: one sentence with the value, the rule and the remedy."""


class UnitError(BomError):
    """A unit is unknown, or does not have the dimension of the stock unit."""


class ShelfLifeError(BomError):
    """A cure date, a use-by date or a shelf life cannot be read."""


class QuantityError(BomError):
    """A quantity is not a number, not above zero, not whole where it must be, or too large."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, tied to where it was entered.

    Parameters
    ----------
    sheet : the list the entry belongs to, named as the workbook names it (``Structure``, ``Scopes``, ``Schedule``...)
    key : the natural key of the entry, as a tuple of texts in the order of the sheet's key columns
    column : the column at fault, or an empty text when it is the row as a whole
    says : one sentence: what is wrong, with the value, and what to do about it
    also : keys of other rows of the same sheet that are part of it
    """

    sheet: str
    key: tuple[str, ...]
    column: str
    says: str
    also: tuple[tuple[str, ...], ...] = ()


class ShopError(BomError):
    """The lists contradict a rule; ``faults`` names every place, never only the first."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("; ".join(fault.says for fault in faults))

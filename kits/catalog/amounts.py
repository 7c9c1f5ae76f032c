"""An amount as a page shows it: the exact number and the unit it is counted in."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kits.catalog.fields import quantity_text
from kits.catalog.formats.in_force import formats

COUNTED_IN_PIECES = "each"


@dataclass(frozen=True, slots=True)
class Amount:
    """Millionths of a stock unit, and that unit; pieces carry no unit, because nobody says "12 each"."""

    millionths: int
    unit: str = ""

    @classmethod
    def of(cls, millionths: int, stock_unit: str) -> Amount:
        """The amount of an item that is stocked in ``stock_unit``."""
        return cls(millionths, "" if stock_unit == COUNTED_IN_PIECES else stock_unit)

    def __bool__(self) -> bool:
        return self.millionths != 0

    @property
    def figure(self) -> str:
        """The number alone, without needless zeros, as the shop writes it."""
        return quantity_text(self.millionths)

    @property
    def text(self) -> str:
        """The number with its unit."""
        return f"{self.figure} {self.unit}".rstrip()


def price_text(price: Decimal) -> str:
    """A price with two decimals, or with as many more as it has: ``96.00``, ``0.125``."""
    plain = f"{price.normalize():f}"
    decimals = len(plain.partition(".")[2])
    return formats().number(f"{price:.{max(2, decimals)}f}")

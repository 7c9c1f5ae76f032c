"""A quote as it is said before it is stored: exact in cents, and honest about what nobody knows the price of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from bom.values import ONE
from kits.service.words import QuoteFor

CENT, EXACT = Decimal("0.01"), Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class LineSaid:
    """One line: ``quantity`` in millionths of ``unit``, ``unit_price`` None where nobody knows it."""

    what_for: QuoteFor
    item_id: int | None
    part_number: str
    says: str
    quantity: int
    unit: str
    unit_price: Decimal | None

    @property
    def price(self) -> Decimal | None:
        """The price of the line in cents, half a cent upwards."""
        return None if self.unit_price is None else in_cents(self.unit_price * self.quantity / ONE)


@dataclass(frozen=True, slots=True)
class QuoteSaid:
    """All lines of a quote with what they are held against; ``new_price`` is that of as many new pumps."""

    work: str
    lines: tuple[LineSaid, ...]
    currency: str
    ceiling_percent: Decimal
    new_price: Decimal | None

    @property
    def total(self) -> Decimal:
        """The sum of the lines whose price is known."""
        return sum((line.price for line in self.lines if line.price is not None), Decimal("0.00"))

    @property
    def unpriced(self) -> int:
        """How many lines have no price."""
        return sum(line.price is None for line in self.lines)

    @property
    def parts(self) -> Mapping[str, int]:
        """Millionths by part number, sure and found together."""
        found: dict[str, int] = {}
        for line in self.lines:
            if line.part_number and line.what_for != QuoteFor.HOURS:
                found[line.part_number] = found.get(line.part_number, 0) + line.quantity
        return found


def in_cents(money: Decimal) -> Decimal:
    """Money in whole cents, half a cent upwards."""
    return money.quantize(CENT, ROUND_HALF_UP)

"""What is to be bought, who offers it on which terms, and what was chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from bom.buying.charges import ChargeRules, OrderTotal

UNKNOWN_LATE = 1_000
"""Working days by which a delivery counts as late whose day nobody knows."""


@dataclass(frozen=True, slots=True)
class Want:
    """A part that is to be bought: millionths, the day on which it has to be here, and how many jobs wait for it."""

    part_number: str
    quantity: int
    need_on: date | None = None
    jobs: int = 1


class PackPrice(NamedTuple):
    """The price of a pack from so many packs on."""

    from_packs: int
    price: Decimal


class Delivery(NamedTuple):
    """The day on which the last of up to so many packs is here: packs None = however many, day None = not known."""

    up_to_packs: int | None
    arrives_on: date | None


@dataclass(frozen=True, slots=True)
class Bid:
    """What one supplier offers of a part.

    ``name`` tells the bid from all others. ``pack_size`` is in millionths; ``prices`` are price breaks for all units,
    lowest first. ``deliveries`` come in the order of their days; past the packs of the last one nothing is offered.
    """

    name: str
    supplier: str
    part_number: str
    pack_size: int
    prices: tuple[PackPrice, ...]
    deliveries: tuple[Delivery, ...]
    minimum_packs: int = 1
    multiple_packs: int = 1
    with_certificate: bool = False

    def price_for(self, packs: int) -> Decimal:
        """The price of one pack in an order of so many.

        Parameters
        ----------
        packs : how many packs
        """
        found = self.prices[0].price
        for from_packs, price in self.prices[1:]:
            if from_packs <= packs:
                found = price
        return found

    def arrives_on(self, packs: int) -> date | None:
        """The day on which the last of so many packs is here; None when nobody knows it.

        Parameters
        ----------
        packs : how many packs
        """
        return next(
            (day for up_to, day in self.deliveries if up_to is None or packs <= up_to), self.deliveries[-1].arrives_on
        )

    def packs_for(self, quantity: int) -> int | None:
        """The fewest packs that hold a quantity, as they are sold; None when so many are not offered.

        Parameters
        ----------
        quantity : millionths
        """
        packs = max(-(-quantity // self.pack_size), self.minimum_packs)
        packs = -(-packs // self.multiple_packs) * self.multiple_packs
        most = self.deliveries[-1].up_to_packs
        return packs if most is None or packs <= most else None


@dataclass(frozen=True, slots=True)
class Whole:
    """What one kit, or one assembly, holds: millionths by part.

    Up to ``most_made`` may be put together from parts, in ``packing_days`` working days; with ``may_open`` it may be
    bought and taken apart for them.
    """

    whole: str
    inside: Mapping[str, int]
    most_made: int = 0
    packing_days: int = 0
    may_open: bool = False


@dataclass(frozen=True, slots=True)
class Bidding:
    """Everything the choice is made from. ``shelf`` is what lies there free for kits that are put together.

    ``terms`` are what each supplier charges; an order below a minimum without a charge is not taken.
    """

    wants: tuple[Want, ...]
    bids: tuple[Bid, ...]
    terms: Mapping[str, ChargeRules] = field(default_factory=dict)
    wholes: tuple[Whole, ...] = ()
    shelf: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ChosenPacks:
    """So many packs of a bid: their price, the charges that fall on them, the day on which the last is here."""

    bid: Bid
    packs: int
    price: Decimal
    charges: Decimal
    arrives_on: date | None

    @property
    def landed(self) -> Decimal:
        """What the line costs in all."""
        return self.price + self.charges


@dataclass(frozen=True, slots=True)
class SupplierCosts:
    """What one supplier's part of a choice costs; ``is_refused`` where it stays below a minimum without a charge."""

    supplier: str
    order: OrderTotal
    is_refused: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """Lines by part number and supplier, what they cost, and how far they serve.

    ``late`` are working days by which parts come after their day of need, ``missing`` millionths that nothing covers.
    """

    lines: tuple[ChosenPacks, ...]
    suppliers: tuple[SupplierCosts, ...]
    late: Mapping[str, int]
    missing: Mapping[str, int]

    @property
    def total(self) -> Decimal:
        """What everything costs."""
        return sum((one.order.total for one in self.suppliers), Decimal(0))

    @property
    def refused(self) -> tuple[str, ...]:
        """Suppliers who would not take their part of it."""
        return tuple(one.supplier for one in self.suppliers if one.is_refused)


@dataclass(frozen=True, slots=True)
class CheapestSet:
    """The cheapest choice, the plain one beside it, and whether it is proved.

    ``made`` and ``opened`` count kits and assemblies that are put together or taken apart, by part number. ``gap`` is
    what a better choice could save at most, in money; None when the solver was cut off before it knew.
    """

    choice: Choice
    plain: Choice
    made: Mapping[str, int]
    opened: Mapping[str, int]
    is_proved: bool
    gap: Decimal | None

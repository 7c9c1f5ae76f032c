"""What a supplier charges beside the goods: for a small order, and for certificates."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")
NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class ChargeRules:
    """What a supplier charges beside the goods; None where it charges nothing, or does not say.

    ``order_minimum`` is the value of goods below which an order is small. A certificate is charged once for each line
    that asks for one.
    """

    order_minimum: Decimal | None = None
    small_order: Decimal | None = None
    certificate: Decimal | None = None


@dataclass(frozen=True, slots=True)
class OrderTotal:
    """What an order comes to: its goods, what is charged for a small order and for certificates.

    ``unpriced`` counts the lines without a price, which are in no sum.
    """

    goods: Decimal
    small_order: Decimal
    certificates: Decimal
    unpriced: int = 0
    below_minimum: bool = False

    @property
    def total(self) -> Decimal:
        """The goods with all charges."""
        return self.goods + self.small_order + self.certificates


def line_value(packs: int, price_per_pack: Decimal | None) -> Decimal | None:
    """Return what a line comes to, to the cent, half a cent upwards; None without a price.

    Parameters
    ----------
    packs : how many packs
    price_per_pack : price of one, None when not known
    """
    return None if price_per_pack is None else to_cent(packs * price_per_pack)


def to_cent(amount: Decimal) -> Decimal:
    """Return an amount of money to the cent, half a cent upwards.

    Parameters
    ----------
    amount : what is rounded
    """
    return amount.quantize(CENT, ROUND_HALF_UP)


def order_total(values: Iterable[Decimal | None], certificates: int, rules: ChargeRules) -> OrderTotal:
    """Return what the lines of one order come to with its charges.

    An order without goods is charged nothing. Goods without a price count as nothing towards the minimum.

    Parameters
    ----------
    values : what each line comes to, None where its price is not known
    certificates : how many lines ask for a certificate, each of which is charged once
    rules : what the supplier charges
    """
    listed = list(values)
    known = [value for value in listed if value is not None]
    goods = sum(known, NOTHING).quantize(CENT)
    small = bool(listed) and rules.order_minimum is not None and goods < rules.order_minimum
    return OrderTotal(
        goods=goods,
        small_order=to_cent(rules.small_order or NOTHING) if small else NOTHING,
        certificates=to_cent(rules.certificate or NOTHING) * certificates,
        unpriced=len(listed) - len(known),
        below_minimum=small,
    )

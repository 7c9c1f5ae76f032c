"""What the shelf is worth, lot by lot, and what of it sleeps: nothing moved for years, or dead within the year."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Max, QuerySet
from django.utils import timezone

from bom.structure.cure import after_months
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.queries import read_settings
from kits.purchasing.models import Offer
from kits.stock.models import Balance

SLEEPS_MONTHS = 24
DIES_MONTHS = 12
CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class ValuedLot:
    """One row of the shelf with its worth, None where no cost is known or a customer owns it.

    ``cost_from`` tells where the cost of one stock unit comes from: the item's own, or the offer of a supplier.
    """

    part_number: str
    what: str
    kind: str
    lot: str
    place: str
    quantity: Amount
    unit_cost: Decimal | None
    cost_from: str
    worth: Decimal | None
    owner: str
    moved_on: date | None
    last_use_on: date | None
    sleeps: bool
    past: bool
    dies: bool

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is to be known of it, in words."""
        said = {
            "past its last day": self.past,
            "ends within the year": self.dies,
            "not moved for two years": self.sleeps,
        }
        owner = (f"belongs to {self.owner}",) if self.owner else ()
        return (*(words for words, holds in said.items() if holds), *owner)

    @property
    def cost_says(self) -> str:
        """The cost of one as it is read: in cents, or finer where one costs less than a unit of money."""
        if self.unit_cost is None:
            return ""
        return f"{self.unit_cost:.2f}" if self.unit_cost >= 1 else f"{self.unit_cost:.4f}"


@dataclass(frozen=True, slots=True)
class ShelfValue:
    """The shelf valued; sums are over all of it, ``rows`` are those that were asked for, the dearest on top."""

    as_of: date
    currency: str
    only: str
    rows: tuple[ValuedLot, ...]
    worth: Decimal
    sleeping: Decimal
    dying: Decimal
    past: Decimal
    without_cost: int
    owned: int


CHOICES: Mapping[str, Callable[[ValuedLot], bool]] = {
    "sleeps": lambda row: row.sleeps,
    "dies": lambda row: row.dies,
    "past": lambda row: row.past,
    "no_cost": lambda row: row.worth is None and not row.owner,
    "owned": lambda row: bool(row.owner),
}


def shelf_value(*, today: date, only: str = "") -> ShelfValue:
    """The shelf valued at cost, all of it or what ``sleeps``, ``dies``, is ``past``, has ``no_cost``, is ``owned``."""
    currency = read_settings().currency
    costs = offered_costs(currency)
    rows = [valued_lot(balance, today, costs) for balance in balances_with_last_movement()]
    shown = sorted(
        filter(CHOICES.get(only, lambda row: True), rows),
        key=lambda row: (-(row.worth or 0), row.part_number, row.lot, row.place),
    )
    return ShelfValue(
        as_of=today,
        currency=currency,
        only=only if only in CHOICES else "",
        rows=tuple(shown),
        worth=total(row.worth for row in rows),
        sleeping=total(row.worth for row in rows if row.sleeps),
        dying=total(row.worth for row in rows if row.dies),
        past=total(row.worth for row in rows if row.past),
        without_cost=sum(row.worth is None and not row.owner for row in rows),
        owned=sum(bool(row.owner) for row in rows),
    )


def total(worths: Iterable[Decimal | None]) -> Decimal:
    """The sum of what has a worth."""
    return sum((worth for worth in worths if worth is not None), Decimal(0))


def balances_with_last_movement() -> QuerySet[Balance]:
    """What lies on the shelf, with the moment at which each row was last moved or counted; one statement."""
    return (
        Balance.objects.on_shelf()
        .filter(quantity__gt=0)
        .select_related("lot__item", "place")
        .annotate(moved_at=Max("movements__posting__at"))
        .order_by("pk")
    )


def offered_costs(currency: str) -> dict[int, tuple[Decimal, str]]:
    """By item, the lowest price of one stock unit offered in the shop's currency, and by whom; one statement."""
    rows = Offer.objects.filter(price_per_pack__isnull=False, price_from_packs=1).values_list(
        "item_id", "price_per_pack", "pack_size", "currency", "supplier__currency", "supplier__supplier"
    )
    found: dict[int, tuple[Decimal, str]] = {}
    for item_id, price, pack_size, own, of_supplier, supplier in rows:
        assert price is not None
        if (own or of_supplier or currency) != currency:
            continue
        cost = price * ONE / pack_size
        if item_id not in found or cost < found[item_id][0]:
            found[item_id] = (cost, supplier)
    return found


def valued_lot(balance: Balance, today: date, costs: Mapping[int, tuple[Decimal, str]]) -> ValuedLot:
    """One row of the shelf with its worth."""
    lot, item = balance.lot, balance.lot.item
    cost, cost_from = (item.unit_cost, "own") if item.unit_cost is not None else costs.get(item.pk, (None, ""))
    moved_at = getattr(balance, "moved_at", None)
    moved_on = timezone.localdate(moved_at) if moved_at else None
    last_use_on = lot.last_use_on
    past = last_use_on is not None and last_use_on < today
    return ValuedLot(
        part_number=item.part_number,
        what=item.description,
        kind=item.kind,
        lot=lot.lot,
        place=balance.place.place if balance.place else "",
        quantity=Amount.of(balance.quantity, item.stock_unit),
        unit_cost=cost,
        cost_from=cost_from,
        worth=None if cost is None or lot.owner else (cost * balance.quantity / ONE).quantize(CENT),
        owner=lot.owner,
        moved_on=moved_on,
        last_use_on=last_use_on,
        sleeps=moved_on is not None and moved_on < after_months(today, -SLEEPS_MONTHS),
        past=past,
        dies=not past and last_use_on is not None and last_use_on <= after_months(today, DIES_MONTHS),
    )

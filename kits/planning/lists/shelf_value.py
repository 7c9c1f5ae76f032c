"""What the shelf is worth, lot by lot, and what of it sleeps: nothing moved for years, or dead within the year."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from operator import itemgetter
from typing import NamedTuple

from django.utils import timezone

from bom.structure.cure import after_months
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.caching.late_rows import BatchRows
from kits.catalog.caching.revisions import kept_until_written
from kits.catalog.days.moments import start_of
from kits.catalog.formats.in_force import formats
from kits.catalog.queries import read_settings
from kits.purchasing.models import Offer
from kits.stock.lists.shelf_facts import ShelfFact, shelf_facts
from kits.stock.models import Balance

SLEEPS_MONTHS = 24
A_PAGE = 500
"""Of so many rows at most the accounts are named to the database."""
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
            "expires within the year": self.dies,
            "not moved for two years": self.sleeps,
        }
        owner = (f"belongs to {self.owner}",) if self.owner else ()
        return (*(words for words, holds in said.items() if holds), *owner)

    @property
    def cost_says(self) -> str:
        """The cost of one as it is read: in cents, or finer where one costs less than a unit of money."""
        if self.unit_cost is None:
            return ""
        return formats().number(f"{self.unit_cost:.2f}" if self.unit_cost >= 1 else f"{self.unit_cost:.4f}")


@dataclass(frozen=True, slots=True)
class ShelfValue:
    """The shelf valued; sums are over all of it, ``rows`` are those that were asked for, the dearest on top."""

    as_of: date
    currency: str
    only: str
    rows: Sequence[ValuedLot]
    worth: Decimal
    sleeping: Decimal
    dying: Decimal
    past: Decimal
    without_cost: int
    owned: int


class _Valued(NamedTuple):
    """An account of the shelf with what a choice goes by; its row is made when it is shown."""

    fact: ShelfFact
    cost: Decimal | None
    cost_from: str
    worth: Decimal | None
    sleeps: bool
    past: bool
    dies: bool


CHOICES: Mapping[str, Callable[[_Valued], bool]] = {
    "sleeps": lambda row: row.sleeps,
    "dies": lambda row: row.dies,
    "past": lambda row: row.past,
    "no_cost": lambda row: row.worth is None and not row.fact.owner,
    "owned": lambda row: bool(row.fact.owner),
}


class _Shelf(NamedTuple):
    """The whole shelf valued on a day, the dearest on top."""

    as_of: date
    rows: tuple[_Valued, ...]


def shelf_value(*, today: date, only: str = "") -> ShelfValue:
    """The shelf valued at cost, all of it or what ``sleeps``, ``dies``, is ``past``, has ``no_cost``, is ``owned``."""
    currency = read_settings().currency
    shelf = kept_until_written("worth", lambda: _valued_shelf(today, currency))
    if shelf.as_of != today:  # nothing was written since yesterday
        shelf = _valued_shelf(today, currency)
    rows = shelf.rows
    return ShelfValue(
        as_of=today,
        currency=currency,
        only=only if only in CHOICES else "",
        rows=BatchRows(list(filter(CHOICES[only], rows)) if only in CHOICES else rows, _shown),
        worth=total(row.worth for row in rows),
        sleeping=total(row.worth for row in rows if row.sleeps),
        dying=total(row.worth for row in rows if row.dies),
        past=total(row.worth for row in rows if row.past),
        without_cost=sum(row.worth is None and not row.fact.owner for row in rows),
        owned=sum(bool(row.fact.owner) for row in rows),
    )


def total(worths: Iterable[Decimal | None]) -> Decimal:
    """The sum of what has a worth."""
    return sum((worth for worth in worths if worth is not None), Decimal(0))


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


def _valued_shelf(today: date, currency: str) -> _Shelf:
    """Every account of the shelf with its worth; two statements besides the shelf."""
    costs = offered_costs(currency)
    still = Balance.objects.on_shelf().filter(moved_at__lt=start_of(after_months(today, -SLEEPS_MONTHS))).order_by()
    asleep = set(still.values_list("pk", flat=True))
    soon = after_months(today, DIES_MONTHS)
    rows = []
    for fact in sorted(shelf_facts(), key=itemgetter(0)):
        item = fact.item
        cost, cost_from = (item.unit_cost, "own") if item.unit_cost is not None else costs.get(item.pk, (None, ""))
        worth = None if cost is None or fact.owner else (cost * fact.quantity / ONE).quantize(CENT)
        last = fact.last_use_on
        past = last is not None and last < today
        dies = not past and last is not None and last <= soon
        rows.append(_Valued(fact, cost, cost_from, worth, fact.balance_id in asleep, past, dies))
    rows.sort(key=lambda row: (-(row.worth or 0), row.fact.item.part_number, row.fact.lot, row.fact.place))
    return _Shelf(today, tuple(rows))


def _shown(rows: Sequence[_Valued]) -> list[ValuedLot]:
    """The rows as they are shown; one statement."""
    moved = Balance.objects.on_shelf().filter(quantity__gt=0, moved_at__isnull=False).order_by()
    if len(rows) <= A_PAGE:
        moved = moved.filter(pk__in=[row.fact.balance_id for row in rows])
    moves = dict(moved.values_list("pk", "moved_at"))
    return [_row(row, moves.get(row.fact.balance_id)) for row in rows]


def _row(row: _Valued, moved_at: datetime | None) -> ValuedLot:
    fact, item = row.fact, row.fact.item
    return ValuedLot(
        part_number=item.part_number,
        what=item.description,
        kind=item.kind,
        lot=fact.lot,
        place=fact.place,
        quantity=Amount.of(fact.quantity, item.stock_unit),
        unit_cost=row.cost,
        cost_from=row.cost_from,
        worth=row.worth,
        owner=fact.owner,
        moved_on=timezone.localdate(moved_at) if moved_at else None,
        last_use_on=fact.last_use_on,
        sleeps=row.sleeps,
        past=row.past,
        dies=row.dies,
    )

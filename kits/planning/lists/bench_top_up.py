"""What to carry to the benches: items kept between a minimum and a maximum at their home, topped up from back stock."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Sum

from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.purchasing.models import OrderLine
from kits.stock.models import Balance, Place
from kits.stock.packets import usable_packets
from kits.stock.words import Condition, PlaceKind

MANY = 2**31
"""After every place that has a turn on the walk."""


@dataclass(frozen=True, slots=True)
class Fetch:
    """Some of one lot to be carried from where it lies to the item's home."""

    place: str
    lot: str
    last_use_on: date | None
    quantity: Amount


@dataclass(frozen=True, slots=True)
class TopUp:
    """One item with a minimum: what lies at its home, what to bring there, and what has to be bought.

    ``at_home`` are usable, undead pieces at the home place; of an item without a home, those anywhere.
    """

    part_number: str
    what: str
    leads_to: str
    bench_item: bool
    at_home: Amount
    elsewhere: Amount
    minimum: Amount
    maximum: Amount
    below: bool
    bring: Amount
    fetches: tuple[Fetch, ...]
    on_order: Amount
    to_buy: Amount


@dataclass(frozen=True, slots=True)
class TopUpBench:
    """The items that live at one place."""

    home: str
    rows: tuple[TopUp, ...]


@dataclass(frozen=True, slots=True)
class TopUpSheet:
    """Everything with a minimum, by home in walk order; ``below`` counts the items that are under theirs."""

    as_of: date
    below_only: bool
    kept: int
    below: int
    benches: tuple[TopUpBench, ...]


def top_up_sheet(*, today: date, below_only: bool = True) -> TopUpSheet:
    """What to carry and to buy for items with a minimum; four statements."""
    items = list(Item.objects.filter(minimum__gt=0).exclude(kind="pump"))
    lying = usable_balances(items, today)
    orders = dict(
        OrderLine.objects.open()
        .filter(item__in=[item.pk for item in items])
        .order_by()
        .values_list("item_id")
        .annotate(coming=Sum("quantity"))
    )
    walk = walk_orders()
    rows: dict[str, list[TopUp]] = defaultdict(list)
    kept = [(item, top_up(item, lying.get(item.pk, ()), orders.get(item.pk, 0))) for item in items]
    for item, row in kept:
        if row.below or not below_only:
            rows[item.home_place.strip()].append(row)
    homes = sorted(rows, key=lambda home: (not home, walk.get(fold(home), MANY), fold(home)))
    return TopUpSheet(
        as_of=today,
        below_only=below_only,
        kept=len(kept),
        below=sum(row.below for _, row in kept),
        benches=tuple(TopUpBench(home, tuple(rows[home])) for home in homes),
    )


def usable_balances(items: Iterable[Item], today: date) -> dict[int, list[Balance]]:
    """What lies of these items and may be used today, the shop's own only, the first to end on top; one statement."""
    found = (
        Balance.objects.on_shelf()
        .filter(lot__item__in=[item.pk for item in items], quantity__gt=0, condition=Condition.USABLE, lot__owner="")
        .exclude(place__kind=PlaceKind.QUARANTINE)
        .select_related("lot__item", "place")
        .order_by(F("place__walk_order").asc(nulls_last=True), "place__folded", "pk")
    )
    lying: dict[int, list[Balance]] = defaultdict(list)
    for balance in found:
        lives = balance.lot.last_use_on is None or balance.lot.last_use_on >= today
        if lives and balance.packet in usable_packets(balance.lot.item):
            lying[balance.lot.item_id].append(balance)
    for rows in lying.values():
        rows.sort(key=lambda row: (row.lot.last_use_on or date.max, row.lot.received_on or date.max))
    return lying


def top_up(item: Item, lying: Iterable[Balance], on_order: int) -> TopUp:
    """One item: below its minimum at home, it is brought up to its maximum."""
    home, minimum = fold(item.home_place), item.minimum or 0
    maximum = item.maximum if item.maximum is not None else minimum
    rows = list(lying)
    here = [row for row in rows if not home or (row.place and row.place.folded == home)]
    at_home = sum(row.quantity for row in here)
    back = [row for row in rows if row not in here]
    elsewhere = sum(row.quantity for row in back)
    below = at_home < minimum
    wanted = maximum - at_home if below else 0
    fetches = tuple(fetched(item, back, wanted))
    bring = sum(fetch.quantity.millionths for fetch in fetches)

    def amount(millionths: int) -> Amount:
        return Amount.of(millionths, item.stock_unit)

    return TopUp(
        part_number=item.part_number,
        what=item.description,
        leads_to="kit" if item.kind == "kit" else "part",
        bench_item=item.issue == "bench",
        at_home=amount(at_home),
        elsewhere=amount(elsewhere),
        minimum=amount(minimum),
        maximum=amount(maximum),
        below=below,
        bring=amount(bring),
        fetches=fetches,
        on_order=amount(on_order),
        to_buy=amount(max(wanted - bring - on_order, 0)),
    )


def fetched(item: Item, back: Iterable[Balance], wanted: int) -> Iterator[Fetch]:
    """Which lots to carry, the first to end first, until enough is there."""
    for row in back:
        if wanted <= 0:
            return
        some = min(wanted, row.quantity)
        wanted -= some
        place = row.place.place if row.place else ""
        yield Fetch(place, row.lot.lot, row.lot.last_use_on, Amount.of(some, item.stock_unit))


def walk_orders() -> dict[str, int]:
    """Where each place stands on the walk past the bins, by its folded name; one statement."""
    return {
        folded: MANY if order is None else order for folded, order in Place.objects.values_list("folded", "walk_order")
    }

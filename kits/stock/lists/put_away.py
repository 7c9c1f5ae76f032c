"""What does not lie in its home bin: what waits on a staging shelf, and what lies elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.stock.models import Balance, Place
from kits.stock.words import Condition, PlaceKind


@dataclass(frozen=True, slots=True)
class AwayRow:
    """One usable account away from home. ``home`` is empty where the item has no home bin, or a name nobody knows."""

    balance_id: int
    part_number: str
    item_kind: str
    what: str
    lot: str
    quantity: Amount
    place: str
    waits: bool  # on a staging shelf
    home: str
    home_id: int | None
    walk_order: int


def away_rows() -> list[AwayRow]:
    """What is to be put away: from the staging shelves first, then in walk order of the home bins; two statements."""
    places = {place.folded: place for place in Place.objects.all()}
    balances = (
        Balance.objects.on_shelf()
        .filter(quantity__gt=0, condition=Condition.USABLE)
        .exclude(place__kind=PlaceKind.QUARANTINE)
        .select_related("lot__item", "place")
    )
    rows = [row for balance in balances if (row := _row(balance, places))]
    return sorted(rows, key=lambda row: (not row.waits, row.walk_order, row.home, row.part_number, row.lot))


def homes() -> Iterator[tuple[int, str]]:
    """Every place pieces can be put, in walk order."""
    return iter(Place.objects.order_by("walk_order", "folded").values_list("pk", "place"))


def _row(balance: Balance, places: dict[str, Place]) -> AwayRow | None:
    item, place = balance.lot.item, balance.place
    assert place is not None
    home = places.get(fold(item.home_place)) if item.home_place else None
    waits = place.kind == PlaceKind.STAGING
    if home is not None and home.pk == place.pk:
        return None
    if home is None and not waits:
        return None
    return AwayRow(
        balance_id=balance.pk,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=balance.lot.lot,
        quantity=Amount.of(balance.quantity, item.stock_unit),
        place=place.place,
        waits=waits,
        home=home.place if home else "",
        home_id=home.pk if home else None,
        walk_order=home.walk_order if home and home.walk_order is not None else 1_000_000,
    )

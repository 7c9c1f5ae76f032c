"""What does not lie in its home bin: what waits on a staging shelf, and what lies elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from kits.catalog.amounts import Amount
from kits.stock.lists.shelf_facts import ShelfFact, shelf_facts
from kits.stock.models import Place
from kits.stock.words import PlaceKind


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
    """What is to be put away: from the staging shelves first, then in walk order of the home bins."""
    places = {place.folded: place for place in Place.objects.all()}
    rows = [row for fact in shelf_facts() if not fact.held and (row := _row(fact, places))]
    return sorted(rows, key=lambda row: (not row.waits, row.walk_order, row.home, row.part_number, row.lot))


def homes() -> Iterator[tuple[int, str]]:
    """Every place pieces can be put, in walk order."""
    return iter(Place.objects.order_by("walk_order", "folded").values_list("pk", "place"))


def _row(fact: ShelfFact, places: dict[str, Place]) -> AwayRow | None:
    item = fact.item
    home = places.get(item.home) if item.home else None
    waits = fact.place_kind == PlaceKind.STAGING
    if home is not None and home.pk == fact.place_id:
        return None
    if home is None and not waits:
        return None
    return AwayRow(
        balance_id=fact.balance_id,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=fact.lot,
        quantity=Amount.of(fact.quantity, item.stock_unit),
        place=fact.place,
        waits=waits,
        home=home.place if home else "",
        home_id=home.pk if home else None,
        walk_order=home.walk_order if home and home.walk_order is not None else 1_000_000,
    )

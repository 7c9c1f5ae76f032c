"""The whole shelf, read once after each change and kept: what every list of the storeroom is made from.

A list that is read all day must not build a record of Django for each of twenty thousand lots. The facts are plain
values, in walk order; whoever shows a list makes its rows from those that are shown.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from functools import cache
from typing import NamedTuple

from django.db.models import F

from kits.catalog.caching.revisions import kept_until_written
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.stock.last_use import last_use_day
from kits.stock.models import Balance
from kits.stock.words import Condition, PlaceKind


class ItemOnShelf(NamedTuple):
    """What lists of the storeroom say of an item."""

    pk: int
    part_number: str
    folded: str
    description: str
    kind: str
    stock_unit: str
    life_months: int | None
    life_unlimited: bool
    resealed_usable: bool
    cleanliness: str
    unit_cost: Decimal | None
    home: str  # folded name of its home place

    @property
    def ageless(self) -> bool:
        """Whether no shelf life is stated, not even an unlimited one."""
        return self.life_months is None and not self.life_unlimited


class ShelfFact(NamedTuple):
    """One account of the shelf: so many millionths of a lot at a place, in one condition and packet."""

    balance_id: int
    quantity: int
    condition: str
    packet: str
    lot_id: int
    lot: str
    lot_folded: str
    owner: str
    place_id: int
    place: str
    place_folded: str
    place_kind: str
    item: ItemOnShelf
    last_use_on: date | None

    @property
    def held(self) -> bool:
        """Whether it lies in quarantine, by itself or by its place."""
        return self.condition == Condition.QUARANTINE or self.place_kind == PlaceKind.QUARANTINE


def shelf_facts() -> tuple[ShelfFact, ...]:
    """Everything that lies on the shelf, in walk order; three statements, one where nothing was written since."""
    return kept_until_written("shelf", _read_shelf)


def shelf_of_item(item: Item) -> tuple[ShelfFact, ...]:
    """What lies of one item, in walk order; two statements."""
    return _read_shelf(item.pk)


def _read_shelf(item_id: int | None = None) -> tuple[ShelfFact, ...]:
    """The whole shelf, or what lies of one item."""
    wanted, lying = Item.objects.order_by(), Balance.objects.on_shelf().filter(quantity__gt=0)
    if item_id is not None:
        wanted, lying = wanted.filter(pk=item_id), lying.filter(lot__item=item_id)
    folded = cache(fold)
    items = {
        row[0]: ItemOnShelf(*row[:-1], folded(row[-1]))
        for row in wanted.values_list(
            "pk",
            "part_number",
            "folded",
            "description",
            "kind",
            "stock_unit",
            "shelf_life_months",
            "shelf_life_unlimited",
            "resealed_usable",
            "cleanliness",
            "unit_cost",
            "home_place",
        )
    }
    rows = lying.order_by(
        F("place__walk_order").asc(nulls_last=True), "place__folded", "lot__item__folded", "lot__folded", "id"
    ).values_list(
        "pk",
        "quantity",
        "condition",
        "packet",
        "lot_id",
        "lot__lot",
        "lot__folded",
        "lot__owner",
        "place_id",
        "place__place",
        "place__folded",
        "place__kind",
        "lot__item_id",
        "lot__cure_on",
        "lot__printed_last_use_on",
    )
    ends = cache(last_use_day)
    return tuple(
        ShelfFact(*row[:12], items[row[12]], ends(row[13], row[14], items[row[12]].life_months))
        for row in rows
        if row[12] in items  # what came to the shelf while it was read is told by the next reading
    )

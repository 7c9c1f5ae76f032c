"""What may be taken where a line is short: substitutes, in the direction that is allowed, and where they lie."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import F, Q

from kits.catalog.models import Item, Substitute
from kits.catalog.words import Direction
from kits.stock.models import Balance
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition


@dataclass(frozen=True, slots=True)
class StandInRow:
    """A part that may stand in: who allowed it, with which remark, and the places at which usable pieces lie."""

    part_number: str
    what: str
    allowed_by: str
    note: str
    places: tuple[str, ...]


def stand_ins(item: Item) -> tuple[StandInRow, ...]:
    """Return what may stand in for an item and lies on the shelf; one statement where nothing may."""
    may = Q(item=item) | Q(substitute=item, direction=Direction.BOTH)
    rows = list(Substitute.objects.filter(may).select_related("item", "substitute").order_by("pk"))
    places = _places({_other(row, item).pk for row in rows}) if rows else {}
    return tuple(_rows(rows, item, places))


def _rows(rows: list[Substitute], item: Item, places: dict[int, tuple[str, ...]]) -> Iterator[StandInRow]:
    for row in rows:
        other = _other(row, item)
        if found := places.get(other.pk):
            yield StandInRow(other.part_number, other.description, row.approved_by, row.note, found)


def _other(row: Substitute, item: Item) -> Item:
    return row.substitute if row.item_id == item.pk else row.item


def _places(items: set[int]) -> dict[int, tuple[str, ...]]:
    lying = Balance.objects.on_shelf().filter(lot__item__in=items, quantity__gt=0, condition=Condition.USABLE)
    found: dict[int, dict[str, None]] = defaultdict(dict)
    walk = lying.order_by(F("place__walk_order").asc(nulls_last=True), "place__folded")
    suspect = lots_under_suspicion()
    for lot, item, place in walk.values_list("lot", "lot__item", "place__place"):
        if lot not in suspect:
            found[item][place or ""] = None
    return {item: tuple(named) for item, named in found.items()}

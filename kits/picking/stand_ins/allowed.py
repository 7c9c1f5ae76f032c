"""What may be taken where a line is short: substitutes, in the direction that is allowed, and where they lie."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
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


def may_stand_in(wanted: Item) -> list[tuple[Substitute, Item]]:
    """Return each part that may go in the place of another, with the row that allows it; one statement.

    A kit stands in for nothing and nothing for it: its pieces do. Neither does what is counted in another unit.
    """
    may = Q(item=wanted) | Q(substitute=wanted, direction=Direction.BOTH)
    rows = Substitute.objects.filter(may).select_related("item", "substitute").order_by("pk")
    pairs = ((row, row.substitute if row.item_id == wanted.pk else row.item) for row in rows)
    return [(row, other) for row, other in pairs if _alike(wanted, other)]


def stand_ins(wanted: Item) -> tuple[StandInRow, ...]:
    """Return what may stand in for an item and lies on the shelf; one statement where nothing may."""
    rows = may_stand_in(wanted)
    places = _places({other.pk for _, other in rows}) if rows else {}
    return tuple(_rows(rows, places))


def items_with_stand_ins(wanted: Iterable[int]) -> frozenset[int]:
    """Return those of some items in whose place something may go that lies on the shelf; three statements or fewer."""
    asked = set(wanted)
    may = Q(item__in=asked) | Q(substitute__in=asked, direction=Direction.BOTH)
    rows = list(Substitute.objects.filter(may).select_related("item", "substitute")) if asked else []
    pairs = [(row.item, row.substitute) for row in rows]
    pairs += [(row.substitute, row.item) for row in rows if row.direction == Direction.BOTH]
    pairs = [(one, other) for one, other in pairs if one.pk in asked and _alike(one, other)]
    places = _places({other.pk for _, other in pairs}) if pairs else {}
    return frozenset(one.pk for one, other in pairs if other.pk in places)


def _alike(wanted: Item, other: Item) -> bool:
    return "kit" not in (wanted.kind, other.kind) and wanted.stock_unit == other.stock_unit


def _rows(rows: Iterable[tuple[Substitute, Item]], places: dict[int, tuple[str, ...]]) -> Iterator[StandInRow]:
    for row, other in rows:
        if found := places.get(other.pk):
            yield StandInRow(other.part_number, other.description, row.approved_by, row.note, found)


def _places(items: set[int]) -> dict[int, tuple[str, ...]]:
    lying = Balance.objects.on_shelf().filter(lot__item__in=items, quantity__gt=0, condition=Condition.USABLE)
    found: dict[int, dict[str, None]] = defaultdict(dict)
    walk = lying.order_by(F("place__walk_order").asc(nulls_last=True), "place__folded")
    suspect = lots_under_suspicion()
    for lot, item, place in walk.values_list("lot", "lot__item", "place__place"):
        if lot not in suspect:
            found[item][place or ""] = None
    return {item: tuple(named) for item, named in found.items()}

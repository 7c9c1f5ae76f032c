"""What lies around a pick: the bins in walk order, and the things in the same and in the next bins."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise

from bom.values import Lot as ShelfLot
from kits.catalog.models import Item, KitFit
from kits.catalog.options import spelled_options
from kits.catalog.words import ItemKind
from kits.picking.cautions.look_alikes import Lying, Thing, look_alike_says
from kits.stock.models import Place
from kits.stock.words import PlaceKind

LAST = 1_000_000_000


class Neighbours:
    """The bins around some places and what lies in them; three statements."""

    def __init__(self, lots: Sequence[ShelfLot], places: Collection[str], part_numbers: Collection[str]) -> None:
        rows = sorted(
            Place.objects.all(),
            key=lambda place: (LAST if place.walk_order is None else place.walk_order, place.folded),
        )
        self._places = {place.place: place for place in rows}
        self._order = {place.place: number for number, place in enumerate(rows)}
        bins = [place.place for place in rows if place.kind == PlaceKind.BIN]
        self._near: dict[str, list[tuple[str, int]]] = {place: [(place, 0)] for place in places}
        for before, after in pairwise(bins):
            for one, other in ((before, after), (after, before)):
                if one in self._near:
                    self._near[one].append((other, 1))
        self._parts_at: dict[str, set[str]] = defaultdict(set)
        reached = {place for near in self._near.values() for place, _ in near}
        for lot in lots:
            if lot.place in reached and lot.quantity > 0:
                self._parts_at[lot.place].add(lot.part_number)
        wanted = set(part_numbers).union(*self._parts_at.values())
        self.items = {item.part_number: item for item in Item.objects.filter(part_number__in=wanted)}
        self._things = things_of(self.items)

    def walk(self, lot: ShelfLot) -> tuple[int, str, str]:
        """The order in which lots are come past."""
        return self._order[lot.place], lot.part_number, lot.lot

    def place_id(self, place: str) -> int:
        """The key of a place."""
        return self._places[place].pk

    def look_alike(self, lot: ShelfLot) -> tuple[str, ...]:
        """What to take and what to leave at this bin, a sentence for each thing that could be mistaken."""
        return look_alike_says(self._things[lot.part_number], self._lying(lot.place))

    def _lying(self, place: str) -> Iterator[Lying]:
        for near, away in self._near[place]:
            for part in self._parts_at[near]:
                yield Lying(self._things[part], near, away)


def things_of(items: dict[str, Item]) -> dict[str, Thing]:
    """What tells each item from the others; one statement."""
    kits = [item.pk for item in items.values() if item.kind == ItemKind.KIT]
    fits: dict[int, list[KitFit]] = defaultdict(list)
    for fit in KitFit.objects.filter(kit__in=kits):
        fits[fit.kit_id].append(fit)
    return {
        number: Thing(
            part_number=number,
            size=item.size,
            form=item.form,
            material=item.material,
            hardness=item.hardness,
            serves=_serves(fits[item.pk]),
            fits=frozenset((fit.fits_id, fit.set_name) for fit in fits[item.pk]),
        )
        for number, item in items.items()
    }


def _serves(fits: Sequence[KitFit]) -> str:
    words = dict.fromkeys(value.replace("_", " ") for fit in fits for _, value in spelled_options(fit.option))
    return f"kit for {', '.join(words)}" if words else ""

"""What in the whole shop could be taken for a part: which, what tells the two apart, and where it lies."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.rings.finder import is_same
from kits.catalog.rings.sizes import written_size
from kits.catalog.words import ItemKind
from kits.picking.cautions.look_alikes import NEARLY, Thing, are_alike, difference
from kits.picking.rounds.neighbours import things_of
from kits.stock.models import Balance

MOST_SHOWN = 12
HARDLY = 0.01
"""Inside diameters that differ by less than this share are one to the eye."""
KIT_FOR_SAME = "kit for the same assembly"
INCH_METRIC = "inch against metric"
NEARLY_SAME = "nearly the same size"
OTHER_SECTION = "same inside, other section"


@dataclass(frozen=True, slots=True)
class AlikePart:
    """A part that is easily taken for another: ``why`` they are alike, ``this`` and ``that`` what tells them apart."""

    part_number: str
    what: str
    leads_to: str
    why: str
    this: str
    that: str
    places: tuple[str, ...]

    @property
    def says(self) -> str:
        """One sentence."""
        where = f", at {', '.join(self.places)}" if self.places else ""
        return f"Not {self.part_number} ({self.why}: {self.that}){where}"


class AlikeParts:
    """Every part and kit of the shop that has a size or a use; three statements."""

    def __init__(self) -> None:
        rows = Item.objects.exclude(size="", kind=ItemKind.PART).filter(kind__in=(ItemKind.PART, ItemKind.KIT))
        self._items = {item.part_number: item for item in rows}
        self._things = things_of(self._items)
        self._rings = {number: written_size(thing.size) for number, thing in self._things.items()}
        self._by_size: dict[str, list[Thing]] = defaultdict(list)
        self._by_fit: dict[tuple[int, str], list[Thing]] = defaultdict(list)
        for thing in self._things.values():
            self._by_size[fold(thing.size)].append(thing)
            for fit in thing.fits:
                self._by_fit[fit].append(thing)
        # Rings by inside diameter: who is taken for another is never far from it.
        inside = sorted((ring.inside_mm, number) for number, ring in self._rings.items() if ring is not None)
        self._insides, self._by_inside = [mm for mm, _ in inside], [self._things[number] for _, number in inside]
        self._places: dict[str, list[str]] = defaultdict(list)
        lying = Balance.objects.on_shelf().filter(quantity__gt=0).order_by("place__walk_order", "place__folded")
        for number, place in lying.values_list("lot__item__part_number", "place__place").distinct():
            self._places[number].append(place or "")

    def of(self, part_number: str, *, lying_only: bool = False) -> list[AlikePart]:
        """What could be taken for this part, what lies on the shelf first."""
        asked = self._things.get(part_number)
        if asked is None:
            return []
        found = [
            self._row(asked, other, why)
            for other in self._near(asked)
            if other.part_number != part_number
            and (not lying_only or other.part_number in self._places)
            and (why := self._why(asked, other))
        ]
        found.sort(key=lambda row: (not row.places, row.part_number))
        return found[:MOST_SHOWN]

    def of_each(self, part_numbers: Collection[str]) -> dict[str, list[AlikePart]]:
        """The same for some parts; only what lies on the shelf can be taken by mistake."""
        return {number: self.of(number, lying_only=True) for number in part_numbers}

    def _near(self, asked: Thing) -> Iterable[Thing]:
        """Everything that `_why` could say something of: the same use, the same size, nearly the same inside."""
        found = {other.part_number: other for fit in asked.fits for other in self._by_fit[fit]}
        if asked.size:
            found |= {other.part_number: other for other in self._by_size[fold(asked.size)]}
        if ring := self._rings[asked.part_number]:
            # A hair wider than what counts as near, so that rounding leaves nobody out.
            least, most = ring.inside_mm * (0.999 - NEARLY), ring.inside_mm / (0.999 - NEARLY)
            first, last = bisect_left(self._insides, least), bisect_right(self._insides, most)
            found |= {other.part_number: other for other in self._by_inside[first:last]}
        return found.values()

    def _why(self, one: Thing, other: Thing) -> str:
        if are_alike(one, other, same_bin=False):
            return KIT_FOR_SAME if one.fits & other.fits else _same_size_says(one, other)
        first, second = self._rings[one.part_number], self._rings[other.part_number]
        if first is None or second is None or is_same(first, second):
            return ""
        same_section = _near(first.section_mm, second.section_mm)
        if same_section and _near(first.inside_mm, second.inside_mm):
            return INCH_METRIC if first.metric != second.metric else NEARLY_SAME
        if not same_section and _near(first.inside_mm, second.inside_mm, HARDLY):
            return OTHER_SECTION
        return ""

    def _row(self, asked: Thing, other: Thing, why: str) -> AlikePart:
        by_size = why in (INCH_METRIC, NEARLY_SAME, OTHER_SECTION)
        this, that = (asked.size, other.size) if by_size else difference(asked, other)
        item = self._items[other.part_number]
        return AlikePart(
            part_number=item.part_number,
            what=item.description,
            leads_to="kit" if item.kind == ItemKind.KIT else "part",
            why=why,
            this=this,
            that=that,
            places=tuple(self._places.get(item.part_number, ())),
        )


def _same_size_says(one: Thing, other: Thing) -> str:
    return "same size, other compound" if one.material != other.material else "same size, other hardness"


def _near(one: float, other: float, share: float = NEARLY) -> bool:
    return abs(one - other) <= share * max(one, other)

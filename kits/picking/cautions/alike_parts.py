"""What in the whole shop could be taken for a part: which, what tells the two apart, and where it lies."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from django.db.models import F

from kits.catalog.caching.revisions import may_keep_under, read_marks
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.rings.finder import is_same
from kits.catalog.rings.sizes import in_both, written_size
from kits.catalog.words import ItemKind
from kits.picking.cautions.look_alikes import NEARLY, Thing, are_alike, difference
from kits.picking.cautions.neighbours import things_of
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
        return f"Not {self.part_number}, {self.why}: {self.that}{where}"


class _Known:
    """What tells the parts and kits of the catalog from one another: read once after each change to it."""

    def __init__(self) -> None:
        rows = Item.objects.exclude(size="", kind=ItemKind.PART).filter(kind__in=(ItemKind.PART, ItemKind.KIT))
        self.items = {item.part_number: item for item in rows}
        self.things = things_of(self.items)
        self.rings = {number: written_size(thing.size) for number, thing in self.things.items()}
        self.by_size: dict[str, list[Thing]] = defaultdict(list)
        self.by_fit: dict[tuple[int, str], list[Thing]] = defaultdict(list)
        for thing in self.things.values():
            self.by_size[fold(thing.size)].append(thing)
            for fit in thing.fits:
                self.by_fit[fit].append(thing)
        # Rings by inside diameter: who is taken for another is never far from it.
        inside = sorted((ring.inside_mm, number) for number, ring in self.rings.items() if ring is not None)
        self.insides, self.by_inside = [mm for mm, _ in inside], [self.things[number] for _, number in inside]


_kept: tuple[str, _Known] | None = None


def _known() -> _Known:
    global _kept
    mark, _ = read_marks()
    if not may_keep_under(mark):
        return _Known()
    kept = _kept
    if kept is None or kept[0] != mark:
        kept = _kept = mark, _Known()
    return kept[1]


def _places(part_numbers: Collection[str]) -> dict[str, tuple[str, ...]]:
    """The places at which parts lie, in walk order; one statement."""
    lying = Balance.objects.on_shelf().filter(quantity__gt=0, lot__item__part_number__in={"", *part_numbers})
    walk = lying.order_by(F("place__walk_order").asc(nulls_last=True), "place__folded")
    found: dict[str, dict[str, None]] = defaultdict(dict)
    for number, place in walk.values_list("lot__item__part_number", "place__place"):
        found[number][place or ""] = None
    return {number: tuple(places) for number, places in found.items()}


class AlikeParts:
    """Every part and kit of the shop that has a size or a use; one statement where the catalog was not changed."""

    def __init__(self) -> None:
        self._known = _known()

    def of(self, part_number: str) -> list[AlikePart]:
        """What could be taken for this part, what lies on the shelf first; one statement."""
        return self._of_each([part_number], lying_only=False)[part_number]

    def of_each(self, part_numbers: Collection[str]) -> dict[str, list[AlikePart]]:
        """The same for some parts; only what lies on the shelf can be taken by mistake."""
        return self._of_each(part_numbers, lying_only=True)

    def _of_each(self, part_numbers: Collection[str], *, lying_only: bool) -> dict[str, list[AlikePart]]:
        near = {number: list(self._alike(number)) for number in part_numbers}
        places = _places({other.part_number for found in near.values() for other, _ in found})
        rows: dict[str, list[AlikePart]] = {}
        for number, found in near.items():
            asked = self._known.things.get(number)
            lying = [pair for pair in found if not lying_only or pair[0].part_number in places]
            lying.sort(key=lambda pair: (pair[0].part_number not in places, pair[0].part_number))
            rows[number] = [self._row(asked, other, why, places) for other, why in lying[:MOST_SHOWN] if asked]
        return rows

    def _alike(self, part_number: str) -> Iterator[tuple[Thing, str]]:
        """What could be taken for a part, and why."""
        asked = self._known.things.get(part_number)
        for other in self._near(asked) if asked else ():
            if asked and other.part_number != part_number and (why := self._why(asked, other)):
                yield other, why

    def _near(self, asked: Thing) -> Iterable[Thing]:
        """Everything that `_why` could say something of: the same use, the same size, nearly the same inside."""
        found = {other.part_number: other for fit in asked.fits for other in self._known.by_fit[fit]}
        if asked.size:
            found |= {other.part_number: other for other in self._known.by_size[fold(asked.size)]}
        if ring := self._known.rings[asked.part_number]:
            # A hair wider than what counts as near, so that rounding leaves nobody out.
            least, most = ring.inside_mm * (0.999 - NEARLY), ring.inside_mm / (0.999 - NEARLY)
            first, last = bisect_left(self._known.insides, least), bisect_right(self._known.insides, most)
            found |= {other.part_number: other for other in self._known.by_inside[first:last]}
        return found.values()

    def _why(self, one: Thing, other: Thing) -> str:
        if are_alike(one, other, same_bin=False):
            return KIT_FOR_SAME if one.fits & other.fits else _same_size_says(one, other)
        first, second = self._known.rings[one.part_number], self._known.rings[other.part_number]
        if first is None or second is None or is_same(first, second):
            return ""
        same_section = _near(first.section_mm, second.section_mm)
        if same_section and _near(first.inside_mm, second.inside_mm):
            return INCH_METRIC if first.metric != second.metric else NEARLY_SAME
        if not same_section and _near(first.inside_mm, second.inside_mm, HARDLY):
            return OTHER_SECTION
        return ""

    def _row(self, asked: Thing, other: Thing, why: str, places: Mapping[str, tuple[str, ...]]) -> AlikePart:
        by_size = why in (INCH_METRIC, NEARLY_SAME, OTHER_SECTION)
        this, that = (in_both(asked.size), in_both(other.size)) if by_size else difference(asked, other)
        item = self._known.items[other.part_number]
        return AlikePart(
            part_number=item.part_number,
            what=item.description,
            leads_to="kit" if item.kind == ItemKind.KIT else "part",
            why=why,
            this=this,
            that=that,
            places=places.get(item.part_number, ()),
        )


def _same_size_says(one: Thing, other: Thing) -> str:
    return "same size, other compound" if one.material != other.material else "same size, other hardness"


def _near(one: float, other: float, share: float = NEARLY) -> bool:
    return abs(one - other) <= share * max(one, other)

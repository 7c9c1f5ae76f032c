"""What a scanned or typed code names: a place, a lot, a bag, a job, a part or an order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Q

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.picking.models import Bag
from kits.planning.lists.finder import Hit, find
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.codes.texts import Code, CodeKind, code_of_lot, read_text
from kits.stock.models import Lot, Place, TaughtCode

KIND_OF_HIT = {
    "place": CodeKind.PLACE,
    "lot": CodeKind.LOT,
    "job": CodeKind.JOB,
    "order": CodeKind.ORDER,
    "part": CodeKind.PART,
    "kit": CodeKind.PART,
    "pump": CodeKind.PART,
}


@dataclass(frozen=True, slots=True)
class Named:
    """A thing that a code names: its code as we print it, and the key of its record."""

    code: Code
    key: int
    says: str


@dataclass(frozen=True, slots=True)
class Scan:
    """What was scanned, and everything that it may mean: nothing, one thing, or several to choose from."""

    text: str
    named: tuple[Named, ...]

    @property
    def only(self) -> Named | None:
        """The one thing that is meant, if it is clear."""
        return self.named[0] if len(self.named) == 1 else None


def read_scan(text: str) -> Scan:
    """Read what a scanner typed: a code of ours, an older one that the shop has explained, or a bare number.

    A code that names its kind is looked for among that kind only; a number without a kind may be several things.
    """
    said = " ".join(text.split())
    if code := code_in(said):
        return Scan(text, FIND[code.kind](code.number))
    found = {hit.key: hit for hit in find(said).hits if hit.exact and hit.leads_to in KIND_OF_HIT}
    named = [one for hit in found.values() for one in _of_hit(hit)]
    return Scan(text, tuple({(one.code.kind, one.key): one for one in named}.values()))


def code_in(text: str) -> Code | None:
    """Return the code that a text is, or stands for on an older label; None for any other text."""
    taught = TaughtCode.objects.filter(folded=fold(text)).first()
    return read_text(taught.means if taught else text)


def _of_hit(hit: Hit) -> tuple[Named, ...]:
    if hit.leads_to == "lot":
        return tuple(_lot(lot) for lot in Lot.objects.filter(pk=int(hit.key)).select_related("item"))
    return FIND[KIND_OF_HIT[hit.leads_to]](hit.key)


def find_places(number: str) -> tuple[Named, ...]:
    """The place of this name."""
    place = Place.objects.by_name(number)
    return (Named(Code(CodeKind.PLACE, place.place), place.pk, place.get_kind_display()),) if place else ()


def find_lots(number: str) -> tuple[Named, ...]:
    """The lot whose part and code stand one behind the other, whatever spaces they hold; also by its code alone."""
    words = number.split()
    named = Q(folded=fold(number))
    for cut in range(1, len(words)):
        part, lot = " ".join(words[:cut]), " ".join(words[cut:])
        named |= Q(item__folded=fold(part), folded=fold(lot))
    found = list(Lot.objects.filter(named).select_related("item")[:20])
    whole = [lot for lot in found if fold(f"{lot.item.part_number} {lot.lot}") == fold(number)]
    return tuple(_lot(lot) for lot in whole or found)


def _lot(lot: Lot) -> Named:
    return Named(code_of_lot(lot.item.part_number, lot.lot), lot.pk, lot.item.description)


def find_bags(number: str) -> tuple[Named, ...]:
    """The bag of this number."""
    if not (number.isascii() and number.isdigit() and len(number) < 10):
        return ()
    bag = Bag.objects.filter(number=int(number)).select_related("job").first()
    return (Named(Code(CodeKind.BAG, str(bag.number)), bag.pk, f"for {bag.job}"),) if bag else ()


def find_jobs(number: str) -> tuple[Named, ...]:
    """The job of this number."""
    job = Job.objects.by_number(number)
    return (Named(Code(CodeKind.JOB, job.job), job.pk, f"{job.pump}, {job.scope}"),) if job else ()


def find_parts(number: str) -> tuple[Named, ...]:
    """The parts that bear this number, their own or another one."""
    found = Item.objects.by_any_number(number).order_by("folded")[:20]
    return tuple(Named(Code(CodeKind.PART, item.part_number), item.pk, item.description) for item in found)


def find_orders(number: str) -> tuple[Named, ...]:
    """The order of this number, whether or not all of it came."""
    line = OrderLine.objects.filter(folded_order=fold(number)).select_related("supplier").first()
    return (Named(Code(CodeKind.ORDER, line.order), line.pk, f"from {line.supplier}"),) if line else ()


FIND: dict[CodeKind, Callable[[str], tuple[Named, ...]]] = {
    CodeKind.PLACE: find_places,
    CodeKind.LOT: find_lots,
    CodeKind.BAG: find_bags,
    CodeKind.JOB: find_jobs,
    CodeKind.PART: find_parts,
    CodeKind.ORDER: find_orders,
}

"""The one search field: by any number of a part, kit, pump, job, lot, bin, order or gauge, by serial and by name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from operator import or_

from django.db.models import CharField, Count, F, Func, Q, QuerySet, Value
from django.db.models.functions import Lower, Replace

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.planning.words.states import plural
from kits.purchasing.models import OrderLine, Supplier
from kits.schedule.models import Batch, Job
from kits.service.models import Gauge
from kits.stock.models import Lot, Place

MOST_OF_A_KIND = 25
BETWEEN = "-/._ "
"""Signs that stand between the parts of a number, and that people leave out: ``or210n`` finds OR-210-N70."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found. ``key`` names it, and ``leads_to`` its sheet.

    A sheet is that of a part, kit, pump, job, customer, batch, lot, place, order, supplier or gauge. ``nearly`` is
    exact but for the signs between the parts of a number.
    """

    leads_to: str
    key: str
    name: str
    what: str
    exact: bool
    nearly: bool = False


@dataclass(frozen=True, slots=True)
class FoundHits:
    """Everything found for the words asked, the exact hits first, then those that are nearly so."""

    asked: str
    hits: tuple[Hit, ...]

    @property
    def only(self) -> Hit | None:
        """The one thing that bears this very number; a scan means nothing else."""
        return _alone(hit for hit in self.hits if hit.exact)

    @property
    def meant(self) -> Hit | None:
        """The one thing that bears this number, or does so but for the signs between its parts."""
        if any(hit.exact for hit in self.hits):
            return self.only
        return _alone(hit for hit in self.hits if hit.nearly)


def _alone(hits: Iterator[Hit]) -> Hit | None:
    found = {(hit.leads_to, hit.key): hit for hit in hits}
    return next(iter(found.values())) if len(found) == 1 else None


def bare(text: str) -> str:
    """A number as it is compared without the signs between its parts; empty where it has no others.

    >>> bare("OR-210 N70")
    'or210n70'
    """
    return fold(text).translate(dict.fromkeys(map(ord, BETWEEN)))


def _bare(field: str) -> Func:
    found: Func = Lower(F(field), output_field=CharField())
    for sign in BETWEEN:
        found = Replace(found, Value(sign), Value(""))
    return found


def find(asked: str) -> FoundHits:
    """Everything that bears the words asked; eleven statements."""
    key, number = fold(asked), bare(asked)
    if not number:
        return FoundHits(asked, ())
    hits = [*items(asked), *jobs(key), *customers(asked), *batches(key), *lots(key), *places(key), *orders(key)]
    hits += [*suppliers(key), *gauges(key)]
    return FoundHits(asked, tuple(sorted(hits, key=lambda hit: (not hit.exact, not hit.nearly))))


def items(asked: str) -> Iterator[Hit]:
    """Items by part number, other number, maker's number or words of their description."""
    words = Q()
    for word in asked.split():
        words &= Q(description__icontains=word)
    number = bare(asked)
    exactly = set(Item.objects.by_any_number(asked).values_list("pk", flat=True))
    nearly = set(_items_bearing(number, "exact").values_list("pk", flat=True))
    partly = Q(pk__in=_items_bearing(number, "contains").values("pk"))
    found = Item.objects.filter(Q(pk__in=exactly | nearly) | partly | words).order_by("folded")
    for item in found[:MOST_OF_A_KIND]:
        leads_to = item.kind if item.kind in ("kit", "pump") else "part"
        name = item.part_number
        yield Hit(leads_to, name, name, item.description, item.pk in exactly, item.pk in nearly)


def _items_bearing(number: str, how: str) -> QuerySet[Item]:
    """The items one of whose numbers is this one, or holds it, without the signs between its parts."""
    if not number:
        return Item.objects.none()
    fields = {"own": "folded", "other": "other_numbers__folded", "makers": "folded_maker_number"}
    numbers = Item.objects.alias(**{name: _bare(field) for name, field in fields.items()})
    return numbers.filter(reduce(or_, (Q(**{f"{name}__{how}": number}) for name in fields))).distinct()


def jobs(key: str) -> Iterator[Hit]:
    """Jobs by their number or the serial of their pump."""
    named = Job.objects.alias(bare=_bare("folded"), bare_serial=_bare("serial"))
    found = named.filter(Q(bare__contains=bare(key)) | Q(bare_serial__contains=bare(key))).select_related("pump")
    for job in found[:MOST_OF_A_KIND]:
        serial = f", serial {job.serial}" if job.serial else ""
        what = f"{job.pump.part_number}, {job.scope}{serial}{f', for {job.customer}' if job.customer else ''}"
        nearly = bare(key) in (bare(job.job), bare(job.serial))
        yield Hit("job", job.job, job.job, what, key in (job.folded, fold(job.serial)), nearly)


def customers(asked: str) -> Iterator[Hit]:
    """Customers by words of their name; each leads to the list of its jobs."""
    named = Job.objects.filter(customer__icontains=asked.strip()).exclude(customer="")
    counted = named.values_list("customer").annotate(jobs=Count("pk")).order_by("customer")
    for customer, count in counted[:MOST_OF_A_KIND]:
        yield Hit("customer", customer, customer, f"customer, {plural(count, 'job')}", fold(customer) == fold(asked))


def batches(key: str) -> Iterator[Hit]:
    """Batches by name."""
    for batch in Batch.objects.filter(folded__contains=key)[:MOST_OF_A_KIND]:
        yield Hit("batch", batch.name, batch.name, "batch", key == batch.folded)


def lots(key: str) -> Iterator[Hit]:
    """Lots by code, by the maker's own batch or by certificate; they lead to the sheet of the lot."""
    named = Lot.objects.alias(bare=_bare("folded"))
    number = Q(bare__contains=bare(key)) | Q(maker_batch__icontains=key) | Q(certificate__icontains=key)
    for lot in named.filter(number).select_related("item")[:MOST_OF_A_KIND]:
        what = f"lot of {lot.item.part_number}, {lot.item.description}"
        exact = key in (lot.folded, fold(lot.maker_batch), fold(lot.certificate))
        yield Hit("lot", str(lot.pk), lot.lot, what, exact, bare(key) == bare(lot.lot))


def places(key: str) -> Iterator[Hit]:
    """Places by name."""
    named = Place.objects.alias(bare=_bare("folded"))
    for place in named.filter(bare__contains=bare(key))[:MOST_OF_A_KIND]:
        kind, nearly = place.get_kind_display().lower(), bare(key) == bare(place.place)
        yield Hit("place", place.place, place.place, kind, key == place.folded, nearly)


def orders(key: str) -> Iterator[Hit]:
    """Open orders by number."""
    named = OrderLine.objects.open().alias(bare=_bare("folded_order"))
    for line in named.filter(bare__contains=bare(key)).select_related("supplier")[:MOST_OF_A_KIND]:
        name, nearly = f"{line.order}, {line.line}", bare(key) == bare(line.order)
        yield Hit("order", line.order, name, line.supplier.supplier, key == line.folded_order, nearly)


def suppliers(key: str) -> Iterator[Hit]:
    """Suppliers by words of their name; each leads to what is to come from it."""
    for one in Supplier.objects.filter(folded__contains=key)[:MOST_OF_A_KIND]:
        yield Hit("supplier", one.supplier, one.supplier, "supplier", key == one.folded)


def gauges(key: str) -> Iterator[Hit]:
    """Gauges by their number."""
    for one in Gauge.objects.alias(bare=_bare("folded")).filter(bare__contains=bare(key))[:MOST_OF_A_KIND]:
        yield Hit("gauge", one.gauge, one.gauge, f"gauge, {one.reads}", key == one.folded, bare(key) == bare(one.gauge))

"""The one search field: parts by any number, kits, pumps, jobs, customers, batches, serials, lots, bins, orders."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, Q

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.planning.words.states import plural
from kits.purchasing.models import OrderLine
from kits.schedule.models import Batch, Job
from kits.stock.models import Lot, Place

MOST_OF_A_KIND = 25


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found. ``key`` names it, and ``leads_to`` its sheet.

    A sheet is that of a part, kit, pump, job, customer, batch, lot, place or order.
    """

    leads_to: str
    key: str
    name: str
    what: str
    exact: bool


@dataclass(frozen=True, slots=True)
class FoundHits:
    """Everything found for the words asked, the exact hits first. ``only`` is the one exact hit, if it is alone."""

    asked: str
    hits: tuple[Hit, ...]

    @property
    def only(self) -> Hit | None:
        """The thing that was meant, when just one bears this very number."""
        exact = {(hit.leads_to, hit.key): hit for hit in self.hits if hit.exact}
        return next(iter(exact.values())) if len(exact) == 1 else None


def find(asked: str) -> FoundHits:
    """Everything that bears the words asked; seven statements."""
    key = fold(asked)
    if not key:
        return FoundHits(asked, ())
    hits = [*items(asked, key), *jobs(key), *customers(asked), *batches(key), *lots(key), *places(key), *orders(key)]
    return FoundHits(asked, tuple(sorted(hits, key=lambda hit: not hit.exact)))


def items(asked: str, key: str) -> Iterator[Hit]:
    """Items by part number, other number, maker's number or words of their description."""
    number = Q(folded__contains=key) | Q(other_numbers__folded__contains=key) | Q(folded_maker_number__contains=key)
    words = Q()
    for word in asked.split():
        words &= Q(description__icontains=word)
    exactly = set(Item.objects.by_any_number(asked).values_list("pk", flat=True))
    found = Item.objects.filter(Q(pk__in=exactly) | number | words).distinct().order_by("folded")
    for item in found[:MOST_OF_A_KIND]:
        leads_to = item.kind if item.kind in ("kit", "pump") else "part"
        yield Hit(leads_to, item.part_number, item.part_number, item.description, item.pk in exactly)


def jobs(key: str) -> Iterator[Hit]:
    """Jobs by their number or the serial of their pump."""
    found = Job.objects.filter(Q(folded__contains=key) | Q(serial__icontains=key)).select_related("pump")
    for job in found[:MOST_OF_A_KIND]:
        serial = f", serial {job.serial}" if job.serial else ""
        what = f"{job.pump.part_number}, {job.scope}{serial}{f', for {job.customer}' if job.customer else ''}"
        yield Hit("job", job.job, job.job, what, key in (job.folded, fold(job.serial)))


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
    """Lots by code, or by the maker's own batch; they lead to the sheet of the lot."""
    found = Lot.objects.filter(Q(folded__contains=key) | Q(maker_batch__icontains=key)).select_related("item")
    for lot in found[:MOST_OF_A_KIND]:
        what = f"lot of {lot.item.part_number}, {lot.item.description}"
        yield Hit("lot", str(lot.pk), lot.lot, what, key in (lot.folded, fold(lot.maker_batch)))


def places(key: str) -> Iterator[Hit]:
    """Places by name."""
    for place in Place.objects.filter(folded__contains=key)[:MOST_OF_A_KIND]:
        yield Hit("place", place.place, place.place, place.get_kind_display().lower(), key == place.folded)


def orders(key: str) -> Iterator[Hit]:
    """Open orders by number."""
    found = OrderLine.objects.open().filter(folded_order__contains=key).select_related("supplier")
    for line in found[:MOST_OF_A_KIND]:
        yield Hit("order", line.order, f"{line.order}, {line.line}", line.supplier.supplier, key == line.folded_order)

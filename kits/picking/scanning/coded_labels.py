"""Labels of whatever bears a code: bins, lots, bags, jobs, parts and orders."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from datetime import date

from django.db.models import QuerySet

from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.picking.models import Bag
from kits.picking.queries import marked
from kits.picking.scanning.scanned import FIND
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.texts import Code, CodeKind
from kits.stock.lists.labels import balances_of_lots, labels_of
from kits.stock.models import Place
from kits.stock.words import PlaceKind


def labels_for(code: Code, *, today: date) -> list[CodedLabel]:
    """Return the label of the one thing that a code names; of a lot one for each place where some of it lies."""
    return MAKE[code.kind]([one.key for one in FIND[code.kind](code.number)], today)


def place_labels(places: Collection[int], today: date | None = None) -> list[CodedLabel]:
    """Return the labels of places, in the order of the walk."""
    return [_place(place) for place in Place.objects.filter(pk__in=places)]


def bags_of_round(number: int) -> QuerySet[Bag]:
    """Return the bags that a round fills, by their numbers."""
    return Bag.objects.filter(shares__line__pick_round=number).select_related("job__pump").distinct()


def bag_labels(bags: Iterable[Bag], lacks: str = "") -> list[CodedLabel]:
    """Return the labels of bags, whose jobs and pumps are at hand; ``lacks`` is what is still missing in them."""
    return [
        CodedLabel(
            Code(CodeKind.BAG, str(bag.number)),
            head=f"Bag {bag.number} · {bag.job.job}",
            what=f"{bag.job.pump.part_number}, {bag.job.scope}",
            facts=(
                ("Build", in_full(bag.job.build_on)),
                *((("For", bag.job.customer),) if bag.job.customer else ()),
                *((("Lacks", lacks),) if lacks else ()),
            ),
            mind=marked(bag).upper(),
        )
        for bag in bags
    ]


def _place(place: Place) -> CodedLabel:
    says = "" if place.kind == PlaceKind.BIN else place.get_kind_display()
    return CodedLabel(Code(CodeKind.PLACE, place.place), head=place.place, what=says)


def _lots(keys: list[int], today: date) -> list[CodedLabel]:
    return [label.coded for label in labels_of(balances_of_lots(keys), today=today)]


def _bags(keys: list[int], today: date) -> list[CodedLabel]:
    return bag_labels(Bag.objects.filter(pk__in=keys).select_related("job__pump"))


def _jobs(keys: list[int], today: date) -> list[CodedLabel]:
    return [
        CodedLabel(
            Code(CodeKind.JOB, job.job),
            head=job.job,
            what=f"{job.pump.part_number}, {job.scope}",
            facts=tuple(
                (word, said)
                for word, said in (("Serial", job.serial), ("For", job.customer), ("Build", in_full(job.build_on)))
                if said
            ),
        )
        for job in Job.objects.filter(pk__in=keys).select_related("pump")
    ]


def _parts(keys: list[int], today: date) -> list[CodedLabel]:
    return [
        CodedLabel(
            Code(CodeKind.PART, item.part_number),
            head=item.part_number,
            what=item.description,
            size=" · ".join(filter(None, (item.size, item.material, item.hardness))),
            facts=(("Home", item.home_place),) if item.home_place else (),
        )
        for item in Item.objects.filter(pk__in=keys)
    ]


def _orders(keys: list[int], today: date) -> list[CodedLabel]:
    return [
        CodedLabel(Code(CodeKind.ORDER, line.order), head=line.order, what=line.supplier.supplier)
        for line in OrderLine.objects.filter(pk__in=keys).select_related("supplier")
    ]


MAKE: dict[CodeKind, Callable[[list[int], date], list[CodedLabel]]] = {
    CodeKind.PLACE: place_labels,
    CodeKind.LOT: _lots,
    CodeKind.BAG: _bags,
    CodeKind.JOB: _jobs,
    CodeKind.PART: _parts,
    CodeKind.ORDER: _orders,
}

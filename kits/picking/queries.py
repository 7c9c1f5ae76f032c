"""Reads of picking that actions and sheets share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Sum

from kits.catalog.amounts import Amount
from kits.catalog.words import Cleanliness
from kits.picking.models import Bag, PickShare
from kits.picking.words import CLASS_SAYS, LineState, RoundState
from kits.schedule.models import Job
from kits.stock.last_use import last_use_day
from kits.stock.models import Balance, Movement
from kits.stock.words import PostingKind


@dataclass(frozen=True, slots=True)
class HeldForJob:
    """What open lines of running rounds hold for a job already: millionths of an item, from one lot."""

    job: str
    part_number: str
    lot: str
    quantity: int


def held_on_rounds(job_ids: Collection[int] | None = None) -> list[HeldForJob]:
    """Return what open lines of running rounds hold, for some jobs or for all; one statement."""
    shares = PickShare.objects.filter(line__state=LineState.OPEN, line__pick_round__state=RoundState.RUNNING)
    if job_ids is not None:
        shares = shares.filter(bag__job__in=job_ids)
    rows = shares.order_by("pk").values_list(
        F("bag__job__job"), F("line__lot__item__part_number"), F("line__lot__lot"), F("asked")
    )
    return [HeldForJob(*row) for row in rows]


def bag_balances(job: Job) -> list[Balance]:
    """Return what is in a job's bag, with lots and items, what was never counted as issued in front; one statement."""
    rows = Balance.objects.of_jobs().filter(job=job, quantity__gt=0).select_related("lot__item", "job", "place")
    return sorted(rows, key=lambda row: (row.lot.item.folded, row.lot.folded, row.state, row.pk))


def bags_of(jobs: Iterable[Job]) -> dict[str, list[Bag]]:
    """Return the bags of jobs by job; one statement."""
    found: dict[str, list[Bag]] = defaultdict(list)
    for bag in Bag.objects.filter(job__in=jobs).select_related("job").order_by("number"):
        found[bag.job.job].append(bag)
    return found


def named(bag: Bag) -> str:
    """Return the number of a bag with what stands on it: 12 oxygen-clean."""
    return " ".join(filter(None, (str(bag.number), marked(bag))))


def marked(bag: Bag) -> str:
    """Return what stands on a bag besides its number and its job; empty where nothing has to."""
    if bag.cleanliness != Cleanliness.NORMAL:
        return CLASS_SAYS[Cleanliness(bag.cleanliness)]
    return "ordinary parts only" if bag.job.cleanliness != Cleanliness.NORMAL else ""


def places_of_lots(job: Job) -> dict[int, int]:
    """Return the place from which each lot last came into a job's bag; one statement."""
    rows = PickShare.objects.filter(bag__job=job, picked__gt=0).order_by("line__pk")
    return dict(rows.values_list("line__lot_id", "line__place_id"))


@dataclass(frozen=True, slots=True)
class LotUsed:
    """A lot of which something went into a pump and stayed there; ``suspect`` says so of one under suspicion."""

    lot_id: int
    job: str
    serial: str
    part_number: str
    what: str
    lot: str
    quantity: Amount
    last_use_on: date | None
    maker_batch: str
    certificate: str
    suspect: str = ""


def lots_used(jobs: Iterable[Job]) -> list[LotUsed]:
    """Return the lots that were used up in the pumps of closed jobs, by job and part; one statement.

    For a serial these are the jobs that name it; a kit stands here as the kit's own lot.
    """
    rows = (
        Movement.objects.filter(
            balance__job__in=list(jobs), posting__kind=PostingKind.CONSUME, posting__reversed_by__isnull=True
        )
        .order_by("balance__job__folded", "balance__lot__item__folded", "balance__lot__folded")
        .values_list(
            "balance__lot",
            "balance__job__job",
            "balance__job__serial",
            "balance__lot__item__part_number",
            "balance__lot__item__description",
            "balance__lot__item__stock_unit",
            "balance__lot__item__shelf_life_months",
            "balance__lot__lot",
            "balance__lot__cure_on",
            "balance__lot__printed_last_use_on",
            "balance__lot__maker_batch",
            "balance__lot__certificate",
        )
        .annotate(used=-Sum("quantity"))
    )
    return [
        LotUsed(
            lot_id=lot_id,
            job=job,
            serial=serial,
            part_number=part_number,
            what=what,
            lot=lot,
            quantity=Amount.of(used, unit),
            last_use_on=last_use_day(cured, printed, months),
            maker_batch=batch,
            certificate=certificate,
        )
        for lot_id, job, serial, part_number, what, unit, months, lot, cured, printed, batch, certificate, used in rows
    ]

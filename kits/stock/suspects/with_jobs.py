"""Lots under suspicion in the bags and pumps of jobs, and what the lead decided on them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from kits.schedule.models import Job
from kits.stock.errors import StockRefusal
from kits.stock.models import Balance, Concession, KitPiece, Lot, Movement, Suspicion
from kits.stock.suspicions import reached
from kits.stock.words import PostingKind


@dataclass(frozen=True, slots=True)
class SuspectHeld:
    """A lot that a job holds or that went into its pump, and the suspicion that it is under, itself or in a kit.

    ``concession`` is the decision of the lead that it may, None where nobody has decided.
    """

    lot: Lot
    suspicion: Suspicion
    concession: Concession | None


def suspects_of(job: Job, lot_ids: Collection[int] | None = None) -> list[SuspectHeld]:
    """Return what of some lots, or of all that a job holds or that went into its pump, is under suspicion.

    One statement where no lot is, else up to six.
    """
    standing = list(
        Suspicion.objects.filter(lifted_at__isnull=True).select_related("lot__item", "by").order_by("lot__item__folded")
    )
    if not standing:
        return []
    held = set(_held_by(job) if lot_ids is None else lot_ids)
    pieces = list(KitPiece.objects.filter(piece_lot__isnull=False, quantity__gt=0).values_list("kit_lot", "piece_lot"))
    found = [(lot, one) for one in standing for lot in sorted(reached({one.lot_id}, pieces) & held)]
    lots = Lot.objects.select_related("item").in_bulk({lot for lot, _ in found})
    decided = {one.suspicion_id: one for one in concessions_of(job) if one.taken_back_at is None}
    return [SuspectHeld(lots[lot], one, decided.get(one.pk)) for lot, one in found]


def concessions_of(job: Job) -> list[Concession]:
    """Return what the lead decided on suspect lots of a job, the latest first; one statement."""
    rows = Concession.objects.filter(job=job).select_related("suspicion__lot__item", "by", "taken_back_by")
    return list(rows)


def suspect_lots_of(suspects: Iterable[SuspectHeld]) -> dict[int, SuspectHeld]:
    """Return them by lot, those on which nobody has decided before the others."""
    ordered = sorted(suspects, key=lambda one: one.concession is None)
    return {one.lot.pk: one for one in ordered}


def refuse_undecided(job: Job, done: str, lot_ids: Collection[int] | None = None) -> None:
    """Refuse that a pump goes on with a lot under suspicion on which the lead has not decided.

    ``done`` says what it cannot be: closed, handed over, tested, shipped.
    """
    for one in suspects_of(job, lot_ids):
        if one.concession is None:
            raise StockRefusal(f"{job} cannot be {done}: {suspect_says(one)}.")


def suspect_says(one: SuspectHeld) -> str:
    """What is the matter with a lot, and what can be done."""
    inside = "" if one.lot.pk == one.suspicion.lot_id else f", which holds lot {one.suspicion.lot.lot},"
    return (
        f"lot {one.lot.lot} of {one.lot.item}{inside} is under suspicion ({one.suspicion.reason}), and the service "
        "lead has not decided whether it may go into this pump"
    )


def _held_by(job: Job) -> set[int]:
    held = Balance.objects.of_jobs().filter(job=job, quantity__gt=0).values_list("lot_id", flat=True)
    used = Movement.objects.filter(
        balance__job=job, posting__kind=PostingKind.CONSUME, posting__reversed_by__isnull=True
    ).values_list("balance__lot_id", flat=True)
    return {*held, *used}

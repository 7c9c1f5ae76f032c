"""The lots of one job: what was given to it, what of it went into the pump, and which of them are under suspicion."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from kits.catalog.amounts import Amount
from kits.picking.queries import LotUsed, bag_balances, lots_used
from kits.schedule.models import Job
from kits.schedule.stages import OPENED
from kits.stock.models import Concession
from kits.stock.suspects.with_jobs import SuspectHeld, concessions_of, suspect_lots_of, suspects_of


@dataclass(frozen=True, slots=True)
class JobLots:
    """``in_bag`` is given to the job and not yet decided upon, ``used`` went into the pump when it was closed."""

    in_bag: tuple[LotUsed, ...]
    used: tuple[LotUsed, ...]
    can_be_closed: bool
    suspects: tuple[SuspectHeld, ...]
    concessions: tuple[Concession, ...]


def job_lots(job: Job) -> JobLots:
    """Return the lots of a job; four statements, and more where a lot is under suspicion."""
    suspects = tuple(suspects_of(job))
    in_bag = tuple(marked(_given(job), suspects))
    return JobLots(
        in_bag,
        used=tuple(marked(lots_used([job]), suspects)),
        can_be_closed=job.asks and (bool(in_bag) or job.stage in OPENED),
        suspects=suspects,
        concessions=tuple(concessions_of(job)),
    )


def marked(lots: Iterable[LotUsed], suspects: Iterable[SuspectHeld]) -> list[LotUsed]:
    """Return the lots, those under suspicion with what is to be said of them."""
    found = suspect_lots_of(suspects)
    return [replace(lot, suspect=mark_of(found[lot.lot_id])) if lot.lot_id in found else lot for lot in lots]


def mark_of(one: SuspectHeld) -> str:
    """What is said of a suspect lot in a word or two."""
    return "under suspicion" if one.concession is None else "under suspicion, may be used here"


def _given(job: Job) -> list[LotUsed]:
    """One row for each lot, whatever the state in which the job holds it."""
    rows: dict[int, LotUsed] = {}
    for balance in bag_balances(job):
        lot, item = balance.lot, balance.lot.item
        before = rows[lot.pk].quantity.millionths if lot.pk in rows else 0
        rows[lot.pk] = LotUsed(
            lot_id=lot.pk,
            job=job.job,
            serial=job.serial,
            part_number=item.part_number,
            what=item.description,
            lot=lot.lot,
            quantity=Amount.of(before + balance.quantity, item.stock_unit),
            last_use_on=lot.last_use_on,
            maker_batch=lot.maker_batch,
            certificate=lot.certificate,
        )
    return list(rows.values())

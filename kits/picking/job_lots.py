"""The lots of one job: what was given to it, and what of it went into the pump."""

from __future__ import annotations

from dataclasses import dataclass

from kits.catalog.amounts import Amount
from kits.picking.queries import LotUsed, bag_balances, lots_used
from kits.schedule.models import Job
from kits.schedule.stages import OPENED


@dataclass(frozen=True, slots=True)
class JobLots:
    """``in_bag`` is given to the job and not yet decided upon, ``used`` went into the pump when it was closed."""

    in_bag: tuple[LotUsed, ...]
    used: tuple[LotUsed, ...]
    can_be_closed: bool


def job_lots(job: Job) -> JobLots:
    """Return the lots of a job; two statements."""
    in_bag = tuple(_given(job))
    return JobLots(in_bag, tuple(lots_used([job])), can_be_closed=job.asks and (bool(in_bag) or job.stage in OPENED))


def _given(job: Job) -> list[LotUsed]:
    """One row for each lot, whatever the state in which the job holds it."""
    rows: dict[int, LotUsed] = {}
    for balance in bag_balances(job):
        lot, item = balance.lot, balance.lot.item
        before = rows[lot.pk].quantity.millionths if lot.pk in rows else 0
        rows[lot.pk] = LotUsed(
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

"""What is with jobs and may come back from the bench."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kits.catalog.amounts import Amount
from kits.stock.models import Balance
from kits.stock.packets import may_be_resealed
from kits.stock.words import HeldAs

STATE_SAYS = {HeldAs.BAGGED: "in the bag", HeldAs.ISSUED: "at the bench", HeldAs.EXTRA: "at the bench, as an extra"}


@dataclass(frozen=True, slots=True)
class WithJobRow:
    """Pieces of a lot that a job holds; ``home`` is where the item lies, ``comes_back`` whether to a usable packet."""

    balance_id: int
    job: str
    serial: str
    part_number: str
    item_kind: str
    what: str
    lot: str
    quantity: Amount
    state: str
    home: str
    comes_back: bool
    last_use_on: date | None


def with_job_rows(job: str = "") -> list[WithJobRow]:
    """What jobs hold, of one job if named, by job and part; one statement."""
    balances = Balance.objects.of_jobs().filter(quantity__gt=0).select_related("lot__item", "job")
    if job:
        balances = balances.filter(job__job=job)
    return [_row(balance) for balance in balances.order_by("job__folded", "lot__item__folded", "lot__folded", "id")]


def _row(balance: Balance) -> WithJobRow:
    lot, item, job = balance.lot, balance.lot.item, balance.job
    assert job is not None
    return WithJobRow(
        balance_id=balance.pk,
        job=job.job,
        serial=job.serial,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=lot.lot,
        quantity=Amount.of(balance.quantity, item.stock_unit),
        state=STATE_SAYS[HeldAs(balance.state)],
        home=item.home_place,
        comes_back=may_be_resealed(item),
        last_use_on=lot.last_use_on,
    )

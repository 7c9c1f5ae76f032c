"""Reads of outside work: what is out, for which job, and what of it is past its promise."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, QuerySet

from bom.structure.calendar import ShopCalendar
from kits.catalog.amounts import Amount
from kits.catalog.days.words import words_for_day
from kits.purchasing.models import OutsideWork
from kits.purchasing.rates.conversion import InBoth, Rates
from kits.schedule.models import Job, Verdict
from kits.schedule.words import VerdictWord
from kits.stock.models import Balance
from kits.stock.words import Condition


@dataclass(frozen=True, slots=True)
class OutRow:
    """Pieces that are out, or were; ``days_late`` are working days since the promise while they are out."""

    pk: int
    supplier: str
    work: str
    part_number: str
    what: str
    leads_to: str
    piece: str
    quantity: Amount
    job: str
    sent_on: date
    promised_on: date
    days_late: int
    price: Decimal | None
    currency: str
    is_out: bool
    state: str
    back_on: date | None

    def says(self, as_of: date) -> str:
        """What is waited for, in half a sentence."""
        overdue = ", overdue" if self.promised_on < as_of else ""
        promised = words_for_day(self.promised_on, as_of)
        return f"{self.piece} of {self.part_number} at {self.supplier}, promised for {promised}{overdue}"


def out_row(work: OutsideWork, today: date, calendar: ShopCalendar | None = None) -> OutRow:
    """One piece of outside work as it is shown."""
    is_out = not work.outcome
    late = calendar.between(work.promised_on, today) if calendar and is_out else 0
    return OutRow(
        pk=work.pk,
        supplier=work.supplier.supplier,
        work=work.work,
        part_number=work.item.part_number,
        what=work.item.description,
        leads_to=work.item.kind,
        piece=f"lot {work.lot.lot}" if work.lot else work.where,
        quantity=Amount.of(work.quantity, work.item.stock_unit),
        job=work.job.job if work.job else "",
        sent_on=work.sent_on,
        promised_on=work.promised_on,
        days_late=late,
        price=work.price,
        currency=work.supplier.currency,
        is_out=is_out,
        state="out" if is_out else str(work.get_outcome_display()),
        back_on=work.back_on,
    )


def outside_list(today: date, calendar: ShopCalendar, *, every: bool = False) -> list[OutRow]:
    """What is out, the first promised on top, or everything that ever was; one statement."""
    found = _named() if every else _named().filter(outcome="").order_by("promised_on", "pk")
    return [out_row(work, today, calendar) for work in found]


def of_job(job: Job, today: date) -> list[OutRow]:
    """Everything that was sent out for a job, the latest first; one statement."""
    return [out_row(work, today) for work in _named().filter(job=job)]


def waited_for(jobs: Collection[str] | None, today: date) -> dict[str, list[OutRow]]:
    """By job, the pieces that it waits for, the last promised at the end; of all jobs where none are named.

    A position that was decided otherwise since is not waited for, wherever its piece may be. One statement.
    """
    rework = Verdict.objects.filter(
        job=OuterRef("job"), folded=OuterRef("folded"), item=OuterRef("item"), verdict=VerdictWord.REWORK
    )
    found = _named().filter(outcome="", job__isnull=False).filter(Q(where="") | Exists(rework))
    if jobs is not None:
        found = found.filter(job__job__in=jobs)
    rows: dict[str, list[OutRow]] = {}
    for work in found.order_by("promised_on", "pk"):
        row = out_row(work, today)
        rows.setdefault(row.job, []).append(row)
    return rows


def positions_to_send(job: Job) -> list[Verdict]:
    """Positions that the strip report sends for rework and that are not out; two statements."""
    out = set(OutsideWork.objects.filter(job=job, outcome="").values_list("folded", "item_id"))
    found = job.verdicts.filter(verdict=VerdictWord.REWORK).select_related("item")
    return [verdict for verdict in found if (verdict.folded, verdict.item_id) not in out]


def lots_to_send(part_number: str) -> list[Balance]:
    """What lies of a part on the shelf and may be sent out; one statement."""
    found = Balance.objects.on_shelf().filter(
        lot__item__part_number=part_number, quantity__gt=0, condition=Condition.USABLE, lot__owner=""
    )
    return list(found.exclude(lot__item__kind="kit").select_related("lot__item", "place").order_by("lot__lot", "place"))


def price_says(row: OutRow, rates: Rates) -> tuple[str, InBoth | None]:
    """What the work costs, and in both currencies where it is abroad."""
    if row.price is None:
        return "", None
    return f"{row.price.normalize():f} {row.currency or rates.home}".rstrip(), rates.in_both(row.price, row.currency)


def _named() -> QuerySet[OutsideWork]:
    return OutsideWork.objects.select_related("supplier", "item", "job", "lot")

"""What is done with outside work: pieces go out, their promise moves, they come back, or were not sent after all."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Sum

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import quantity_text
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import OutsidePromise, OutsideWork, Supplier
from kits.purchasing.outside_models import OutsideOutcome
from kits.schedule.models import Job, Verdict
from kits.schedule.words import VerdictWord
from kits.stock.ledger import Entry, OnShelf, post, reverse
from kits.stock.models import Balance, Hold, Lot, Posting, Reservation
from kits.stock.packets import may_be_resealed
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, Decides, Packet, PostingKind
from kits.stock.writes import refuse_part_of_a_piece


@dataclass(frozen=True, slots=True)
class WorkWanted:
    """What is wanted of whom: the work in words, what was in the pieces and how they were cleaned, day and price."""

    supplier: Supplier
    work: str
    left_in: str
    sent_on: date
    promised_on: date
    price: Decimal | None = None
    wants_certificate: bool = False


def send_position(
    *, wanted: WorkWanted, verdict: Verdict, by: User, at: datetime, today: date, key: str
) -> OutsideWork:
    """Send out the piece of a position that the strip report sends for rework; it belongs to no lot."""
    with transaction.atomic(durable=True):
        mark_shop()
        if (earlier := _logged(key)) is not None:
            return earlier
        found = Verdict.objects.select_for_update().get(pk=verdict.pk)
        if found.verdict != VerdictWord.REWORK:
            raise Refusal(f"{found.where} of {found.job} is not out for rework any more: look at its strip report.")
        if OutsideWork.objects.filter(job=found.job, folded=found.folded, item=found.item, outcome="").exists():
            raise Refusal(f"{found.where} of {found.job} is out already: look at what is out for the job.")
        work = _new(wanted, found.job, today, by, at, key)
        work.item, work.where, work.quantity = found.item, found.where, ONE
        work.save()
        return work


def send_from_shelf(
    *,
    wanted: WorkWanted,
    source: OnShelf,
    quantity: int,
    job: Job | None,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> OutsideWork:
    """Send out pieces of a lot: they leave their place, and are on hand again when they come back."""
    with transaction.atomic(durable=True):
        mark_shop()
        if (earlier := _logged(key)) is not None:
            return earlier
        if quantity <= 0:
            raise Refusal("Nothing was sent: write how many pieces go out.")
        lot = refuse_part_of_a_piece(source.lot_id, quantity)
        if lot.pk in lots_under_suspicion():
            raise Refusal(f"{lot} is under suspicion: it goes nowhere before that is lifted.")
        _refuse_set_aside(lot, quantity, job)
        work = _new(wanted, job, today, by, at, key)
        reason = f"to {wanted.supplier}: {wanted.work}"[:500]
        work.item, work.lot, work.quantity = lot.item, lot, quantity
        work.taken_by = post(
            entries=[Entry(source, -quantity)], kind=PostingKind.SEND_OUT, by=by, at=at, key=key, reason=reason, job=job
        )
        work.save()
        return work


def take_back_in(
    *,
    work: OutsideWork,
    outcome: str,
    on: date,
    note: str,
    certificate: str,
    place_id: int | None,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> None:
    """Say once how pieces came back, or that they will not; what is of a lot goes to its place, or into quarantine."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        found = _still_out(work)
        if not found.sent_on <= on <= today:
            raise Refusal(
                f"It was sent on {in_full(found.sent_on)} and today is {in_full(today)}: write a day between the two."
            )
        good = outcome == OutsideOutcome.GOOD
        if not good and not note.strip():
            raise Refusal("Write what is wrong with it, or why it will not come back.")
        if good and found.wants_certificate and not certificate.strip():
            raise Refusal("A certificate was asked for: write its number, or take the pieces back as not good.")
        if found.lot is not None and outcome != OutsideOutcome.LOST:
            if place_id is None:
                raise Refusal("Choose the place into which the pieces were put.")
            found.brought_by = _back_to_shelf(found, found.lot, good, place_id, note.strip(), by, at, key)
        found.outcome, found.back_on, found.back_note = OutsideOutcome(outcome), on, note.strip()
        found.certificate, found.back_by, found.back_at = certificate.strip(), by, at
        found.save()


def take_sending_back(*, work: OutsideWork, why: str, by: User, at: datetime, today: date, key: str) -> None:
    """Say that pieces were not sent after all: they lie where they lay."""
    if not why.strip():
        raise Refusal("Write why it was not sent after all.")
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        found = _still_out(work)
        if found.taken_by is not None:
            found.brought_by = reverse(posting=found.taken_by, by=by, at=at, key=key, reason=why.strip())
        found.outcome, found.back_on, found.back_note = OutsideOutcome.NOT_SENT, max(today, found.sent_on), why.strip()
        found.back_by, found.back_at = by, at
        found.save()


def move_outside_promise(
    *, work: OutsideWork, promised_on: date, says: str, by: User, at: datetime, today: date, key: str
) -> None:
    """Give pieces that are out another promised day, with who said so; the day before stays in their history."""
    if not says.strip():
        raise Refusal("Write who said so, and why.")
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        found = _still_out(work)
        if promised_on < today:
            raise Refusal(f"{in_full(promised_on)} has passed: write a day from today on.")
        if promised_on == found.promised_on:
            raise Refusal(f"It is promised for {in_full(promised_on)} already: write another day.")
        OutsidePromise.objects.create(
            key=key,
            outside_work=found,
            was_on=found.promised_on,
            promised_on=promised_on,
            says=says.strip(),
            by=by,
            at=at,
        )
        OutsideWork.objects.filter(pk=found.pk).update(promised_on=promised_on)


def _logged(key: str) -> OutsideWork | None:
    log_request(key)
    return OutsideWork.objects.filter(key=key).first()


def _new(wanted: WorkWanted, job: Job | None, today: date, by: User, at: datetime, key: str) -> OutsideWork:
    if wanted.sent_on > today:
        raise Refusal(f"{in_full(wanted.sent_on)} is still to come: write the day on which it went out.")
    if wanted.promised_on < wanted.sent_on:
        raise Refusal(
            f"It was promised for {in_full(wanted.promised_on)}, before it was sent: correct one of the two days."
        )
    if job is not None and not job.asks:
        raise Refusal(
            f"{job} is {job.get_stage_display().lower()} and asks for nothing: send the pieces without a job."
        )
    return OutsideWork(
        key=key,
        supplier=wanted.supplier,
        work=wanted.work,
        left_in=wanted.left_in,
        job=job,
        sent_on=wanted.sent_on,
        promised_on=wanted.promised_on,
        price=wanted.price,
        wants_certificate=wanted.wants_certificate,
        by=by,
        at=at,
    )


def _refuse_set_aside(lot: Lot, quantity: int, job: Job | None) -> None:
    """Nothing goes out that lies aside for another job."""
    shelf = Balance.objects.on_shelf().filter(lot=lot, condition=Condition.USABLE)
    aside = Reservation.objects.filter(lot=lot)
    if job is not None:
        aside = aside.exclude(job=job)
    held, kept = (found.aggregate(total=Sum("quantity"))["total"] or 0 for found in (shelf, aside))
    if kept and held - quantity < kept:
        raise Refusal(f"{lot} has {quantity_text(kept)} set aside for other jobs: free that first, or send fewer.")


def _still_out(work: OutsideWork) -> OutsideWork:
    """The row, locked; refuse what somebody took back meanwhile."""
    found = OutsideWork.objects.select_for_update(of=("self",)).select_related("lot__item", "taken_by").get(pk=work.pk)
    if found.outcome:
        raise Refusal(f"Outside work {found.pk} is closed already, {found.get_outcome_display()}: look at it again.")
    return found


def _back_to_shelf(
    found: OutsideWork, lot: Lot, good: bool, place_id: int, note: str, by: User, at: datetime, key: str
) -> Posting:
    if good and lot.pk in lots_under_suspicion():
        raise Refusal(f"{lot} has come under suspicion: take it back as not good, into quarantine.")
    if good and not may_be_resealed(lot.item):
        raise Refusal(f"{lot.item} may not be used without its packet: take it back as not good, into quarantine.")
    if not good:
        Hold.objects.create(lot=lot, decides=Decides.PURCHASING, reason=note, by=by, at=at)
    condition = Condition.USABLE if good else Condition.QUARANTINE
    target = OnShelf(lot.pk, place_id, condition.value, Packet.RESEALED.value)
    says = f"from {found.supplier}: {found.work}{'' if good else ', ' + note}"[:500]
    entries = [Entry(target, found.quantity)]
    return post(entries=entries, kind=PostingKind.COME_BACK, by=by, at=at, key=key, reason=says, job=found.job)

"""What is done about a lot that may be bad: freeze it with every kit that holds it, lift that, let a pump have it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, account_of, post, posted
from kits.stock.models import Balance, Concession, Hold, Lot, Movement, Posting, Suspicion
from kits.stock.suspicions import lots_under_suspicion, with_kits
from kits.stock.words import Condition, Decides, PostingKind


def freeze_lot(*, lot: Lot, reason: str, by: User, at: datetime, key: str) -> Suspicion:
    """Put a lot, and every kit that holds it, into quarantine where it lies, once per key."""
    if not reason.strip():
        raise StockRefusal(f"{lot} cannot be frozen without a reason: write what is wrong, or who says so.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Suspicion.objects.filter(key=key).first()) is not None:
            return earlier
        if standing := Suspicion.objects.filter(lot=lot, lifted_at__isnull=True).select_related("by").first():
            since = in_full(timezone.localtime(standing.at).date())
            raise StockRefusal(f"{lot} is under suspicion already, since {since} by {standing.by}: look at it there.")
        made = Suspicion.objects.create(lot=lot, key=key, reason=reason.strip(), by=by, at=at)
        _freeze(made, by, at, f"{key}:freeze")
        return made


def freeze_again(*, suspicion: Suspicion, by: User, at: datetime, key: str) -> Posting | None:
    """Freeze what has come back to the shelf since, and return the posting, None where nothing has; once per key."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        if not Suspicion.objects.filter(pk=suspicion.pk, lifted_at__isnull=True).exists():
            raise StockRefusal(f"{suspicion.lot} is under suspicion no longer: freeze the lot anew.")
        return _freeze(suspicion, by, at, key)


def lift_suspicion(*, suspicion: Suspicion, reason: str, by: User, at: datetime, key: str) -> Suspicion:
    """Make usable again what was frozen and still lies there, once per key; what another suspicion holds stays."""
    if not reason.strip():
        raise StockRefusal(f"{suspicion.lot} cannot be made usable again without a reason: write what was found.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Suspicion.objects.filter(lift_key=key).first()) is not None:
            return earlier
        lifted = Suspicion.objects.filter(pk=suspicion.pk, lifted_at__isnull=True).update(
            lift_key=key, lift_reason=reason.strip(), lifted_by=by, lifted_at=at
        )
        if not lifted:
            raise StockRefusal(f"{suspicion.lot} is under suspicion no longer: look at its movements.")
        lots = with_kits({suspicion.lot_id}) - lots_under_suspicion()
        entries = list(_thawed(lots))
        if entries:
            post(entries=entries, kind=PostingKind.LIFT, by=by, at=at, key=f"{key}:lift", reason=reason.strip())
        suspicion.refresh_from_db()
        return suspicion


def concede(*, suspicion: Suspicion, job: Job, reason: str, by: User, at: datetime, key: str) -> Concession:
    """Let a lot under suspicion go into the pump of one job, once per key; it stays frozen everywhere else."""
    if not reason.strip():
        raise StockRefusal(f"{suspicion.lot} does not go into {job} without a reason: write why it may.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Concession.objects.filter(key=key).first()) is not None:
            return earlier
        if not Suspicion.objects.filter(pk=suspicion.pk, lifted_at__isnull=True).exists():
            raise StockRefusal(f"{suspicion.lot} is under suspicion no longer: there is nothing to decide.")
        if standing := Concession.objects.filter(suspicion=suspicion, job=job, taken_back_at__isnull=True).first():
            raise StockRefusal(f"{standing.by} decided that already: {suspicion.lot} may go into {job}.")
        return Concession.objects.create(suspicion=suspicion, job=job, key=key, reason=reason.strip(), by=by, at=at)


def take_concession_back(*, concession: Concession, reason: str, by: User, at: datetime, key: str) -> Concession:
    """Take a concession back, with the reason; a second tap finds it taken back."""
    if not reason.strip():
        raise StockRefusal(f"What was decided on {concession.suspicion.lot} stands until somebody writes why not.")
    with transaction.atomic(durable=True):
        mark_shop()
        if log_request(key):
            standing = Concession.objects.filter(pk=concession.pk, taken_back_at__isnull=True)
            if not standing.update(taken_back_reason=reason.strip(), taken_back_by=by, taken_back_at=at):
                raise StockRefusal(f"What was decided on {concession.suspicion.lot} was taken back already.")
        concession.refresh_from_db()
        return concession


def _freeze(suspicion: Suspicion, by: User, at: datetime, key: str) -> Posting | None:
    lots = with_kits({suspicion.lot_id})
    rows = Balance.objects.select_for_update().on_shelf().filter(lot__in=lots, condition=Condition.USABLE)
    entries = [
        Entry(account, quantity)
        for row in rows.filter(quantity__gt=0).order_by("lot_id", "pk")
        for account, quantity in ((account_of(row), -row.quantity), (_frozen(row), row.quantity))
    ]
    if not entries:
        return None
    reason = f"lot {suspicion.lot.lot} of {suspicion.lot.item} suspected: {suspicion.reason}"[:500]
    posting = post(entries=entries, kind=PostingKind.FREEZE, by=by, at=at, key=key, reason=reason)
    suspicion.freezes.add(posting)
    held = dict.fromkeys(entry.account.lot_id for entry in entries)
    Hold.objects.bulk_create(Hold(lot_id=lot, decides=Decides.LEAD, reason=reason, by=by, at=at) for lot in held)
    return posting


def _frozen(row: Balance) -> OnShelf:
    assert row.place_id is not None, "only the shelf is frozen"
    return OnShelf(row.lot_id, row.place_id, Condition.QUARANTINE.value, row.packet)


def _thawed(lots: Iterable[int]) -> Iterator[Entry]:
    """What freezing put into quarantine, less what lifting took out before, as far as it still lies there."""
    rows = Balance.objects.select_for_update().on_shelf().filter(lot__in=lots, condition=Condition.QUARANTINE)
    rows = rows.filter(quantity__gt=0).order_by("lot_id", "pk")
    moved = Movement.objects.filter(
        balance__in=[row.pk for row in rows], posting__kind__in=(PostingKind.FREEZE, PostingKind.LIFT)
    )
    frozen = dict(moved.order_by().values_list("balance").annotate(net=Sum("quantity")))
    for row in rows:
        back = min(frozen.get(row.pk, 0), row.quantity)
        if back > 0:
            assert row.place_id is not None, "only the shelf is frozen"
            yield Entry(account_of(row), -back)
            yield Entry(OnShelf(row.lot_id, row.place_id, Condition.USABLE.value, row.packet), back)

"""The ledger: the only place where movements are made and balances change.

A posting is a set of movements that stand or fall together. A balance is the sum of its movements, is never below zero,
and changes only in the statement that goes with a movement. Nothing is ever changed or deleted: `reverse` posts the
opposite and points at what it reverses.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import connection
from django.db.models import Case, F, Value, When

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.fields import LARGEST, quantity_text
from kits.people.models import User
from kits.schedule.models import Job
from kits.schedule.stages import DONE
from kits.stock.errors import StockRefusal
from kits.stock.last_counted import COUNTS, latest, look_up_counts
from kits.stock.models import Balance, Movement, Posting
from kits.stock.words import Condition, HeldAs, Packet, PostingKind

LOTS_AT_ONCE = 400
BALANCES_AT_ONCE = 150

TRANSFERS = frozenset(
    {
        PostingKind.PICK,
        PostingKind.EXTRA_ISSUE,
        PostingKind.ISSUE,
        PostingKind.RETURN_TO_LOT,
        PostingKind.TO_QUARANTINE,
        PostingKind.MOVE,
        PostingKind.RELEASE,
        PostingKind.OPEN_PACKET,
        PostingKind.CLOSE_PACKET,
        PostingKind.FREEZE,
        PostingKind.LIFT,
    }
)
"""Kinds that move pieces from one account to another: what leaves must arrive, lot by lot."""


@dataclass(frozen=True, slots=True)
class OnShelf:
    """The account of a lot at a place, in one condition and packet."""

    lot_id: int
    place_id: int
    condition: str = Condition.USABLE.value
    packet: str = Packet.SEALED.value


@dataclass(frozen=True, slots=True)
class WithJob:
    """The account of a lot with a job, bagged, issued or extra; ``place_id`` only says where the bag lies."""

    lot_id: int
    job_id: int
    state: str = HeldAs.BAGGED.value
    place_id: int | None = field(default=None, compare=False)


Account = OnShelf | WithJob


@dataclass(frozen=True, slots=True)
class Entry:
    """What a posting adds to an account, or takes from it when below zero, in millionths of the stock unit."""

    account: Account
    quantity: int


def account_of(balance: Balance) -> Account:
    """Return the account that a balance is kept for."""
    if balance.job_id is None:
        assert balance.place_id is not None
        return OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)
    return WithJob(balance.lot_id, balance.job_id, balance.state, balance.place_id)


def posted(key: str) -> Posting | None:
    """Return what was posted under a request key, or None; refuse a key whose posting was taken back since."""
    earlier = Posting.objects.filter(key=key).first()
    if earlier is not None and Posting.objects.filter(reverses=earlier).exists():
        raise StockRefusal(
            f"This was booked already, as posting {earlier.pk}, and taken back since: open the page anew, and book "
            "what is still to be booked."
        )
    return earlier


def post(
    *,
    entries: Iterable[Entry],
    kind: str,
    by: User | None,
    at: datetime,
    key: str,
    reason: str = "",
    job: Job | None = None,
) -> Posting:
    """Post entries once per key, inside a transaction; refuse what would leave less than nothing.

    Entries of one account are added up. A second call with the same key returns the first posting and changes nothing.
    """
    return _post(_added_up(entries), PostingKind(kind), by=by, at=at, key=key, reason=reason, job=job, reverses=None)


def reverse(*, posting: Posting, by: User | None, at: datetime, key: str, reason: str) -> Posting:
    """Post the opposite of a posting once, inside a transaction, and return the reversal."""
    earlier = Posting.objects.filter(reverses=posting).first()
    if earlier is not None and earlier.key != key:
        raise StockRefusal(f"Posting {posting.pk} was reversed already by posting {earlier.pk}: look at the balances.")
    if posting.kind == PostingKind.REVERSAL:
        raise StockRefusal(f"Posting {posting.pk} is a reversal itself: post what is meant anew.")
    movements = list(posting.movements.select_related("balance"))
    changes = {account_of(movement.balance): -movement.quantity for movement in movements}
    made = _post(changes, PostingKind.REVERSAL, by=by, at=at, key=key, reason=reason, job=posting.job, reverses=posting)
    if posting.kind in COUNTS:
        for some in _chunks([movement.balance_id for movement in movements], BALANCES_AT_ONCE):
            look_up_counts(some)
    return made


def open_accounts(accounts: Iterable[Account]) -> dict[Account, Balance]:
    """Return the balances of the accounts, locked in a fixed order, and open those that are new, at nothing."""
    wanted = dict.fromkeys(accounts)
    found = _locked(wanted)
    missing = [account for account in wanted if account not in found]
    if missing:
        Balance.objects.bulk_create([_new_balance(account) for account in missing], ignore_conflicts=True)
        found = _locked(wanted)
    return found


def _post(
    changes: Mapping[Account, int],
    kind: PostingKind,
    *,
    by: User | None,
    at: datetime,
    key: str,
    reason: str,
    job: Job | None,
    reverses: Posting | None,
) -> Posting:
    if not connection.in_atomic_block:
        raise RuntimeError("The ledger posts inside a transaction only: call it from an action.")
    mark_shop()
    earlier = posted(key)
    if earlier is not None:
        return earlier
    if not changes:
        raise StockRefusal("There is nothing to post: every quantity is 0.")
    if kind in TRANSFERS:
        _refuse_imbalance(changes, kind)
    _refuse_closed_bags(changes, kind)
    balances = open_accounts(changes)
    _refuse_overdraft(changes, balances)
    posting = Posting.objects.create(key=key, kind=kind, reason=reason, by=by, at=at, job=job, reverses=reverses)
    Movement.objects.bulk_create(
        [
            Movement(posting=posting, balance=balances[account], quantity=quantity)
            for account, quantity in changes.items()
        ],
        batch_size=500,
    )
    _change_balances({balances[account].pk: quantity for account, quantity in changes.items()}, kind, at)
    return posting


def _added_up(entries: Iterable[Entry]) -> dict[Account, int]:
    totals: dict[Account, int] = {}
    for entry in entries:
        totals[entry.account] = totals.get(entry.account, 0) + entry.quantity
    return {account: quantity for account, quantity in totals.items() if quantity}


def _locked(accounts: Iterable[Account]) -> dict[Account, Balance]:
    wanted = set(accounts)
    lots = sorted({account.lot_id for account in wanted})
    found: dict[Account, Balance] = {}
    for some in _chunks(lots, LOTS_AT_ONCE):
        # One order for everybody, by lot and then by age, so that two postings never wait for each other.
        rows = Balance.objects.select_for_update().filter(lot_id__in=some).order_by("lot_id", "pk")
        found |= {account: row for row in rows if (account := account_of(row)) in wanted}
    return found


def _new_balance(account: Account) -> Balance:
    if isinstance(account, OnShelf):
        return Balance(
            lot_id=account.lot_id,
            place_id=account.place_id,
            condition=Condition(account.condition),
            packet=Packet(account.packet),
        )
    return Balance(
        lot_id=account.lot_id,
        job_id=account.job_id,
        state=HeldAs(account.state),
        place_id=account.place_id,
        condition="",
        packet="",
    )


def _refuse_closed_bags(changes: Mapping[Account, int], kind: PostingKind) -> None:
    """Nothing goes to a job whose bag was decided upon; lists may say what pumps of the past were given elsewhere."""
    given = {account.job_id for account, quantity in changes.items() if isinstance(account, WithJob) and quantity > 0}
    if not given:
        return
    closed = Job.objects.filter(pk__in=given, stage__in=DONE).order_by("pk")
    if kind in (PostingKind.OPENING, PostingKind.OPENING_RETURN):
        closed = closed.filter(steps__isnull=False).distinct()
    for job in closed:
        raise StockRefusal(
            f"{job} is {job.get_stage_display().lower()} and its bag is decided upon: open the job again first."
        )


def _refuse_imbalance(changes: Mapping[Account, int], kind: PostingKind) -> None:
    left: Counter[int] = Counter()
    for account, quantity in changes.items():
        left[account.lot_id] += quantity
    for lot_id, quantity in left.items():
        if quantity:
            raise StockRefusal(
                f"A posting of kind {kind.value} moves lot {lot_id} from one account to another, but "
                f"{quantity_text(abs(quantity))} {'arrive from nowhere' if quantity > 0 else 'arrive nowhere'}: "
                "name both sides."
            )


def _refuse_overdraft(changes: Mapping[Account, int], balances: Mapping[Account, Balance]) -> None:
    for account, quantity in changes.items():
        held = balances[account].quantity
        if held + quantity < 0:
            named = Balance.objects.select_related("lot__item", "place", "job").get(pk=balances[account].pk)
            raise StockRefusal(
                f"{named} holds {quantity_text(held)}, {quantity_text(-quantity)} cannot be taken from it: "
                "count it, or take another lot."
            )
        if held + quantity > LARGEST:
            raise StockRefusal(f"{quantity_text(quantity)} more is beyond any quantity that can be kept: check it.")


def _change_balances(changes: Mapping[int, int], kind: PostingKind, at: datetime) -> None:
    moments = {"moved_at": latest("moved_at", at)}
    if kind == PostingKind.COUNT:
        moments["counted_at"] = latest("counted_at", at)
    for some in _chunks(sorted(changes), BALANCES_AT_ONCE):
        added = Case(*(When(pk=pk, then=Value(changes[pk])) for pk in some), default=Value(0))
        changed = Balance.objects.filter(pk__in=some).update(quantity=F("quantity") + added, **moments)
        if changed != len(some):
            raise StockRefusal("A balance vanished while it was posted to: try again.")


def _chunks(numbers: Sequence[int], size: int) -> Iterator[Sequence[int]]:
    for start in range(0, len(numbers), size):
        yield numbers[start : start + size]

"""Stores of the storeroom, in bulk, inside a transaction only: what a count, a receipt and a loaded list come to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from bom.structure.cure import parse_cure
from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Account, Entry, OnShelf, WithJob, open_accounts, post
from kits.stock.lot_codes import next_code, refuse_code_made_here
from kits.stock.models import Balance, Lot, Movement, Posting, Reservation
from kits.stock.queries import job_stock
from kits.stock.words import Condition, HeldAs, PostingKind


@dataclass(frozen=True, slots=True)
class LotFacts:
    """What is written on the bag of a lot; ``cure`` as typed."""

    cure: str = ""
    printed_last_use_on: date | None = None
    received_on: date | None = None
    maker_batch: str = ""
    certificate: str = ""
    owner: str = ""


@dataclass(frozen=True, slots=True)
class ShelfCount:
    """What lies in one account of the shelf, as counted; ``quantity`` in millionths."""

    account: OnShelf
    quantity: int


@dataclass(frozen=True, slots=True)
class JobCount:
    """What of one lot is with a job in one state, as listed: reserved, bagged, issued (in all) or returned (in all)."""

    job_id: int
    lot_id: int
    state: str
    quantity: int
    place_id: int | None = None


def store_lot(item: Item, code: str, facts: LotFacts, *, today: date, found: bool = False) -> Lot:
    """Return the lot of this code, made from the facts if it is new; refuse facts that contradict a known lot.

    A blank code is made up: of the day, and for what was found at a stock-take saying so.
    """
    cure = parse_cure(facts.cure, today) if facts.cure else None
    typed = code.strip()
    if typed:
        refuse_code_made_here(item, typed)
    lot = Lot.objects.by_code(item, typed) if typed else None
    if lot is None:
        code = typed or next_code(f"{'FOUND-' if found else ''}{today:%y%m%d}")
        cure_on = cure.starts_on if cure else None
        return Lot.objects.create(item=item, lot=code, made_here=not typed, cure_on=cure_on, **asdict(facts))
    if cure is not None and cure.starts_on != lot.cure_on:
        raise StockRefusal(
            f"Lot {lot.lot} of {item.part_number} has the cure date {lot.cure or 'unknown'}, not {facts.cure}: "
            "receive it under a code of its own."
        )
    if facts.printed_last_use_on is not None and facts.printed_last_use_on != lot.printed_last_use_on:
        raise StockRefusal(
            f"Lot {lot.lot} of {item.part_number} has the printed last use {lot.printed_last_use_on or 'unknown'}, not "
            f"{in_full(facts.printed_last_use_on)}: receive it under a code of its own."
        )
    if fold(facts.owner) != fold(lot.owner):
        raise StockRefusal(
            f"Lot {lot.lot} of {item.part_number} belongs to {lot.owner or 'the shop'}, not to "
            f"{facts.owner or 'the shop'}: receive it under a code of its own."
        )
    return lot


def receive(
    *,
    item: Item,
    lot_code: str,
    facts: LotFacts,
    quantity: int,
    place_id: int,
    by: User | None,
    at: datetime,
    today: date,
    key: str,
    condition: str = Condition.USABLE.value,
    reason: str = "",
) -> Posting:
    """Put received pieces into their lot's sealed account at a place and return the posting."""
    if quantity <= 0:
        raise StockRefusal(f"A receipt of {quantity_text(quantity)} brings nothing: give more than 0.")
    if item.countable and quantity % ONE:
        raise StockRefusal(
            f"A receipt of {quantity_text(quantity)} of {item.part_number} is no whole number, but it is counted in "
            "pieces: give a whole number."
        )
    lot = store_lot(item, lot_code, facts, today=today)
    entry = Entry(OnShelf(lot.pk, place_id, condition), quantity)
    return post(entries=[entry], kind=PostingKind.RECEIVE, by=by, at=at, key=key, reason=reason)


def refuse_part_of_a_piece(lot_id: int, quantity: int) -> Lot:
    """Return the lot; refuse a quantity that is no whole number where the item is counted in pieces."""
    lot = Lot.objects.select_related("item").get(pk=lot_id)
    if lot.item.countable and quantity % ONE:
        raise StockRefusal(
            f"{quantity_text(quantity)} of {lot.item} is no whole number, but it is counted in pieces: give a whole "
            "number."
        )
    return lot


def transfer(
    source: OnShelf, target: OnShelf, quantity: int, kind: PostingKind, by: User, at: datetime, key: str, reason: str
) -> Posting:
    """Post what leaves one account of the shelf for another."""
    entries = [Entry(source, -quantity), Entry(target, quantity)]
    return post(entries=entries, kind=kind, by=by, at=at, key=key, reason=reason.strip())


def post_shelf_counts(
    counts: Sequence[ShelfCount], *, by: User | None, at: datetime, key: str, reason: str = ""
) -> list[Posting]:
    """Bring shelf accounts to what was counted and return the postings: openings of lots without movements, counts."""
    balances = open_accounts(count.account for count in counts)
    moved = _moved_lots({count.account.lot_id for count in counts})
    differences: dict[PostingKind, list[Entry]] = {PostingKind.OPENING: [], PostingKind.COUNT: []}
    for count in counts:
        kind = PostingKind.COUNT if count.account.lot_id in moved else PostingKind.OPENING
        differences[kind].append(Entry(count.account, count.quantity - balances[count.account].quantity))
    return _post_differences(differences, by=by, at=at, key=key, reason=reason)


def set_job_counts(
    counts: Sequence[JobCount], *, by: User | None, at: datetime, key: str, reason: str = ""
) -> list[Posting]:
    """Bring what is with jobs to what is listed, without touching the shelf, and return the postings."""
    mark_shop()
    _set_reservations([count for count in counts if count.state == "reserved"])
    held = {(row.job_id, row.lot_id, row.state): row.quantity for row in job_stock()}
    besides = {(row.job_id, row.lot_id): row.quantity for row in Balance.objects.filter(state=HeldAs.EXTRA)}
    openings: list[Entry] = []
    returns: list[Entry] = []
    for count in counts:
        if count.state == "reserved":
            continue
        missing = count.quantity - held.get((count.job_id, count.lot_id, count.state), 0)
        if count.state == "returned":
            returns.append(Entry(WithJob(count.lot_id, count.job_id, HeldAs.ISSUED.value), -missing))
        else:
            if count.state == HeldAs.ISSUED and missing < 0:
                # What was issued besides stands on the list as issued, and goes off it first.
                extra = min(-missing, besides.get((count.job_id, count.lot_id), 0))
                openings.append(Entry(WithJob(count.lot_id, count.job_id, HeldAs.EXTRA.value), -extra))
                missing += extra
            account = WithJob(count.lot_id, count.job_id, HeldAs(count.state).value, count.place_id)
            openings.append(Entry(account, missing))
    _set_bag_places(openings)
    differences = {PostingKind.OPENING: openings, PostingKind.OPENING_RETURN: returns}
    return _post_differences(differences, by=by, at=at, key=key, reason=reason)


def _post_differences(
    differences: dict[PostingKind, list[Entry]], *, by: User | None, at: datetime, key: str, reason: str
) -> list[Posting]:
    return [
        post(entries=entries, kind=kind, by=by, at=at, key=f"{key}:{kind.value}", reason=reason)
        for kind, entries in differences.items()
        if any(entry.quantity for entry in entries)
    ]


def _moved_lots(lot_ids: Iterable[int]) -> set[int]:
    wanted = set(lot_ids)
    moved = Movement.objects.order_by().values_list("balance__lot_id", flat=True).distinct()
    if len(wanted) <= 500:
        moved = moved.filter(balance__lot_id__in=wanted)
    return wanted & set(moved)


def _set_reservations(counts: Sequence[JobCount]) -> None:
    kept = [count for count in counts if count.quantity]
    for gone in (count for count in counts if not count.quantity):
        Reservation.objects.filter(job_id=gone.job_id, lot_id=gone.lot_id).delete()
    Reservation.objects.bulk_create(
        [
            Reservation(job_id=one.job_id, lot_id=one.lot_id, quantity=one.quantity, place_id=one.place_id)
            for one in kept
        ],
        update_conflicts=True,
        unique_fields=["job", "lot"],
        update_fields=["quantity", "place"],
    )


def _set_bag_places(entries: Iterable[Entry]) -> None:
    wanted: dict[Account, int | None] = {entry.account: entry.account.place_id for entry in entries}
    for account, balance in open_accounts(wanted).items():
        if balance.place_id != wanted[account]:
            Balance.objects.filter(pk=balance.pk).update(place_id=wanted[account])

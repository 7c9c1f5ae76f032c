"""What is done with kits in the storeroom: pack, open, take a piece out, fill up what is owed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from types import MappingProxyType

from django.db import transaction

from bom.values import ONE, Options
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.catalog.words import Cleanliness, ItemKind, Source
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, post, posted
from kits.stock.lot_codes import next_code
from kits.stock.models import Lot, Posting
from kits.stock.packed_kits.contents import HeldPiece, KitRecord, contents_of, listed, put_back, without
from kits.stock.packed_kits.draws import Alike, Free, PieceName, fill_kits, leave_kept, limits
from kits.stock.packed_kits.shelf import free_of_lot, free_pieces
from kits.stock.packed_kits.writes import (
    closed_again,
    code_behind,
    homes,
    lot_of_piece,
    out_of_the_bag,
    store_kit_lot,
)
from kits.stock.packets import is_kept_sealed
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import HeldAs, PostingKind

NOTHING_KEPT: Mapping[PieceName, int] = MappingProxyType({})


def pack_kits(
    *,
    kit: Item,
    count: int,
    place_id: int,
    lives_to: date,
    today: date,
    by: User,
    at: datetime,
    key: str,
    reason: str = "",
    job: Job | None = None,
    options: Options = (),
    kept: Mapping[PieceName, int] = NOTHING_KEPT,
) -> Posting:
    """Pack kits from loose lots that live to a build day, once per key; kits that hold other lots are another lot.

    ``kept`` is left on the shelf for jobs that are built before.
    """
    _refuse_unpackable(kit, count, lives_to, today)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        wanted = listed(kit, lives_to, options)
        shelf = free_pieces(kit, list(wanted), lives_to=lives_to, job=job, locked=True)
        free = leave_kept(shelf, kept)
        _refuse_too_many(kit, count, wanted, free, lives_to, shelf)
        kits = fill_kits(wanted, free, count)
        lots = [_lot_of(kit, one, today) for one in kits]
        entries = [Entry(draw.free.account, -draw.quantity * one.count) for one in kits for draw in one.draws] + [
            Entry(OnShelf(lot.pk, place_id), one.count * ONE) for one, lot in zip(kits, lots, strict=True)
        ]
        posting = post(entries=entries, kind=PostingKind.PACK, by=by, at=at, key=key, reason=reason, job=job)
        taken = [draw.free.account for one in kits for draw in one.draws]
        if rest := closed_again(shelf, taken):
            says = f"packet opened to pack {kit}"
            post(entries=rest, kind=PostingKind.MOVE, by=by, at=at, key=f"{key}:opened", reason=says)
        return posting


def open_kits(
    *,
    kit_lot: Lot,
    account: OnShelf,
    count: int,
    today: date,
    by: User,
    at: datetime,
    key: str,
    reason: str,
    place_id: int | None = None,
) -> Posting:
    """Open kits back into the lots that are in them, once per key; each piece goes to its home bin or to a place."""
    _refuse_no_reason(reason, f"{kit_lot} is opened")
    if count < 1:
        raise StockRefusal(f"{count} kits cannot be opened: give 1 or more.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        _refuse_set_aside(kit_lot, account, count * ONE)
        contents = contents_of([kit_lot], today)[kit_lot.pk]
        # A bag out of which everything was taken is known to be empty: opening it ends the kit.
        if not contents.there and not contents.recorded:
            raise StockRefusal(
                f"Nothing is known of what {kit_lot} holds: write its list first, on the sheet Structure."
            )
        home = homes([one.item for one in contents.there])
        entries = [Entry(account, -count * ONE)]
        for one in contents.there:
            lot, goes = lot_of_piece(one, kit_lot), place_id or home.get(one.item.pk) or account.place_id
            entries.append(Entry(out_of_the_bag(lot, goes, account.condition), one.quantity * count))
        return post(entries=entries, kind=PostingKind.UNPACK, by=by, at=at, key=key, reason=reason)


def rob_kit(
    *,
    kit_lot: Lot,
    account: OnShelf,
    item: Item,
    piece_lot: Lot | None,
    quantity: int,
    today: date,
    by: User,
    at: datetime,
    key: str,
    reason: str,
    job: Job | None = None,
    place_id: int | None = None,
) -> Posting:
    """Take pieces out of one kit, once per key: for a job, or back to their bin. The kit is owed them from then on."""
    _refuse_no_reason(reason, f"a piece is taken out of {kit_lot}")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        _refuse_set_aside(kit_lot, account, ONE)
        _refuse_suspect(kit_lot)
        contents = contents_of([kit_lot], today)[kit_lot.pk]
        held = _held(contents, kit_lot, item, piece_lot, quantity)
        lot = lot_of_piece(held, kit_lot)
        if job is not None:
            _refuse_unfit(lot, job, today)
            goes: OnShelf | WithJob = WithJob(lot.pk, job.pk, HeldAs.ISSUED.value)
        else:
            place = place_id or homes([item]).get(item.pk) or account.place_id
            goes = out_of_the_bag(lot, place, account.condition)
        left = without(contents, item, held.piece_lot_id, quantity)
        entries = [*_to_lot(kit_lot, account, left, today), Entry(goes, quantity)]
        return post(entries=entries, kind=PostingKind.ROB, by=by, at=at, key=key, reason=reason, job=job)


def fill_up_kit(
    *,
    kit_lot: Lot,
    account: OnShelf,
    lives_to: date,
    today: date,
    by: User,
    at: datetime,
    key: str,
    reason: str = "",
    kept: Mapping[PieceName, int] = NOTHING_KEPT,
) -> Posting:
    """Put back what is owed to one kit from loose lots that live to a day, once per key; ``kept`` stays for others."""
    kit = kit_lot.item
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        _refuse_set_aside(kit_lot, account, ONE)
        _refuse_suspect(kit_lot)
        contents = contents_of([kit_lot], today)[kit_lot.pk]
        if not contents.owed:
            raise StockRefusal(f"Nothing is owed to {kit_lot}: look at the kit again.")
        owed: dict[Item, int] = {}
        for one in contents.owed:
            owed[one.item] = owed.get(one.item, 0) + one.owed
        shelf = free_pieces(kit, list(owed), lives_to=lives_to, locked=True)
        free = leave_kept(shelf, kept)
        _refuse_too_many(kit, 1, owed, free, lives_to, shelf)
        (filled,) = fill_kits(owed, free, 1)
        entries = [
            *_to_lot(kit_lot, account, put_back(contents, filled.by_lot()), today),
            *(Entry(draw.free.account, -draw.quantity) for draw in filled.draws),
        ]
        posting = post(entries=entries, kind=PostingKind.FILL_UP, by=by, at=at, key=key, reason=reason)
        if rest := closed_again(shelf, [draw.free.account for draw in filled.draws]):
            says = f"packet opened to fill up {kit_lot}"
            post(entries=rest, kind=PostingKind.MOVE, by=by, at=at, key=f"{key}:opened", reason=says)
        return posting


def _lot_of(kit: Item, alike: Alike, today: date) -> Lot:
    """A new lot for kits that hold the same; it belongs to the customer whose pieces went into it."""
    held = tuple(HeldPiece(lot.item, quantity, lot) for lot, quantity in alike.by_lot().items())
    owner = next((one.piece_lot.owner for one in held if one.piece_lot and one.piece_lot.owner), "")
    return store_kit_lot(kit, next_code(f"{today:%y%m%d}"), KitRecord(held, recorded=True), today=today, owner=owner)


def _to_lot(kit_lot: Lot, account: OnShelf, contents: KitRecord, today: date) -> list[Entry]:
    """One kit leaves its lot for one of its own, at the same place, because it no longer holds what the others do."""
    changed = store_kit_lot(kit_lot.item, code_behind(kit_lot), contents, today=today, like=kit_lot)
    there = OnShelf(changed.pk, account.place_id, account.condition, account.packet)
    return [Entry(account, -ONE), Entry(there, ONE)]


def _held(contents: KitRecord, kit_lot: Lot, item: Item, piece_lot: Lot | None, quantity: int) -> HeldPiece:
    key = piece_lot.pk if piece_lot else None
    held = next((one for one in contents.there if one.item == item and one.piece_lot_id == key), None)
    if held is None:
        raise StockRefusal(
            f"{kit_lot} holds no {item}{f', lot {piece_lot.lot}' if piece_lot else ''}: look at it again."
        )
    if not 0 < quantity <= held.quantity or (item.countable and quantity % ONE):
        raise StockRefusal(
            f"{quantity_text(quantity)} of {item} cannot come out of {kit_lot}: one kit holds "
            f"{quantity_text(held.quantity)}; write a {'whole ' if item.countable else ''}number up to that."
        )
    return held


def _refuse_unpackable(kit: Item, count: int, lives_to: date, today: date) -> None:
    if kit.kind != ItemKind.KIT or kit.source not in (Source.PACK, Source.PACK_ELSE_BUY):
        raise StockRefusal(f"{kit} is not packed here: it is {kit.get_source_display().lower()} in Items, change that.")
    if count < 1:
        raise StockRefusal(f"{count} kits cannot be packed: give 1 or more.")
    if lives_to < today:
        raise StockRefusal(f"The build day {in_full(lives_to)} has passed: name one from {in_full(today)} on.")


def _refuse_too_many(
    kit: Item, count: int, wanted: Mapping[Item, int], free: Sequence[Free], lives_to: date, shelf: Sequence[Free]
) -> None:
    """``shelf`` is what would be free if nothing were kept for others."""
    found = limits(wanted, free)
    if not found:
        raise StockRefusal(
            f"The list of {kit} holds nothing that is counted: write its contents on the sheet Structure."
        )
    if (least := found[0]).kits >= count:
        return
    kept = sum(one.left for one in shelf if one.lot.item == least.item) - least.free
    remedy = (
        f"{quantity_text(kept)} more {'lies' if kept == ONE else 'lie'} there, kept for what is built up to that day. "
        "Do fewer, bring more, or say that it is taken all the same and why."
        if kept > 0
        else "Do fewer, or bring more of it first."
    )
    raise StockRefusal(
        f"{count} × {kit} cannot be put together, {least.kits} can: {quantity_text(least.free)} of {least.item} "
        f"{'lies' if least.free == ONE else 'lie'} free that may be used up to {in_full(lives_to)}, and one kit takes "
        f"{quantity_text(least.in_one)}. {remedy}"
    )


def _refuse_set_aside(kit_lot: Lot, account: OnShelf, quantity: int) -> None:
    if account.lot_id != kit_lot.pk:
        raise StockRefusal(f"{kit_lot} does not lie there: look at the kit again.")
    free = free_of_lot(kit_lot, account)
    if free < quantity:
        raise StockRefusal(
            f"{kit_lot} has {quantity_text(max(free, 0))} there that is set aside for nobody, and "
            f"{quantity_text(quantity)} asked for: do fewer, or free what a job or a round holds."
        )


def _refuse_suspect(kit_lot: Lot) -> None:
    if kit_lot.pk in lots_under_suspicion():
        raise StockRefusal(f"{kit_lot} is under suspicion: nothing may be taken from it until that is lifted.")


def _refuse_unfit(lot: Lot, job: Job, today: date) -> None:
    if job.cleanliness != Cleanliness.NORMAL and is_kept_sealed(lot.item):
        raise StockRefusal(
            f"{job.job} is {job.get_cleanliness_display().lower()} work, and a piece out of an opened kit does not "
            f"count as clean: take {lot.item} from a sealed packet."
        )
    if not job.asks:
        raise StockRefusal(
            f"{job.job} is {job.get_stage_display().lower()} and asks for no parts: put the piece into its bin instead."
        )
    last_use_on, build_on = lot.last_use_on, max(job.build_on, today)
    if last_use_on is not None and last_use_on < build_on:
        raise StockRefusal(
            f"Lot {lot.lot} of {lot.item} may be used up to {in_full(last_use_on)}, but {job.job} is built on "
            f"{in_full(build_on)}: take a piece that lasts longer."
        )


def _refuse_no_reason(reason: str, what: str) -> None:
    if not reason.strip():
        raise StockRefusal(f"Nothing says why {what}: write a reason.")

"""What people do in the storeroom: count, receive, move, hold, open, adjust, scrap, take back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.fields import quantity_text
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, post, posted, reverse
from kits.stock.models import Disposal, Hold, Lot, Place, Posting
from kits.stock.packets import may_be_resealed
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, Decides, DisposalWay, Packet, PlaceKind, PostingKind
from kits.stock.writes import ShelfCount, post_shelf_counts, refuse_part_of_a_piece, transfer


def count_shelf(*, account: OnShelf, counted: int, reason: str, by: User, at: datetime, key: str) -> Posting | None:
    """Bring one shelf account to what was counted and return the posting, None where the count agrees."""
    if counted < 0:
        raise StockRefusal(f"A count of {quantity_text(counted)} is below 0: count what lies there.")
    with transaction.atomic(durable=True):
        mark_shop()
        is_new = log_request(key)
        for kind in (PostingKind.OPENING, PostingKind.COUNT):
            if (earlier := posted(f"{key}:{kind.value}")) is not None:
                return earlier
        if not is_new:
            return None  # it agreed when it was sent first, and left no posting
        postings = post_shelf_counts([ShelfCount(account, counted)], by=by, at=at, key=key, reason=reason)
        return postings[0] if postings else None


def move_stock(
    *, source: OnShelf, target: OnShelf, quantity: int, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Move pieces of a lot to another place, condition or packet and return the posting."""
    if quantity <= 0 or source == target or source.lot_id != target.lot_id:
        raise StockRefusal(f"A move of {quantity_text(quantity)} goes nowhere: name more than 0 and another place.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        refuse_part_of_a_piece(source.lot_id, quantity)
        return transfer(source, target, quantity, _kind_of_move(source, target), by, at, key, reason)


def hold_stock(
    *, source: OnShelf, place_id: int, quantity: int, decides: str, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Put pieces into quarantine at a place, say why and who must decide, and return the posting."""
    if quantity <= 0 or not reason.strip():
        raise StockRefusal(f"Putting {quantity_text(quantity)} into quarantine needs more than 0 and a reason.")
    target = replace(source, place_id=place_id, condition=Condition.QUARANTINE.value)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        refuse_part_of_a_piece(source.lot_id, quantity)
        if source == target:
            raise StockRefusal("It lies in quarantine at this place already: choose another place, or leave it.")
        posting = transfer(source, target, quantity, PostingKind.TO_QUARANTINE, by, at, key, reason)
        Hold.objects.create(lot_id=source.lot_id, decides=Decides(decides), reason=reason.strip(), by=by, at=at)
        return posting


def name_decider(*, lot: Lot, decides: str, reason: str, by: User, at: datetime, key: str = "") -> Hold:
    """Say anew who must decide on what is held of a lot, and why; the same said twice is said once."""
    if not reason.strip():
        raise StockRefusal(f"Nothing says what has to be decided on {lot}: write it for whoever decides.")
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        latest = Hold.objects.filter(lot=lot).first()
        if latest is not None and (not is_news or (latest.decides, latest.reason) == (decides, reason.strip())):
            return latest
        return Hold.objects.create(lot=lot, decides=Decides(decides), reason=reason.strip(), by=by, at=at)


def release_stock(
    *, source: OnShelf, place_id: int, quantity: int, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Make pieces in quarantine usable again at a place, with the reason, and return the posting."""
    if quantity <= 0 or not reason.strip():
        raise StockRefusal(f"Releasing {quantity_text(quantity)} from quarantine needs more than 0 and a reason.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if source.lot_id in lots_under_suspicion():
            raise StockRefusal("The lot is under suspicion, so none of it can be released: lift the suspicion first.")
        if Place.objects.filter(pk=place_id, kind=PlaceKind.QUARANTINE).exists():
            raise StockRefusal("That place is the quarantine cage: choose the bin into which it goes.")
        refuse_part_of_a_piece(source.lot_id, quantity)
        target = replace(source, place_id=place_id, condition=Condition.USABLE.value)
        return transfer(source, target, quantity, PostingKind.RELEASE, by, at, key, reason)


def change_packet(
    *, source: OnShelf, packet: str, quantity: int, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Say that packets were opened, or closed again with their label, and return the posting."""
    target = replace(source, packet=Packet(packet).value)
    if quantity <= 0 or source == target:
        raise StockRefusal(
            f"{quantity_text(quantity)} {source.packet} cannot be noted as {target.packet}: "
            "name more than 0, and another packet."
        )
    if target.packet == Packet.SEALED:
        raise StockRefusal("A packet that was opened is never sealed again: call it resealed.")
    if source.packet == Packet.LOOSE and target.packet == Packet.RESEALED and not reason.strip():
        raise StockRefusal(
            "Loose pieces are put into a bag with a label only for a reason: write how the lot is known."
        )
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        refuse_part_of_a_piece(source.lot_id, quantity)
        opens = source.packet == Packet.SEALED or target.packet == Packet.LOOSE
        kind = PostingKind.OPEN_PACKET if opens else PostingKind.CLOSE_PACKET
        return transfer(source, target, quantity, kind, by, at, key, reason)


def adjust_stock(*, account: OnShelf, change: int, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Add pieces to an account of the shelf, or take them off below 0, for a reason that is no count."""
    if not change or not reason.strip():
        raise StockRefusal(f"An adjustment by {quantity_text(change)} needs a quantity other than 0 and a reason.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        refuse_part_of_a_piece(account.lot_id, change)
        return post(entries=[Entry(account, change)], kind=PostingKind.ADJUST, by=by, at=at, key=key, reason=reason)


def scrap_stock(*, source: OnShelf, quantity: int, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Take pieces of a lot out of the storeroom for good and return the posting."""
    if quantity <= 0 or not reason.strip():
        raise StockRefusal(f"Scrapping {quantity_text(quantity)} needs more than 0 and a reason.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        return post(entries=[Entry(source, -quantity)], kind=PostingKind.SCRAP, by=by, at=at, key=key, reason=reason)


def dispose_of(
    *, sources: Sequence[Entry], way: str, remark: str, reason: str, by: User, at: datetime, key: str
) -> Disposal:
    """Take expired or condemned pieces out of the shop for good, with the record of how, and return the record."""
    if way == DisposalWay.OTHER and not remark.strip():
        raise StockRefusal("Another way of disposal needs a remark: write how the pieces left the shop.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Disposal.objects.filter(posting__key=key).first()) is not None:
            return earlier
        if not sources:
            raise StockRefusal("Nothing was ticked, so nothing was disposed of: tick what left the shop.")
        off = [Entry(entry.account, -entry.quantity) for entry in sources]
        posting = post(entries=off, kind=PostingKind.DISPOSE, by=by, at=at, key=key, reason=reason)
        return Disposal.objects.create(posting=posting, way=DisposalWay(way), remark=remark.strip())


def take_from_bench(
    *, source: WithJob, target: OnShelf | None, quantity: int, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Take issued or bagged pieces back from a job: to the shelf, into quarantine, or (no target) to scrap."""
    if quantity <= 0:
        raise StockRefusal(f"{quantity_text(quantity)} cannot come back from the bench: give more than 0.")
    kept = target is not None and target.condition == Condition.USABLE
    if not kept and not reason.strip():
        raise StockRefusal("What comes back and is not put into its bin needs a reason: write what is wrong with it.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        lot = refuse_part_of_a_piece(source.lot_id, quantity)
        if kept and lot.pk in lots_under_suspicion():
            raise StockRefusal(f"{lot} is under suspicion: put it into quarantine, or scrap it.")
        if kept and not may_be_resealed(lot.item):
            raise StockRefusal(
                f"{lot.item} may not be used from an opened packet: put it into quarantine, or scrap it."
            )
        entries = [Entry(source, -quantity), *([] if target is None else [Entry(target, quantity)])]
        kind = PostingKind.SCRAP if target is None else PostingKind.RETURN_TO_LOT if kept else PostingKind.TO_QUARANTINE
        if kind == PostingKind.TO_QUARANTINE:
            Hold.objects.create(lot=lot, decides=Decides.LEAD, reason=reason.strip(), by=by, at=at)
        job = Job.objects.get(pk=source.job_id)
        return post(entries=entries, kind=kind, by=by, at=at, key=key, reason=reason, job=job)


def reverse_posting(*, posting: Posting, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Take a posting back and return the reversal."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        return reverse(posting=posting, by=by, at=at, key=key, reason=reason)


def _kind_of_move(source: OnShelf, target: OnShelf) -> PostingKind:
    if source.condition == target.condition:
        return PostingKind.MOVE
    return PostingKind.TO_QUARANTINE if target.condition == Condition.QUARANTINE else PostingKind.RELEASE

"""Counting: begin a sheet, record a count, ask for it again where it differs, end the sheet; the first stock-take."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.fields import quantity_text
from kits.catalog.folding import without_turns
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.stock.counts.sorting import Sorted, found_condition
from kits.stock.errors import StockRefusal
from kits.stock.last_counted import note_counted
from kits.stock.ledger import OnShelf, open_accounts
from kits.stock.models import Balance, Count, CountLine, Hold, Place, Unknown
from kits.stock.words import Condition, CountKind, CountState, Decides, Packet
from kits.stock.writes import LotFacts, ShelfCount, post_shelf_counts, refuse_part_of_a_piece, store_lot

MOST_LETTERS = 300
MEASURED_TOLERANCE_PERCENT = 2
"""What a length or weight may differ without a second look; pieces never may. Common practice, no source."""


def begin_count(*, balance_ids: Sequence[int], by: User, at: datetime, key: str) -> Count:
    """Begin a count sheet of these accounts of the shelf, and return it."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Count.objects.filter(key=key).first()) is not None:
            return earlier
        running = CountLine.objects.filter(
            count__ended_at__isnull=True, state__in=(CountState.OPEN, CountState.RECOUNT)
        ).values("balance_id")
        balances = list(
            Balance.objects.on_shelf().filter(pk__in=balance_ids).exclude(pk__in=running).select_related("place")
        )
        if not balances:
            raise StockRefusal("Nothing was ticked that is not on a count sheet already: tick what to count.")
        places = sorted({balance.place.place for balance in balances if balance.place})
        title = ", ".join(places[:6]) + (f" and {len(places) - 6} more" if len(places) > 6 else "")
        made = Count.objects.create(key=key, kind=CountKind.ROUND, title=title[:200], by=by, at=at)
        CountLine.objects.bulk_create([CountLine(count=made, balance=balance) for balance in balances])
        return made


def record_count(*, line: CountLine, counted: int, by: User, at: datetime, key: str) -> CountLine:
    """Take down what was counted: agree, ask for a recount, or post the difference that two counts agree upon."""
    if counted < 0:
        raise StockRefusal(f"A count of {quantity_text(counted)} is below 0: count what lies there.")
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        line = CountLine.objects.select_for_update().select_related("count", "balance__lot__item").get(pk=line.pk)
        if line.key == key or not is_news:
            return line
        if line.state not in (CountState.OPEN, CountState.RECOUNT) or line.count.ended_at is not None:
            raise StockRefusal("This line was counted already: begin a new sheet to count it again.")
        refuse_part_of_a_piece(line.balance.lot_id, counted)
        _settle(line, counted, by, at, key)
        line.save(update_fields=["state", "first", "last", "book", "by", "at", "key", "posting"])
        if line.state != CountState.RECOUNT:
            note_counted(line.balance_id, at)
        return line


def end_count(*, count: Count, at: datetime, key: str = "") -> Count:
    """End a count sheet or the stock-take of a place; what was not counted stays as it was."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        Count.objects.filter(pk=count.pk, ended_at__isnull=True).update(ended_at=at)
        CountLine.objects.filter(count=count, state__in=(CountState.OPEN, CountState.RECOUNT)).update(
            state=CountState.LEFT
        )
        count.refresh_from_db()
        return count


def write_down_found(
    *,
    place: Place,
    item: Item,
    lot_code: str,
    facts: LotFacts,
    quantity: int,
    packet: str,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> Sorted:
    """Write down, in the first stock-take of a place, what lies there in all of one lot, and say how it was sorted."""
    if quantity <= 0:
        raise StockRefusal(f"{quantity_text(quantity)} of {item} is nothing: write how many lie there.")
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        taking = _first_take(place, by, at)
        if (earlier := _found_before(taking, key)) is not None:
            return earlier
        if not is_news:
            raise StockRefusal(
                f"This was written down already, and {lot_code or item} anew since: look at the list of {place}."
            )
        lot = store_lot(item, lot_code, facts, today=today, found=True)
        refuse_part_of_a_piece(lot.pk, quantity)
        condition = found_condition(lot)
        account = OnShelf(lot.pk, place.pk, condition.value, Packet(packet).value)
        reason = f"first stock-take of {place}"
        postings = post_shelf_counts([ShelfCount(account, quantity)], by=by, at=at, key=key, reason=reason)
        balance = open_accounts([account])[account]
        CountLine.objects.update_or_create(
            count=taking,
            balance=balance,
            defaults={
                "state": CountState.DIFFERED if postings else CountState.AGREED,
                "last": quantity,
                "by": by,
                "at": at,
                "key": key,
                "posting": postings[0] if postings else None,
            },
        )
        note_counted(balance.pk, at)
        if condition == Condition.QUARANTINE:
            why = "no cure date and no use-by date at the first stock-take"
            Hold.objects.create(lot=lot, decides=Decides.LEAD, reason=why, by=by, at=at)
        return Sorted(lot, held=condition == Condition.QUARANTINE)


def _found_before(taking: Count, key: str) -> Sorted | None:
    line = CountLine.objects.filter(count=taking, key=key).select_related("balance__lot").first()
    return None if line is None else Sorted(line.balance.lot, line.balance.condition == Condition.QUARANTINE)


def write_down_unknown(
    *, place: Place, looks_like: str, quantity: int | None, by: User, at: datetime, key: str
) -> Unknown:
    """Write down something found at a place that nobody can name."""
    if not looks_like.strip():
        raise StockRefusal("What nobody can name has to be described: size, colour, marks, what it lay beside.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Unknown.objects.filter(key=key).first()) is not None:
            return earlier
        _first_take(place, by, at)
        return Unknown.objects.create(
            key=key, place=place, looks_like=looks_like.strip(), quantity=quantity, by=by, at=at
        )


def settle_unknown(*, unknown: Unknown, became: str, by: User, at: datetime, key: str = "") -> Unknown:
    """Say what became of something that nobody could name."""
    became = without_turns(became)
    if not became.strip():
        raise StockRefusal("Write what became of it: the part number it turned out to be, or that it was thrown away.")
    if len(became.strip()) > MOST_LETTERS:
        raise StockRefusal(f"What became of it takes {len(became.strip())} letters: say it in {MOST_LETTERS}.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        Unknown.objects.filter(pk=unknown.pk, settled_at__isnull=True).update(
            became=became.strip(), settled_by=by, settled_at=at
        )
        unknown.refresh_from_db()
        return unknown


def _settle(line: CountLine, counted: int, by: User, at: datetime, key: str) -> None:
    book = line.balance.quantity
    before = line.last
    if line.state == CountState.OPEN:
        line.first = counted
    line.last, line.book, line.by, line.at, line.key = counted, book, by, at, key
    if counted == book:
        line.state = CountState.AGREED
    elif _within_tolerance(line.balance, counted) or (line.state == CountState.RECOUNT and counted == before):
        line.state = CountState.DIFFERED
        account = OnShelf(line.balance.lot_id, line.balance.place_id or 0, line.balance.condition, line.balance.packet)
        reason = f"count {line.count_id}: {quantity_text(book)} by the book, {quantity_text(counted)} counted"
        postings = post_shelf_counts([ShelfCount(account, counted)], by=by, at=at, key=key, reason=reason)
        line.posting = postings[0] if postings else None
    else:
        line.state = CountState.RECOUNT


def _within_tolerance(balance: Balance, counted: int) -> bool:
    if balance.lot.item.countable:
        return False
    return 100 * abs(counted - balance.quantity) <= MEASURED_TOLERANCE_PERCENT * max(balance.quantity, ONE)


def _first_take(place: Place, by: User, at: datetime) -> Count:
    running = Count.objects.filter(kind=CountKind.FIRST, title=place.place, ended_at__isnull=True).first()
    if running is not None:
        return running
    key = f"first:{place.pk}:{at.isoformat()}"
    return Count.objects.create(key=key, kind=CountKind.FIRST, title=place.place, by=by, at=at)

"""What is done with what goes back to a supplier: refused at the door, sent back from the shelf, credited."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import OrderLine, OrderLineChange, SupplierReturn
from kits.purchasing.order_models import ChangeKind
from kits.purchasing.return_models import Wrong
from kits.purchasing.returns.line_of_lot import line_of_lot
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, post
from kits.stock.models import Disposal
from kits.stock.words import Condition, DisposalWay, PostingKind
from kits.stock.writes import refuse_part_of_a_piece


@dataclass(frozen=True, slots=True)
class GoesBack:
    """What goes back and why: how many, what is wrong, whether it is to be replaced, the credit that is expected."""

    quantity: int
    wrong: str
    note: str
    replaced: bool
    credit_expected: Decimal | None = None


def refuse_at_door(*, order_line: int, back: GoesBack, by: User, at: datetime, today: date, key: str) -> SupplierReturn:
    """Keep what came out of the storeroom and let it go back; what is not replaced is not waited for any more."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := SupplierReturn.objects.filter(key=key).first()) is not None:
            return earlier
        line = OrderLine.objects.select_for_update(of=("self",)).select_related("item", "supplier").get(pk=order_line)
        _refuse_unfit(line.item, back)
        kept = _keep(line, line.item, "", back, by, at, key)
        if not back.replaced and back.wrong != Wrong.TOO_MANY:
            OrderLine.objects.filter(pk=line.pk).update(quantity=max(0, line.quantity - back.quantity))
        return kept


def send_back(
    *, source: OnShelf, back: GoesBack, gone_on: date, by: User, at: datetime, today: date, key: str
) -> SupplierReturn:
    """Take pieces in quarantine out of the storeroom, back to whom they came from; the order waits for their like."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := SupplierReturn.objects.filter(key=key).first()) is not None:
            return earlier
        if source.condition != Condition.QUARANTINE:
            raise StockRefusal("Only what is in quarantine goes back: put it there first, with the reason.")
        if gone_on > today:
            raise Refusal(
                f"{in_full(gone_on)} has not come yet (today is {in_full(today)}): say that it went once it did."
            )
        lot = refuse_part_of_a_piece(source.lot_id, back.quantity)
        line = line_of_lot(lot)
        if line is None:
            raise Refusal(f"{lot} came on no order, so nobody is known to send it back to: dispose of it instead.")
        _refuse_unfit(lot.item, back)
        reason = f"sent back to {line.supplier}: {_why(back)}"[:500]
        off = [Entry(source, -back.quantity)]
        posting = post(entries=off, kind=PostingKind.DISPOSE, by=by, at=at, key=key, reason=reason)
        Disposal.objects.create(posting=posting, way=DisposalWay.SENT_BACK, remark=back.note.strip()[:500])
        kept = _keep(line, lot.item, lot.lot, back, by, at, key)
        kept.posting, kept.gone_on = posting, gone_on
        kept.save(update_fields=["posting", "gone_on"])
        if back.replaced:
            OrderLine.objects.filter(pk=line.pk).update(quantity=line.quantity + back.quantity)
        return kept


def note_gone(*, supplier_return: int, gone_on: date, by: User, at: datetime, today: date, key: str) -> SupplierReturn:
    """Say when something that was refused left."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        found = SupplierReturn.objects.select_for_update(of=("self",)).select_related("item").get(pk=supplier_return)
        if gone_on > today:
            raise Refusal(
                f"{in_full(gone_on)} has not come yet (today is {in_full(today)}): say that it went once it did."
            )
        if found.gone_on is None:
            found.gone_on = gone_on
            found.save(update_fields=["gone_on"])
        return found


def note_credit(
    *, supplier_return: int, credit: Decimal, credited_on: date, by: User, at: datetime, today: date, key: str
) -> SupplierReturn:
    """Keep the credit that came for what went back; none may be 0."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        found = SupplierReturn.objects.select_for_update(of=("self",)).select_related("item").get(pk=supplier_return)
        if not is_news:
            return found
        if found.credited_on is not None:
            raise Refusal(f"The credit for {found} came on {in_full(found.credited_on)} already.")
        if credited_on > today:
            raise Refusal(
                f"{in_full(credited_on)} has not come yet (today is {in_full(today)}): write the day on which it came."
            )
        found.credit_received, found.credited_on = credit, credited_on
        found.save(update_fields=["credit_received", "credited_on"])
        return found


def _keep(
    line: OrderLine, item: Item, lot_code: str, back: GoesBack, by: User, at: datetime, key: str
) -> SupplierReturn:
    amount = Amount.of(back.quantity, item.stock_unit).text
    again = "to be replaced" if back.replaced else "not to be replaced"
    says = f"{amount} sent back, {again}"
    OrderLineChange.objects.create(
        order_line=line, kind=ChangeKind.SENT_BACK, says=says, reason=_why(back)[:400], by=by, at=at
    )
    return SupplierReturn.objects.create(
        key=key,
        supplier=line.supplier,
        order_line=line,
        item=item,
        lot_code=lot_code,
        quantity=back.quantity,
        wrong=Wrong(back.wrong),
        note=back.note.strip()[:400],
        replaced=back.replaced,
        credit_expected=back.credit_expected,
        currency=line.supplier.currency,
        by=by,
        at=at,
    )


def _why(back: GoesBack) -> str:
    return ": ".join(filter(None, (Wrong(back.wrong).value, back.note.strip())))


def _refuse_unfit(item: Item, back: GoesBack) -> None:
    if back.quantity <= 0 or (item.countable and back.quantity % ONE):
        raise Refusal(f"{quantity_text(back.quantity)} of {item} cannot go back: write a number above 0.")
    if back.wrong == Wrong.OTHER and not back.note.strip():
        raise Refusal("Nothing says what is wrong with it: write it down for the supplier.")

"""Stores of what becomes of order lines after they were sent, inside a transaction only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from kits.catalog.amounts import Amount, price_text
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.purchasing.models import LineTerms, OrderLine, OrderLineChange
from kits.purchasing.order_models import ChangeKind


@dataclass(frozen=True, slots=True)
class SaidBy:
    """Who does something, when, and why."""

    by: User
    at: datetime
    reason: str


def locked_line(pk: int) -> tuple[OrderLine, LineTerms | None]:
    """Return an open line with its terms, locked; refuse one of which nothing is to come."""
    line = OrderLine.objects.select_for_update(of=("self",)).select_related("item", "supplier").get(pk=pk)
    if not line.quantity:
        raise Refusal(f"Nothing of {line} is to come any more: there is nothing to change.")
    return line, LineTerms.objects.select_for_update().filter(order_line=line).first()


def note_change(line: OrderLine, kind: ChangeKind, says: str, said: SaidBy) -> None:
    """Keep what was changed of a line, and why."""
    OrderLineChange.objects.create(
        order_line=line, kind=kind, says=says[:400], reason=said.reason.strip()[:400], by=said.by, at=said.at
    )


def set_packs(line: OrderLine, terms: LineTerms, packs: int) -> str:
    """Order so many packs in place of those before, and say so; refuse fewer than have come."""
    if packs == terms.packs:
        return ""
    still = line.quantity + (packs - terms.packs) * terms.pack_size
    unit = line.item.stock_unit
    if still <= 0:
        came = Amount.of(line.received_quantity, unit).text
        raise Refusal(
            f"{line}: with {packs} × the pack nothing is to come ({came} came already): cancel what is left instead."
        )
    says = f"packs {terms.packs} → {packs}"
    terms.packs, line.quantity = packs, still
    return says


def set_price(terms: LineTerms, price: Decimal | None) -> str:
    """Give a line another price of a pack, and say so."""
    if price == terms.price_per_pack:
        return ""
    was, now = (("none" if one is None else price_text(one)) for one in (terms.price_per_pack, price))
    terms.price_per_pack = price
    return f"price per pack {was} → {now}"


def store(line: OrderLine, terms: LineTerms | None) -> None:
    """Store what was changed of a line and its terms."""
    line.save(update_fields=["quantity", "promised_on"])
    if terms is not None:
        terms.save(update_fields=["packs", "price_per_pack", "confirmed_on", "first_promised_on"])


def refuse_past(line: OrderLine, on: date, today: date) -> None:
    """Refuse a promise for a day that has passed."""
    if on < today:
        raise Refusal(f"{line}: the day {in_full(on)} has passed (today is {in_full(today)}): ask for a new day.")


def require_reason(reason: str) -> None:
    """Refuse a change that nobody gives a reason for."""
    if not reason.strip():
        raise Refusal("Nothing says why: write who said so, and the reason.")


def next_number(order: str) -> int:
    """The number after the last line of an order."""
    numbers = OrderLine.objects.filter(order=order).values_list("line", flat=True)
    return max((int(one) for one in numbers if one.isascii() and one.isdigit()), default=0) + 1

"""What lies in quarantine: since when, why, and who must decide."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from kits.catalog.amounts import Amount
from kits.stock.lists.movements import reason_says
from kits.stock.models import Balance, Hold, Movement
from kits.stock.words import Condition

LONG_DAYS = 30


@dataclass(frozen=True, slots=True)
class HeldRow:
    """One account in quarantine. ``long`` says that it has lain there for more than a month."""

    balance_id: int
    part_number: str
    item_kind: str
    what: str
    lot: str
    lot_id: int
    place: str
    quantity: Amount
    since: datetime | None
    days: int | None
    long: bool
    reason: str
    decides: str
    last_use_on: date | None
    past: bool


def held_rows(*, today: date, decides: str = "") -> list[HeldRow]:
    """What lies in quarantine, the longest first, of one who must decide if named; three statements."""
    balances = (
        Balance.objects.on_shelf()
        .filter(condition=Condition.QUARANTINE, quantity__gt=0)
        .select_related("lot__item", "place")
    )
    held = list(balances)
    since = _since([balance.pk for balance in held])
    holds: dict[int, Hold] = {}
    for hold in Hold.objects.filter(lot__in={balance.lot_id for balance in held}).order_by("id"):
        holds[hold.lot_id] = hold
    rows = [_row(balance, since.get(balance.pk), holds.get(balance.lot_id), today) for balance in held]
    rows = [row for row in rows if not decides or row.decides == decides or (decides == "nobody" and not row.decides)]
    return sorted(rows, key=lambda row: (-(row.days or 0), row.part_number, row.lot))


def _since(balance_ids: Iterable[int]) -> dict[int, tuple[datetime, str]]:
    """When each account last rose from nothing, and why."""
    found: dict[int, tuple[datetime, str]] = {}
    held: dict[int, int] = {}
    movements = Movement.objects.filter(balance__in=balance_ids).select_related("posting").order_by("id")
    for movement in movements:
        before = held.get(movement.balance_id, 0)
        held[movement.balance_id] = before + movement.quantity
        if before == 0:
            found[movement.balance_id] = movement.posting.at, reason_says(movement.posting)
    return found


def _row(balance: Balance, since: tuple[datetime, str] | None, hold: Hold | None, today: date) -> HeldRow:
    lot, item, place = balance.lot, balance.lot.item, balance.place
    days = (today - timezone.localtime(since[0]).date()).days if since else None
    last_use_on = lot.last_use_on
    return HeldRow(
        balance_id=balance.pk,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=lot.lot,
        lot_id=lot.pk,
        place=place.place if place else "",
        quantity=Amount.of(balance.quantity, item.stock_unit),
        since=since[0] if since else None,
        days=max(days, 0) if days is not None else None,
        long=days is not None and days > LONG_DAYS,
        reason=hold.reason if hold else since[1] if since else "",
        decides=hold.get_decides_display() if hold else "",
        last_use_on=last_use_on,
        past=last_use_on is not None and last_use_on < today,
    )

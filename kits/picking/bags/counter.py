"""The counter: where pieces of a scanned lot or part lie, to be given to a job besides, or to be entered from paper."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet, Sum

from kits.catalog.amounts import Amount
from kits.picking.scanning.scanned import read_scan
from kits.schedule.models import Job
from kits.stock.codes.texts import CodeKind
from kits.stock.ledger import OnShelf
from kits.stock.lists.with_jobs import STATE_SAYS
from kits.stock.lists.words import PACKET_WORDS
from kits.stock.models import Balance, Reservation
from kits.stock.packets import usable_packets
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, HeldAs, Packet

REASONS = ("lost at the bench", "damaged when it was fitted", "the list asks for too few")
"""Why a job gets more than its lists ask for, each on a button of its own; another reason is written."""


@dataclass(frozen=True, slots=True)
class CounterRow:
    """One account of the shelf from which a job may be given something; ``free`` of it is set aside for nobody."""

    balance_id: int
    part_number: str
    what: str
    lot: str
    last_use_on: date | None
    place: str
    packet: str
    lies: Amount
    free: Amount


@dataclass(frozen=True, slots=True)
class HasRow:
    """What the job has already of what was scanned."""

    balance_id: int
    part_number: str
    lot: str
    quantity: Amount
    state_says: str


@dataclass(frozen=True, slots=True)
class CounterSheet:
    """The counter for one job: what was scanned or typed, where it lies, and what of it the job ``has``."""

    job: Job
    code: str
    rows: tuple[CounterRow, ...]
    says: str
    has: tuple[HasRow, ...] = ()


def counter_sheet(job: Job, code: str, *, today: date) -> CounterSheet:
    """What lies on the shelf of what a code names, what dies first in front, if it lives to the build day."""
    if not code.strip():
        return CounterSheet(job, "", (), "")
    named = read_scan(code).named
    lots = [one.key for one in named if one.code.kind is CodeKind.LOT]
    parts = [one.key for one in named if one.code.kind is CodeKind.PART]
    if not lots and not parts:
        return CounterSheet(job, code, (), f"“{code.strip()}” is neither a lot nor a part that the shop knows.")
    which = {"lot__in": lots} if lots else {"lot__item__in": parts}
    lying = list(_lying(which))
    rows = _may_be_given(lying, job, today)
    says = "" if rows else _nothing_says(code, bool(lying))
    return CounterSheet(job, code, tuple(row for _, row in rows), says, _has(job, lots, parts))


def counter_rows(job: Job, today: date, items: Collection[int]) -> list[tuple[int, CounterRow]]:
    """What lies on the shelf of some items and may go into the pump of a job, what dies first in front; by item."""
    return _may_be_given(list(_lying({"lot__item__in": items})), job, today)


def _lying(which: Mapping[str, Collection[int]]) -> QuerySet[Balance]:
    found = Balance.objects.on_shelf().filter(quantity__gt=0, condition=Condition.USABLE, **which)
    return found.select_related("lot__item", "place")


def _may_be_given(lying: list[Balance], job: Job, today: date) -> list[tuple[int, CounterRow]]:
    usable = [row for row in lying if _may_go(row, job, max(job.build_on, today))]
    aside = dict(
        Reservation.objects.filter(lot__in=[row.lot_id for row in usable])
        .order_by()
        .values_list("lot")
        .annotate(Sum("quantity"))
    )
    usable.sort(key=lambda row: (row.lot.last_use_on or date.max, row.packet == Packet.SEALED, row.pk))
    return [(row.lot.item_id, _row(row, aside, usable)) for row in usable]


def _has(job: Job, lots: list[int], parts: list[int]) -> tuple[HasRow, ...]:
    held = Balance.objects.of_jobs().filter(job=job, quantity__gt=0).select_related("lot__item").order_by("pk")
    held = held.filter(lot__in=lots) if lots else held.filter(lot__item__in=parts)
    return tuple(
        HasRow(
            row.pk,
            row.lot.item.part_number,
            row.lot.lot,
            Amount.of(row.quantity, row.lot.item.stock_unit),
            STATE_SAYS[HeldAs(row.state)],
        )
        for row in held
    )


def counter_account(balance_id: int) -> OnShelf | None:
    """The account of the shelf with this number, or None."""
    row = Balance.objects.on_shelf().filter(pk=balance_id, place__isnull=False).first()
    return OnShelf(row.lot_id, row.place_id, row.condition, row.packet) if row and row.place_id else None


def _may_go(row: Balance, job: Job, on: date) -> bool:
    lot = row.lot
    lives = lot.last_use_on is None or lot.last_use_on >= on
    owned = not lot.owner or lot.owner == job.customer
    return lives and owned and row.packet in usable_packets(lot.item) and lot.pk not in lots_under_suspicion()


def _row(row: Balance, aside: dict[int, int], rows: list[Balance]) -> CounterRow:
    item, lot = row.lot.item, row.lot
    assert row.place is not None, "the shelf was asked for"
    lies = sum(one.quantity for one in rows if one.lot_id == lot.pk)
    free = max(0, min(row.quantity, lies - aside.get(lot.pk, 0)))
    return CounterRow(
        balance_id=row.pk,
        part_number=item.part_number,
        what=item.description,
        lot=lot.lot,
        last_use_on=lot.last_use_on,
        place=row.place.place,
        packet=PACKET_WORDS[Packet(row.packet)] if row.packet != Packet.SEALED else "",
        lies=Amount.of(row.quantity, item.stock_unit),
        free=Amount.of(free, item.stock_unit),
    )


def _nothing_says(code: str, lies: bool) -> str:
    if lies:
        return (
            f"What lies on the shelf of “{code.strip()}” may not go into this pump: it is too old, opened, or not ours."
        )
    return f"Nothing of “{code.strip()}” lies on the shelf."

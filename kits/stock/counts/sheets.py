"""Count sheets as they are read: the lines without the book figure, and afterwards what came of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count as Counted
from django.db.models import Q

from kits.catalog.amounts import Amount
from kits.stock.lists.words import PACKET_WORDS
from kits.stock.models import Count, CountLine, Place, Unknown
from kits.stock.words import Condition, CountKind, CountState, Packet

STATE_SAYS = {
    CountState.OPEN: "to be counted",
    CountState.RECOUNT: "count again",
    CountState.AGREED: "agrees",
    CountState.DIFFERED: "differed, posted",
    CountState.LEFT: "not counted",
}
STATE_MARK = {
    CountState.OPEN: "waiting",
    CountState.RECOUNT: "late",
    CountState.AGREED: "ready",
    CountState.DIFFERED: "short",
    CountState.LEFT: "waiting",
}


@dataclass(frozen=True, slots=True)
class CountRow:
    """One line of a count; ``book`` and ``difference`` are told only once the line is settled."""

    pk: int
    place: str
    part_number: str
    item_kind: str
    what: str
    lot: str
    notes: str
    unit: str
    state: str
    mark: str
    open: bool
    again: bool
    counted: Amount | None
    book: Amount | None
    difference: Amount | None
    by: str
    last_use_on: date | None


@dataclass(frozen=True, slots=True)
class CountSheet:
    """One count with its lines in walk order."""

    count: Count
    by: str
    rows: tuple[CountRow, ...]
    to_do: int
    differed: int


@dataclass(frozen=True, slots=True)
class CountHead:
    """One count in the list of counts."""

    pk: int
    title: str
    by: str
    at: datetime
    ended_at: datetime | None
    lines: int
    to_do: int
    differed: int


@dataclass(frozen=True, slots=True)
class FoundRow:
    """One lot that the first stock-take wrote down; ``group`` is dated, undated or lasts."""

    balance_id: int
    place: str
    part_number: str
    item_kind: str
    what: str
    lot: str
    quantity: Amount
    cure: str
    last_use_on: date | None
    group: str


@dataclass(frozen=True, slots=True)
class FirstTake:
    """The first stock-take as a whole, and of one place: what was written down, sorted."""

    place: Place | None
    running: bool
    rows: tuple[FoundRow, ...]
    unknown: tuple[Unknown, ...]
    places_done: int
    places: int

    @property
    def groups(self) -> dict[str, int]:
        """How many lots of each group."""
        return {name: sum(row.group == name for row in self.rows) for name in ("dated", "lasts", "undated")}


def count_sheet(number: int) -> CountSheet | None:
    """One count with its lines; two statements."""
    count = Count.objects.select_related("by").filter(pk=number, kind=CountKind.ROUND).first()
    if count is None:
        return None
    lines = (
        CountLine.objects.filter(count=count)
        .select_related("balance__lot__item", "balance__place", "by")
        .order_by("balance__place__walk_order", "balance__place__folded", "balance__lot__item__folded", "balance_id")
    )
    rows = tuple(_row(line) for line in lines)
    return CountSheet(
        count=count,
        by=_name(count.by),
        rows=rows,
        to_do=sum(row.open for row in rows),
        differed=sum(row.difference is not None for row in rows),
    )


def count_heads() -> list[CountHead]:
    """All count sheets, those under way first; one statement."""
    counts = (
        Count.objects.filter(kind=CountKind.ROUND)
        .select_related("by")
        .annotate(
            number=Counted("lines"),
            open=Counted("lines", filter=Q(lines__state__in=(CountState.OPEN, CountState.RECOUNT))),
            off=Counted("lines", filter=Q(lines__state=CountState.DIFFERED)),
        )
    )
    heads = [
        CountHead(one.pk, one.title, _name(one.by), one.at, one.ended_at, one.number, one.open, one.off)
        for one in counts
    ]
    return sorted(heads, key=lambda head: head.ended_at is not None)


def first_take(place: Place | None) -> FirstTake:
    """What the first stock-take wrote down, at one place or at all; four statements."""
    lines = CountLine.objects.filter(count__kind=CountKind.FIRST).select_related("balance__lot__item", "balance__place")
    unknown = Unknown.objects.filter(settled_at__isnull=True).select_related("place", "by")
    if place is not None:
        lines, unknown = lines.filter(balance__place=place), unknown.filter(place=place)
    counts = list(Count.objects.filter(kind=CountKind.FIRST).values_list("title", "ended_at"))
    return FirstTake(
        place=place,
        running=place is not None and any(title == place.place and not ended for title, ended in counts),
        rows=tuple(_found(line) for line in lines.order_by("-at", "-id")),
        unknown=tuple(unknown),
        places_done=len({title for title, ended in counts if ended}),
        places=Place.objects.count(),
    )


def running_first_take() -> list[tuple[Place, str]]:
    """Every place in walk order, and how far its first stock-take is: empty, ``begun`` or ``done``; two statements."""
    counts = Count.objects.filter(kind=CountKind.FIRST).order_by("id").values_list("title", "ended_at")
    standing = {title: "done" if ended else "begun" for title, ended in counts}
    return [(place, standing.get(place.place, "")) for place in Place.objects.order_by("walk_order", "folded")]


def _row(line: CountLine) -> CountRow:
    balance, item = line.balance, line.balance.lot.item
    settled = line.state in (CountState.AGREED, CountState.DIFFERED)
    notes = [
        "quarantine" if balance.condition == Condition.QUARANTINE else "",
        PACKET_WORDS[Packet(balance.packet)] if balance.packet != Packet.SEALED else "",
    ]
    differs = line.state == CountState.DIFFERED and line.last is not None and line.book is not None
    return CountRow(
        pk=line.pk,
        place=balance.place.place if balance.place else "",
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=balance.lot.lot,
        notes=", ".join(filter(None, notes)),
        unit="" if item.countable else item.stock_unit,
        state=STATE_SAYS[CountState(line.state)],
        mark=STATE_MARK[CountState(line.state)],
        open=line.state in (CountState.OPEN, CountState.RECOUNT),
        again=line.state == CountState.RECOUNT,
        counted=Amount.of(line.last, item.stock_unit) if settled and line.last is not None else None,
        book=Amount.of(line.book, item.stock_unit) if settled and line.book is not None else None,
        difference=Amount.of((line.last or 0) - (line.book or 0), item.stock_unit) if differs else None,
        by=_name(line.by),
        last_use_on=balance.lot.last_use_on,
    )


def _found(line: CountLine) -> FoundRow:
    balance, lot, item = line.balance, line.balance.lot, line.balance.lot.item
    ages = item.shelf_life_months is not None or lot.last_use_on is not None
    group = "lasts" if not ages else "undated" if lot.last_use_on is None else "dated"
    return FoundRow(
        balance_id=balance.pk,
        place=balance.place.place if balance.place else "",
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=lot.lot,
        quantity=Amount.of(line.last or 0, item.stock_unit),
        cure=lot.cure,
        last_use_on=lot.last_use_on,
        group=group,
    )


def _name(person: object) -> str:
    return str(getattr(person, "get_full_name", str)() or person) if person else ""

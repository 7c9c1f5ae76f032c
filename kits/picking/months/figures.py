"""What is counted of a month, and the rows behind each number."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.migrations.recorder import MigrationRecorder
from django.db.models import QuerySet
from django.utils import timezone

from kits.catalog.amounts import Amount
from kits.people.names import name_of
from kits.picking.models import Confirmation, WrongScan
from kits.picking.words import LineState
from kits.planning.weeks.week_sheet import robbed_pieces
from kits.stock.models import CountLine, Lot, Movement
from kits.stock.packed_kits.last_uses import earliest, kit_last_uses
from kits.stock.words import CountState, PostingKind

SCANS_KEPT = ("picking", "0009_keep_wrong_scans")
"""The migration since which it is kept what was scanned and did not belong to its line."""


@dataclass(frozen=True, slots=True)
class MonthRow:
    """One thing that a number of a month counts."""

    at: datetime
    part_number: str
    lot: str
    where: str
    quantity: Amount
    by: str
    says: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A number of the month: its ``name`` in addresses, its title, what it counts, and its rows between two moments."""

    name: str
    title: str
    counts: str
    rows: Callable[[datetime, datetime], Iterable[MonthRow]]
    moments: Callable[[datetime, datetime], Iterable[datetime]]


def scans_kept_since() -> date | None:
    """The day since which wrong scans are kept; None where nobody knows."""
    app, name = SCANS_KEPT
    applied = MigrationRecorder.Migration.objects.filter(app=app, name=name).values_list("applied", flat=True).first()
    return timezone.localtime(applied).date() if applied else None


def _standing(begins: datetime, ends: datetime) -> QuerySet[Confirmation]:
    return Confirmation.objects.filter(undone_at__isnull=True, at__gte=begins, at__lt=ends)


def _short(begins: datetime, ends: datetime) -> QuerySet[Confirmation]:
    return _standing(begins, ends).filter(line__state=LineState.SHORT)


def _undone(begins: datetime, ends: datetime) -> QuerySet[Confirmation]:
    return Confirmation.objects.filter(undone_at__gte=begins, undone_at__lt=ends)


def _wrong(begins: datetime, ends: datetime) -> QuerySet[WrongScan]:
    return WrongScan.objects.filter(at__gte=begins, at__lt=ends)


def _counted(begins: datetime, ends: datetime) -> QuerySet[CountLine]:
    said = (CountState.AGREED, CountState.DIFFERED)
    return CountLine.objects.filter(state__in=said, at__gte=begins, at__lt=ends)


def _moved(kinds: Iterable[PostingKind], begins: datetime, ends: datetime) -> QuerySet[Movement]:
    rows = Movement.objects.filter(
        posting__kind__in=tuple(kinds),
        posting__reversed_by__isnull=True,
        posting__at__gte=begins,
        posting__at__lt=ends,
    )
    rows = rows.select_related("posting__by", "posting__job", "balance__lot__item", "balance__place")
    return rows.order_by("posting__at", "pk")


def _differed(begins: datetime, ends: datetime) -> QuerySet[Movement]:
    return _moved([PostingKind.COUNT], begins, ends)


def _besides(begins: datetime, ends: datetime) -> QuerySet[Movement]:
    return _moved([PostingKind.EXTRA_ISSUE], begins, ends).filter(quantity__gt=0)


def _line_rows(found: QuerySet[Confirmation], *, undone: bool = False) -> Iterator[MonthRow]:
    rows = found.select_related("line__lot__item", "line__place", "line__pick_round", "by", "undone_by")
    for one in rows.prefetch_related("line__shares").order_by("undone_at" if undone else "at", "pk"):
        lot, shares = one.line.lot, one.line.shares.all()
        picked = 0 if undone else sum(share.picked or 0 for share in shares)
        asked = sum(share.asked for share in shares)
        short = f"asked for {Amount.of(asked, lot.item.stock_unit).text}" if picked < asked and not undone else ""
        at, by = (one.undone_at, one.undone_by) if undone else (one.at, one.by)
        assert at is not None, "only such as were undone were asked for"
        says = "; ".join(filter(None, (f"{one.line}", short, one.reason)))
        yield _row(at, lot, one.line.place.place, picked, name_of(by), says)


def _wrong_rows(begins: datetime, ends: datetime) -> Iterator[MonthRow]:
    rows = _wrong(begins, ends).select_related("line__lot__item", "line__place", "line__pick_round", "by")
    for one in rows.order_by("at", "pk"):
        yield _row(one.at, one.line.lot, one.line.place.place, 0, name_of(one.by), f"{one.line}: {one.says}")


def _count_rows(begins: datetime, ends: datetime) -> Iterator[MonthRow]:
    rows = _counted(begins, ends).select_related("balance__lot__item", "balance__place", "by", "count")
    for one in rows.order_by("at", "pk"):
        assert one.at is not None, "what was said was said at a moment"
        where = one.balance.place.place if one.balance.place else ""
        says = f"{one.count}, {one.get_state_display().lower()}"
        yield _row(one.at, one.balance.lot, where, one.last or 0, name_of(one.by), says)


def _movement_rows(moves: Iterable[Movement], *, gone: bool = False) -> Iterator[MonthRow]:
    for move in moves:
        posting, place = move.posting, move.balance.place
        where = place.place if place else posting.job.job if posting.job else ""
        quantity = -move.quantity if gone else move.quantity
        yield _row(posting.at, move.balance.lot, where, quantity, name_of(posting.by), posting.reason)


def _robbed_rows(begins: datetime, ends: datetime) -> Iterator[MonthRow]:
    for one in robbed_pieces(begins, ends):
        says = "; ".join(filter(None, (f"for {one.job}" if one.job else "", one.reason)))
        yield MonthRow(one.at, one.part_number, one.kit_lot, f"out of {one.kit}", one.quantity, one.by, says)


def _aged(begins: datetime, ends: datetime) -> Iterator[Movement]:
    """What left the shop for good, past its last use on the day on which it did."""
    gone = _moved([PostingKind.SCRAP, PostingKind.DISPOSE], begins, ends).filter(quantity__lt=0)
    packed = kit_last_uses() if gone else {}
    for move in gone:
        last = earliest(move.balance.lot.last_use_on, packed.get(move.balance.lot_id))
        if last is not None and last < timezone.localtime(move.posting.at).date():
            yield move


def _row(at: datetime, lot: Lot, where: str, quantity: int, by: str, says: str) -> MonthRow:
    return MonthRow(at, lot.item.part_number, lot.lot, where, Amount.of(quantity, lot.item.stock_unit), by, says)


def _at(
    found: QuerySet[Confirmation] | QuerySet[WrongScan] | QuerySet[CountLine], column: str = "at"
) -> list[datetime]:
    return list(found.order_by().values_list(column, flat=True))


def _posted_at(found: QuerySet[Movement]) -> list[datetime]:
    return list(found.order_by().values_list("posting__at", flat=True))


FIGURES = (
    Figure(
        "lines",
        "Lines picked",
        "lines of rounds that were booked and stand",
        lambda begins, ends: _line_rows(_standing(begins, ends)),
        lambda begins, ends: _at(_standing(begins, ends)),
    ),
    Figure(
        "short",
        "Short lines",
        "of these, lines on which less went into the bags than was asked for",
        lambda begins, ends: _line_rows(_short(begins, ends)),
        lambda begins, ends: _at(_short(begins, ends)),
    ),
    Figure(
        "wrong",
        "Wrong scans",
        "times a bin, packet or bag was scanned that does not belong to the line; nothing was booked",
        _wrong_rows,
        lambda begins, ends: _at(_wrong(begins, ends)),
    ),
    Figure(
        "undone",
        "Lines taken back",
        "lines that were booked and taken back",
        lambda begins, ends: _line_rows(_undone(begins, ends), undone=True),
        lambda begins, ends: _at(_undone(begins, ends), "undone_at"),
    ),
    Figure(
        "besides",
        "Given besides",
        "times a job was given more than its lists ask for, over the counter",
        lambda begins, ends: _movement_rows(_besides(begins, ends)),
        lambda begins, ends: _posted_at(_besides(begins, ends)),
    ),
    Figure(
        "counted",
        "Counted",
        "lots at their places that were counted on a sheet",
        _count_rows,
        lambda begins, ends: _at(_counted(begins, ends)),
    ),
    Figure(
        "differed",
        "Counts with a difference",
        "lots at their places of which a count, on a sheet or on a round, found more or fewer than the book",
        lambda begins, ends: _movement_rows(_differed(begins, ends)),
        lambda begins, ends: _posted_at(_differed(begins, ends)),
    ),
    Figure(
        "robbed",
        "Taken out of kits",
        "times pieces were taken out of a packed kit",
        _robbed_rows,
        lambda begins, ends: [one.at for one in robbed_pieces(begins, ends)],
    ),
    Figure(
        "aged",
        "Scrapped for age",
        "lots that left the shop for good past their last use",
        lambda begins, ends: _movement_rows(_aged(begins, ends), gone=True),
        lambda begins, ends: [move.posting.at for move in _aged(begins, ends)],
    ),
)
FIGURE = {figure.name: figure for figure in FIGURES}

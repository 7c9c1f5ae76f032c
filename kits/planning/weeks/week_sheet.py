"""The week's sheet for the owner: planned, built, on their day, why not; broken promises, robbed kits, costs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.days.words import words_for_day
from kits.catalog.queries import read_settings
from kits.people.names import name_of
from kits.planning.weeks.answers import monday
from kits.planning.weeks.costs import Cost
from kits.planning.weeks.week_jobs import Week, WeekJob, WeekJobs
from kits.planning.words.states import plural
from kits.purchasing.models import OrderLine, PromiseChange
from kits.stock.models import Movement
from kits.stock.words import PostingKind


@dataclass(frozen=True, slots=True)
class BrokenPromise:
    """An order line that was promised for a day of the week and did not come by it, and what became of it."""

    order: str
    line: str
    supplier: str
    part_number: str
    promised_on: date
    became: str


@dataclass(frozen=True, slots=True)
class RobbedPiece:
    """A piece that was taken out of a kit, for which job, by whom and why."""

    at: datetime
    part_number: str
    quantity: Amount
    kit: str
    kit_lot: str
    job: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class WeekSheet:
    """Everything on the sheet of one week. ``from_answers`` tells whether answers were kept when it began."""

    week: Week
    as_of: date
    currency: str
    from_answers: bool
    jobs: tuple[WeekJob, ...]
    promises: tuple[BrokenPromise, ...]
    robbed: tuple[RobbedPiece, ...]

    @property
    def planned(self) -> int:
        """How many jobs were planned in the week."""
        return sum(row.planned_on is not None for row in self.jobs)

    @property
    def built(self) -> int:
        """How many jobs were built in it."""
        return sum(row.built_on is not None for row in self.jobs)

    @property
    def built_of_planned(self) -> int:
        """How many of the planned ones were built in it."""
        return sum(row.built_on is not None and row.planned_on is not None for row in self.jobs)

    @property
    def on_their_day(self) -> int:
        """How many of the planned ones were built on their day, or before it."""
        return sum(row.on_its_day for row in self.jobs)

    @property
    def planned_cost(self) -> Cost:
        """What the parts of the jobs built were planned to cost, as far as it was kept."""
        return Cost.total(row.planned for row in self.jobs if row.built_on and row.planned)

    @property
    def unplanned(self) -> int:
        """How many of the jobs built have no planned cost."""
        return sum(row.built_on is not None and row.planned is None for row in self.jobs)

    @property
    def used_cost(self) -> Cost:
        """What was used up in the jobs built."""
        return Cost.total(row.used for row in self.jobs if row.used)

    @property
    def says(self) -> str:
        """The answer in one sentence."""
        over = self.week.last_on < self.as_of
        one = self.planned == 1
        were = ("was" if one else "were") if over else ("is" if one else "are")
        if not self.planned:
            return f"No job {'was' if over else 'is'} planned for this week; {self.built or 'none'} built in it."
        planned = f"{plural(self.planned, 'job')} {were} planned"
        if not self.built_of_planned:
            return f"{planned}; {'it is not' if one else 'none of them is'} built{'' if over else ' yet'}."
        if one:
            return f"{planned}; it is built, {'' if self.on_their_day else 'not '}on its day."
        return (
            f"{planned}; {self.built_of_planned} of them {'is' if self.built_of_planned == 1 else 'are'} built, "
            f"{self.on_their_day or 'none'} on {'its' if self.on_their_day == 1 else 'their'} day."
        )

    @property
    def follows(self) -> str:
        """What else there is to say in a sentence."""
        besides = self.built - self.built_of_planned
        told = [f"{plural(besides, 'job')} besides"] if besides else []
        told += [f"{plural(len(self.promises), 'broken promise')}"] if self.promises else []
        told += [f"{plural(len(self.robbed), 'piece')} out of kits"] if self.robbed else []
        return f"{', '.join(told)}." if told else ""


def week_sheet(plan: Plan, first_on: date) -> WeekSheet:
    """The sheet of the week that begins on a Monday; a fixed number of statements."""
    week = Week(monday(first_on))
    jobs = WeekJobs(plan, week)
    return WeekSheet(
        week=week,
        as_of=plan.shop.as_of,
        currency=read_settings().currency,
        from_answers=jobs.start is not None,
        jobs=jobs.rows(),
        promises=tuple(sorted(_broken(plan, week), key=lambda row: (row.promised_on, row.order, row.line))),
        robbed=tuple(robbed_pieces(week.begins_at, week.ends_at)),
    )


def _broken(plan: Plan, week: Week) -> Iterator[BrokenPromise]:
    """Promises of the week that were moved to a later day, that were not kept, or that came late; three statements."""
    as_of = plan.shop.as_of
    moved = PromiseChange.objects.filter(was_on__range=(week.first_on, week.last_on)).order_by("pk")
    told = set()
    for change in moved.select_related("order_line__supplier", "order_line__item"):
        if change.promised_on > change.was_on:
            reason = f": {change.reason}" if change.reason else ""
            told.add(change.order_line_id)
            became = f"moved to {words_for_day(change.promised_on, as_of)}{reason}"
            yield _promise(change.order_line, change.was_on, became)
    lines = OrderLine.objects.filter(promised_on__range=(week.first_on, week.last_on)).exclude(pk__in=told)
    for line in lines.order_by("pk").select_related("supplier", "item").prefetch_related("receipts__posting"):
        if line.quantity and line.promised_on < as_of:
            still = Amount.of(line.quantity, line.item.stock_unit).text
            yield _promise(line, line.promised_on, f"{still} still to come")
            continue
        came = max(
            (timezone.localdate(one.posting.at) for one in line.receipts.all() if one.quantity > 0), default=None
        )
        if came is not None and came > line.promised_on:
            late = plural(plan.calendar.between(line.promised_on, came), "working day")
            yield _promise(line, line.promised_on, f"came on {words_for_day(came, as_of)}, {late} late")


def _promise(line: OrderLine, promised_on: date, became: str) -> BrokenPromise:
    return BrokenPromise(line.order, line.line, line.supplier.supplier, line.item.part_number, promised_on, became)


def robbed_pieces(begins_at: datetime, ends_at: datetime) -> Iterator[RobbedPiece]:
    """What was taken out of kits from a moment on and before another, and not taken back; one statement."""
    moves = Movement.objects.filter(
        posting__kind=PostingKind.ROB,
        posting__reversed_by__isnull=True,
        posting__at__gte=begins_at,
        posting__at__lt=ends_at,
    ).select_related("posting__job", "posting__by", "balance__lot__item")
    by_posting: dict[int, list[Movement]] = {}
    for move in moves.order_by("posting_id", "pk"):
        by_posting.setdefault(move.posting_id, []).append(move)
    for of_one in by_posting.values():
        kit = next(move.balance.lot for move in of_one if move.quantity < 0)
        for move in of_one:
            item = move.balance.lot.item
            if move.quantity > 0 and item != kit.item:
                posting = move.posting
                yield RobbedPiece(
                    at=posting.at,
                    part_number=item.part_number,
                    quantity=Amount.of(move.quantity, item.stock_unit),
                    kit=kit.item.part_number,
                    kit_lot=kit.lot,
                    job=posting.job.job if posting.job else "",
                    by=name_of(posting.by),
                    reason=posting.reason,
                )

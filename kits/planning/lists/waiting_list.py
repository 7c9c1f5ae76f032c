"""Pumps that cannot be built yet, by how long they have been here, each with the one thing that it waits for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from bom.plan import Plan
from bom.reading import Asker, Piece, Reading
from kits.catalog.days.words import words_for_day
from kits.planning.queries import kept_beside, reading_of
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import NOT_HERE, State, in_words, job_state, lacks_go_ahead, plural
from kits.purchasing.outside.queries import OutRow, waited_for
from kits.schedule.models import JobStep
from kits.schedule.words import Stage

AGES = (("to_20", 0, 20), ("to_30", 21, 30), ("to_60", 31, 60), ("over_60", 61, None))
GROUPS = {
    "over_60": "here for over 60 days",
    "to_60": "here for 31 to 60 days",
    "to_30": "here for 21 to 30 days",
    "to_20": "here for up to 20 days",
    "no_day": "here, day not known",
    "expected": "not here yet",
}
"""The groups, the longest wait first."""
MARKS = ("waiting", "late", "short")
GO_AHEAD = "the customer's go-ahead"


@dataclass(frozen=True, slots=True)
class WaitingJob:
    """A job whose pump cannot be built now. ``came_on`` is when it came, at the latest; ``days`` counts from it.

    ``thing`` is the part, the overdue order, the go-ahead or the outside work that it waits for, ``promise`` what is
    known of that, ``promised_on`` the day of it. ``outside`` is the number of the outside work that comes last, if any.
    """

    job: str
    pump: str
    scope: str
    quantity: int
    customer: str
    serial: str
    build_on: date
    state: State
    group: str
    came_on: date | None
    by_strip_day: bool
    days: int | None
    thing: str
    is_order: bool
    is_go_ahead: bool
    what: str
    leads_to: str
    promise: str
    promised_on: date | None
    outside: int | None
    is_outside: bool

    @property
    def group_says(self) -> str:
        """The group in words."""
        return GROUPS[self.group]


@dataclass(frozen=True, slots=True)
class GroupTotal:
    """How many jobs and pumps of one group wait, and how many jobs are waiting, late and short."""

    group: str
    says: str
    jobs: int
    pumps: int
    marks: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class WaitingList:
    """All of them, the longest wait first, with totals by age."""

    as_of: date
    rows: tuple[WaitingJob, ...]
    totals: tuple[GroupTotal, ...]
    says: str
    follows: str


def waiting_list(plan: Plan) -> WaitingList:
    """The waiting list of a plan, worked out once for each; three statements."""
    return kept_beside(plan, "waiting list", lambda: draw_waiting(plan))


def draw_waiting(plan: Plan) -> WaitingList:
    """The waiting list; three statements."""
    reading, as_of = reading_of(plan), plan.shop.as_of
    out = waited_for(None, as_of)
    waiting = [
        asker
        for asker in reading.jobs.values()
        if asker.status != "ready" or lacks_go_ahead(reading, asker) or asker.name in out
    ]
    names = item_names({asker.blocking_part for asker in waiting if asker.blocking_part})
    came = came_on({asker.name for asker in waiting})
    rows = [_row(reading, asker, came.get(asker.name), names, out.get(asker.name, ())) for asker in waiting]
    order = list(GROUPS)
    rows.sort(key=lambda row: (order.index(row.group), -(row.days or 0), row.build_on, row.job))
    here = [row for row in rows if row.group != "expected"]
    return WaitingList(
        as_of, tuple(rows), tuple(_totals(rows)), _says(here, len(rows) - len(here)), _most_waited_for(rows)
    )


def came_on(jobs: Collection[str]) -> dict[str, date]:
    """The day on which the pump of each job came, where somebody said so; one statement."""
    steps = JobStep.objects.filter(job__job__in=jobs, before=Stage.EXPECTED).order_by("pk")
    return {job: timezone.localdate(at) for job, at in steps.values_list("job__job", "at")}


def group_of(days: int) -> str:
    """The group of a pump that has been here for so many days."""
    return next(group for group, first, last in AGES if days >= first and (last is None or days <= last))


def _row(
    reading: Reading, asker: Asker, said_on: date | None, names: Mapping[str, ItemName], out: Sequence[OutRow]
) -> WaitingJob:
    job, as_of = asker.job, reading.plan.shop.as_of
    assert job is not None, "only jobs wait for a build"
    by_strip_day = said_on is None and job.strip_on is not None and job.strip_on <= as_of
    came = None if job.stage == NOT_HERE else said_on or (job.strip_on if by_strip_day else None)
    days = None if came is None else max((as_of - came).days, 0)
    group = "expected" if job.stage == NOT_HERE else "no_day" if days is None else group_of(days)
    thing, is_order, promise, promised_on = _waits_for(reading, asker, as_of)
    if out:
        says = out[-1].says(as_of)
        if asker.status == "ready" and not lacks_go_ahead(reading, asker):
            thing, promise, promised_on = f"outside work {out[-1].pk}", says, out[-1].promised_on
        else:
            promise = "; ".join(filter(None, (promise, f"besides, outside work {out[-1].pk}: {says}")))
    name = names.get(thing)
    return WaitingJob(
        job=job.job,
        pump=job.pump,
        scope=job.scope,
        quantity=job.quantity,
        customer=job.customer,
        serial=job.serial,
        build_on=job.build_on,
        state=job_state(reading, asker),
        group=group,
        came_on=came,
        by_strip_day=by_strip_day and came is not None,
        days=days,
        thing=thing,
        is_order=is_order,
        is_go_ahead=thing == GO_AHEAD,
        what=name.what if name else "",
        leads_to=name.leads_to if name else "part",
        promise=promise,
        promised_on=promised_on,
        outside=out[-1].pk if out else None,
        is_outside=bool(out) and thing.startswith("outside work"),
    )


def _waits_for(reading: Reading, asker: Asker, as_of: date) -> tuple[str, bool, str, date | None]:
    """The one thing, whether it is an order, what is promised of it in words, and for which day."""
    if asker.status == "waiting" and (orders := reading.overdue_orders.get(asker)):
        promised = min(line.promised for line in reading.plan.shop.orders if line.order == orders[0])
        return orders[0], True, f"promised for {words_for_day(promised, as_of)}, overdue", promised
    if asker.status == "ready":
        return GO_AHEAD, False, "", None
    part = asker.blocking_part or ""
    found = _promised(reading, asker, part)
    if found is not None:
        order, promised = found
        overdue = ", overdue" if promised < as_of else ""
        return part, False, f"{order}, promised for {words_for_day(promised, as_of)}{overdue}", promised
    if asker.status == "short":
        here = f": here on {words_for_day(asker.parts_on, as_of)} if ordered today" if asker.parts_on else ""
        return part, False, f"not ordered{here}", asker.parts_on
    return part, False, "lies here, to be packed" if part else "", asker.parts_on


def _promised(reading: Reading, asker: Asker, part: str) -> tuple[str, date] | None:
    """The order line that brings the last of a part; what is packed is looked into where nobody else asks for it."""
    if not part:
        return None
    asked = [served for _, served in reading.served_of(asker, part)]
    if not asked:
        pieces = _all(reading.pieces_of(asker))
        asked = [served for piece in pieces if piece.part_number == part for served in piece.served]
    lines = [served.order for served in asked if served.order]
    last = max(lines, key=lambda line: line.promised, default=None)
    return None if last is None else (last.order, last.promised)


def _all(pieces: Sequence[Piece]) -> Iterator[Piece]:
    for piece in pieces:
        yield piece
        yield from _all(piece.contents)


def _totals(rows: Sequence[WaitingJob]) -> Iterator[GroupTotal]:
    for group, says in GROUPS.items():
        mine = [row for row in rows if row.group == group]
        marks = Counter(row.state.mark for row in mine)
        if mine:
            counted = tuple((mark, marks[mark]) for mark in MARKS if marks[mark])
            yield GroupTotal(group, says, len(mine), sum(row.quantity for row in mine), counted)


def _says(here: Sequence[WaitingJob], expected: int) -> str:
    """The answer in one sentence."""
    longest = max((row.days for row in here if row.days is not None), default=None)
    more = f"; {plural(expected, 'job')} more {'is' if expected == 1 else 'are'} not here yet" if expected else ""
    if not here:
        return f"No pump that is here waits for parts{more}."
    since = f", the longest for {plural(longest, 'day')}" if longest is not None else ""
    verb = "waits" if len(here) == 1 else "wait"
    return f"{plural(len(here), 'job')} {verb} here for parts{since}{more}."


def _most_waited_for(rows: Sequence[WaitingJob]) -> str:
    """What most of them wait for."""
    things = Counter(row.thing for row in rows if row.thing)
    most = [f"{count} for {thing}" for thing, count in things.most_common(3) if count > 1]
    return f"Most wait for the same: {in_words(most)}." if most else ""

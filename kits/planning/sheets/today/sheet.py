"""Today's sheet of each role: its first sentence answers what that role asks first, and its lists follow from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from bom.answers.rows import chase_rows, expiring_rows
from bom.plan import Plan
from bom.reading import Reading
from kits.catalog.days.words import words_for_day
from kits.planning.lists.buy_lists import ToBuy, sure_list
from kits.planning.lists.order_calls import OrderCall, order_call
from kits.planning.queries import reading_of, shared_beside
from kits.planning.questions.freeing import Frees
from kits.planning.sheets.shortages import DyingLot, dying_lot
from kits.planning.sheets.today.answers import (
    called_says,
    clerk_says,
    coming_says,
    helps_most,
    lead_says,
    next_days_say,
    order_says,
    planner_says,
    purchaser_says,
)
from kits.planning.sheets.today.freeing import best_first, releases_of_shop, shop_frees
from kits.planning.sheets.today.rows import (
    BUILDS_AHEAD_DAYS,
    FIRST_ROWS,
    NEAR_DAYS,
    FirstRows,
    Incoming,
    NextBuild,
    NextStrip,
    StageRow,
    arrival,
    builds_through,
    by_build,
    coming_orders,
    next_builds,
    next_strips,
    stage_row,
    urgent_purchases,
)
from kits.planning.weeks.answers import Answers, answers_of
from kits.planning.weeks.changes import counted
from kits.planning.words.item_names import item_names
from kits.planning.words.states import NOT_HERE, OPENED_STAGES
from kits.purchasing.ends.queries import EndRow, last_orders_soon
from kits.purchasing.lines.open_calls import LastCall, calls_due, count_unconfirmed
from kits.purchasing.outside.queries import OutRow, outside_list
from kits.schedule.words import Stage

NONE: FirstRows[Any] = FirstRows()


@dataclass(frozen=True, slots=True)
class TodaySheet:
    """What stands on today's sheet of one role; a list that is none of its business is empty.

    ``picks`` are jobs of which something lies on the shelf, ``frees`` what frees most jobs of the whole shop,
    ``opened`` pumps that are open, ``to_test`` those that are built or tested. ``waits_here`` and ``waits_elsewhere``
    count the jobs of the waiting list.
    """

    whose: str
    as_of: date
    says: str
    follows: str
    through: date
    builds_say: str = ""
    builds: FirstRows[NextBuild] = NONE
    picks: FirstRows[NextBuild] = NONE
    frees: FirstRows[Frees] = NONE
    strips: FirstRows[NextStrip] = NONE
    opened: FirstRows[StageRow] = NONE
    to_test: FirstRows[StageRow] = NONE
    to_order: FirstRows[ToBuy] = NONE
    chase: FirstRows[OrderCall] = NONE
    outside: FirstRows[OutRow] = NONE
    ends: FirstRows[EndRow] = NONE
    arrivals: FirstRows[Incoming] = NONE
    dying: FirstRows[DyingLot] = NONE
    calls: FirstRows[LastCall] = NONE
    unconfirmed: int = 0
    waits_here: int = 0
    waits_elsewhere: int = 0
    nothing_yet: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to do."""
        lists = (self.builds, self.picks, self.frees, self.strips, self.opened, self.to_test, self.to_order)
        after = (self.chase, self.outside, self.ends, self.arrivals, self.dying, self.calls)
        return not any(rows.count for rows in (*lists, *after))


def today_sheet(plan: Plan, whose: str) -> TodaySheet:
    """Today's sheet of a role, worked out once for each plan."""
    return shared_beside(plan, f"today {whose}", lambda: draw_today(plan, whose))


def draw_today(plan: Plan, whose: str) -> TodaySheet:
    """Today's sheet of a role; one statement for the names of everything on it, and those of what frees."""
    return SHEETS[whose](plan, reading_of(plan))


def since_last_week(plan: Plan, before: Answers | None) -> str:
    """What became of the jobs since the week began, in words; empty where nothing is kept or nothing changed."""
    return ", ".join(f"{count} {what}" for what, count in counted(before, answers_of(plan)).items()) if before else ""


def planner_sheet(plan: Plan, reading: Reading) -> TodaySheet:
    """Which pumps can be built next week, and which one purchase or call helps most."""
    as_of = plan.shop.as_of
    through = plan.calendar.forward(as_of, BUILDS_AHEAD_DAYS)
    shown = builds_through(reading, through)
    releases = best_first(releases_of_shop(plan))
    names = item_names({asker.blocking_part for asker in shown[:FIRST_ROWS] if asker.blocking_part})
    waiting = [asker for asker in reading.jobs.values() if asker.status != "ready"]
    elsewhere = sum(asker.job.stage == NOT_HERE for asker in waiting if asker.job)
    frees = shop_frees(plan, releases[:FIRST_ROWS])
    return TodaySheet(
        whose="planner",
        as_of=as_of,
        says=planner_says(reading),
        follows=helps_most(frees),
        through=through,
        builds_say=next_days_say(reading, shown),
        builds=FirstRows(next_builds(reading, shown[:FIRST_ROWS], names), len(shown)),
        frees=FirstRows(frees, len(releases)),
        waits_here=len(waiting) - elsewhere,
        waits_elsewhere=elsewhere,
        nothing_yet=is_new(plan),
    )


def clerk_sheet(plan: Plan, reading: Reading) -> TodaySheet:
    """What is to be picked, what comes in, and which lots run out."""
    as_of = plan.shop.as_of
    through, near = plan.calendar.forward(as_of, BUILDS_AHEAD_DAYS), plan.calendar.forward(as_of, NEAR_DAYS)
    picks = by_build(asker for asker in reading.given_from_shelf if asker.is_job and asker.build_on <= through)
    coming, dying = coming_orders(plan, near), sorted(expiring_rows(plan), key=lambda row: row["last_use"])
    names = item_names(
        {asker.blocking_part for asker in picks[:FIRST_ROWS] if asker.blocking_part}
        | {line.part_number for line in coming[:FIRST_ROWS]}
        | {row["part_number"] for row in dying[:FIRST_ROWS]}
    )
    return TodaySheet(
        whose="clerk",
        as_of=as_of,
        says=clerk_says(picks),
        follows=coming_says(len(coming)),
        through=through,
        builds_say="Something lies on the shelf for each of them.",
        picks=FirstRows(next_builds(reading, picks[:FIRST_ROWS], names), len(picks)),
        arrivals=FirstRows(tuple(arrival(line, names) for line in coming[:FIRST_ROWS]), len(coming)),
        dying=FirstRows(tuple(dying_lot(row, names) for row in dying[:FIRST_ROWS]), len(dying)),
        nothing_yet=is_new(plan),
    )


def purchaser_sheet(plan: Plan, reading: Reading) -> TodaySheet:
    """What has to be ordered now, whom to call, and what frees most jobs."""
    as_of = plan.shop.as_of
    near = plan.calendar.forward(as_of, NEAR_DAYS)
    short = [row for row in reading.purchases if row.short and row.askers]
    urgent = urgent_purchases(short, near)
    chase = sorted(chase_rows(plan), key=lambda row: row["promised"])
    coming = coming_orders(plan, near)
    first = frozenset(row.part_number for row in urgent[:FIRST_ROWS])
    names = item_names(
        first | {row["part_number"] for row in chase[:FIRST_ROWS]} | {line.part_number for line in coming[:FIRST_ROWS]}
    )
    to_order = {row.part_number: row for row in sure_list(reading, reading.askers, names, {}, first).rows}
    releases = best_first(releases_of_shop(plan))
    frees = shop_frees(plan, releases[:FIRST_ROWS])
    return TodaySheet(
        whose="purchaser",
        as_of=as_of,
        says=purchaser_says(reading, urgent, chase),
        follows=" ".join(says for says in (order_says(urgent, short), helps_most(frees)) if says),
        through=near,
        frees=FirstRows(frees, len(releases)),
        to_order=FirstRows(tuple(to_order[row.part_number] for row in urgent[:FIRST_ROWS]), len(urgent)),
        chase=FirstRows(tuple(order_call(reading, "chase", row, names) for row in chase[:FIRST_ROWS]), len(chase)),
        ends=FirstRows.of(last_orders_soon(as_of)),
        outside=FirstRows.of(row for row in outside_list(as_of, plan.calendar) if row.days_late),
        arrivals=FirstRows(tuple(arrival(line, names) for line in coming[:FIRST_ROWS]), len(coming)),
        calls=FirstRows.of(calls_due(as_of)),
        unconfirmed=count_unconfirmed(),
        nothing_yet=is_new(plan),
    )


def lead_sheet(plan: Plan, reading: Reading) -> TodaySheet:
    """Which pumps are to be opened, which are open, and which are to be tested or shipped."""
    near = plan.calendar.forward(plan.shop.as_of, NEAR_DAYS)
    strips = tuple(next_strips(reading, near))
    open_jobs = by_build(asker for asker in reading.jobs.values() if asker.job and asker.job.stage in OPENED_STAGES)
    opened = tuple(stage_row(asker.job, reading.to_inspect.get(asker, 0)) for asker in open_jobs if asker.job)
    built = [job for job in plan.shop.jobs if job.stage in (Stage.BUILT, Stage.TESTED)]
    built.sort(key=lambda job: (job.stage, job.build_on, job.job))
    can_build = [asker for asker in open_jobs if asker.status == "ready" and not reading.to_inspect.get(asker, 0)]
    return TodaySheet(
        whose="lead",
        as_of=plan.shop.as_of,
        says=lead_says(strips, opened, len(can_build), words_for_day(near, plan.shop.as_of)),
        follows=called_says(built),
        through=near,
        strips=FirstRows.of(strips),
        opened=FirstRows.of(opened),
        to_test=FirstRows.of(stage_row(job) for job in built),
        nothing_yet=is_new(plan),
    )


def is_new(plan: Plan) -> bool:
    """Whether nothing was brought in yet."""
    return not plan.shop.jobs and not plan.shop.catalog.items


SHEETS: dict[str, Callable[[Plan, Reading], TodaySheet]] = {
    "planner": planner_sheet,
    "clerk": clerk_sheet,
    "purchaser": purchaser_sheet,
    "lead": lead_sheet,
}

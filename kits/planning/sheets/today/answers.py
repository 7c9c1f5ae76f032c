"""The sentences that today's sheet opens with: what each role asks first, answered from the plan."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta
from typing import Any

from bom.reading import Asker, PurchaseRow, Reading
from bom.values import Job
from kits.catalog.days.words import words_for_day
from kits.planning.questions.freeing import Frees
from kits.planning.sheets.answer import can_be_built
from kits.planning.sheets.today.rows import BUILDS_AHEAD_DAYS, NEAR_DAYS, NextStrip, StageRow, by_build
from kits.planning.weeks.answers import monday
from kits.planning.words.states import in_words, plural
from kits.schedule.words import Stage

WEEK = timedelta(days=7)


def planner_says(reading: Reading) -> str:
    """Which pumps can be built next week."""
    as_of = reading.plan.shop.as_of
    first = monday(as_of) + WEEK
    week = by_build(asker for asker in reading.jobs.values() if first <= asker.build_on < first + WEEK)
    days = f"{_day(first, as_of)} to {_day(first + timedelta(days=6), as_of)}"
    if not week:
        return f"No pump is planned for next week, {days}."
    can = [asker.name for asker in week if can_be_built(reading, asker)]
    if len(week) == 1:
        return f"The one job of next week, {days}, {'can' if can else 'cannot'} be built on its day: {week[0].name}."
    if not can:
        return f"None of the {len(week)} jobs of next week, {days}, can be built on their day."
    which = "" if len(can) == len(week) else f": {in_words(can, longest=6)}"
    whose = "its" if len(can) == 1 else "their"
    return f"{len(can)} of {plural(len(week), 'job')} of next week, {days}, can be built on {whose} day{which}."


def helps_most(frees: Sequence[Frees]) -> str:
    """The one purchase or call that sets most jobs free; after a call the best purchase too, if it helps in time."""
    if not frees:
        return ""
    best, *others = frees
    told = [f"What helps most is {_does(best)}."]
    purchases = [row for row in others if len(row.parts) == 1 and row.price is not None and row.in_time]
    if purchases and best.price is None:
        told.append(f"The purchase that helps most is {_does(purchases[0])}.")
    return " ".join(told)


def _does(row: Frees) -> str:
    things = " and ".join(part.order or part.part_number for part in row.parts)
    to_do = "; ".join(part.to_do for part in row.parts)
    in_time = "" if row.in_time == len(row.jobs) else f", {row.in_time or 'none'} of them in time"
    if len(row.jobs) == 1 and not row.in_time:
        in_time = ", though not in time"
    return f"{things}: {to_do}; it frees {in_words([job.name for job in row.jobs], longest=6)}{in_time}"


def next_days_say(reading: Reading, shown: Sequence[Asker]) -> str:
    """How many of the next builds can be on their day."""
    if not shown:
        return f"No job is built in the next {BUILDS_AHEAD_DAYS} working days."
    safe = [asker for asker in shown if can_be_built(reading, asker)]
    ahead = f"built in the next {BUILDS_AHEAD_DAYS} working days"
    if len(shown) == 1:
        return f"1 job is {ahead}; it {'can' if safe else 'cannot'} be on its day."
    return (
        f"{plural(len(shown), 'job')} are {ahead}; "
        f"{len(safe) or 'none'} of them can be on {'its' if len(safe) == 1 else 'their'} day."
    )


def clerk_says(picks: Collection[Asker]) -> str:
    """What is to be picked."""
    if not picks:
        return f"Nothing is to be picked for the builds of the next {BUILDS_AHEAD_DAYS} working days."
    whole = sum(asker.status == "ready" for asker in picks)
    of = f"of the next {BUILDS_AHEAD_DAYS} working days"
    if len(picks) == 1:
        full = "can be picked in full" if whole else "cannot be picked in full"
        return f"1 job {of} has parts on the shelf that wait to be picked; it {full}."
    return (
        f"{len(picks)} jobs {of} have parts on the shelf that wait to be picked; {whole or 'none'} of them can be "
        "picked in full."
    )


def coming_says(lines: int) -> str:
    """What comes in soon."""
    if not lines:
        return ""
    return f"{plural(lines, 'order line')} {'is' if lines == 1 else 'are'} to come within {NEAR_DAYS} working days."


def purchaser_says(reading: Reading, urgent: Sequence[PurchaseRow], chase: Sequence[dict[str, Any]]) -> str:
    """What has to be ordered now, and whom to call."""
    late = sum(bool(row.days_late) for row in urgent)
    already = f", {'which is' if len(urgent) == 1 else f'{late} of them'} late already" if late else ""
    told = [f"{plural(len(urgent), 'part')} {_has(urgent)} to be ordered this week{already}"] if urgent else []
    if chase:
        leaning = len(reading.overdue_orders)
        depend, them = "depends" if leaning == 1 else "depend", "it" if len(chase) == 1 else "them"
        holds = f", and {plural(leaning, 'job')} {depend} on {them}" if leaning else ""
        told.append(f"{plural(len(chase), 'order line')} {'is' if len(chase) == 1 else 'are'} overdue{holds}")
    return f"{'; '.join(told)}." if told else "Nothing has to be ordered this week, and no promise is broken."


def order_says(urgent: Sequence[PurchaseRow], short: Sequence[PurchaseRow]) -> str:
    """What is short where nothing of it presses."""
    if urgent or not short:
        return ""
    return f"{plural(len(short), 'part')} {'is' if len(short) == 1 else 'are'} short, none to be ordered this week."


def lead_says(strips: Sequence[NextStrip], opened: Sequence[StageRow], can_build: int, near: str) -> str:
    """Which pumps are to be opened, and how the open ones stand."""
    here = [row for row in strips if row.here]
    past = sum(row.past for row in here)
    overdue = (", overdue" if len(here) == 1 else f", {past} of them overdue") if past else ""
    told = []
    if here:
        told.append(f"{plural(len(here), 'pump')} that {_is(here)} here {_is(here)} to be opened by {near}{overdue}")
    still = sum(bool(row.to_inspect) for row in opened)
    if still:
        told.append(f"{plural(still, 'open pump')} {'has' if still == 1 else 'have'} positions without a verdict")
    if can_build:
        told.append(f"{plural(can_build, 'open pump')} can be built")
    if elsewhere := len(strips) - len(here):
        told.append(
            f"{plural(elsewhere, 'pump')} to be opened by {near} {'is' if elsewhere == 1 else 'are'} not here yet"
        )
    return f"{'; '.join(told)}." if told else f"No pump that is here is to be opened by {near}, and none lies open."


def called_says(built: Sequence[Job]) -> str:
    """What is to be tested and shipped."""
    to_test = sum(job.stage == Stage.BUILT for job in built)
    to_ship = len(built) - to_test
    told = [f"{plural(to_test, 'job')} to test"] if to_test else []
    told += [f"{plural(to_ship, 'job')} to ship"] if to_ship else []
    return f"{in_words(told)}." if told else ""


def _has(rows: Sequence[object]) -> str:
    return "has" if len(rows) == 1 else "have"


def _is(rows: Sequence[object]) -> str:
    return "is" if len(rows) == 1 else "are"


def _day(on: date, as_of: date) -> str:
    return words_for_day(on, as_of)

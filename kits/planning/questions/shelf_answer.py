"""What today's shelf can finish: the jobs served in order beside the jobs chosen so that most are finished."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from bom.plan import Plan
from bom.questions.selection import ChosenJob, JobChoice, choose_jobs
from kits.planning.queries import reading_of, shared_beside
from kits.planning.questions.kit_uses import SomeParts
from kits.planning.questions.proposals import some
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import in_words, plural

SECONDS = 2.0
MOST_AT_ONCE = 300
"""With more jobs and other needs than this the answer is worked out on a page of its own, when it is asked for."""


@dataclass(frozen=True, slots=True)
class FinishedJob:
    """A job of the sheet that the choice finishes; ``takes`` is what the plan gives to ``others``."""

    job: str
    in_order: bool
    packs: tuple[SomeParts, ...]
    takes: tuple[SomeParts, ...]
    others: str


@dataclass(frozen=True, slots=True)
class ShelfAnswer:
    """Both answers; ``besides`` says what they are over the whole shop, and whether the choice is proved best."""

    says: str
    besides: str
    rows: tuple[FinishedJob, ...]
    given_up: tuple[str, ...]


def is_quick(plan: Plan) -> bool:
    """Whether the choice is worked out while somebody waits for a page."""
    return len(reading_of(plan).askers) <= MOST_AT_ONCE


def choice_of(plan: Plan) -> JobChoice:
    """The choice over the whole shop, weighed by priority; worked out once for a plan."""
    return shared_beside(plan, "choice", lambda: choose_jobs(plan, time_limit=SECONDS))


def shelf_of_batch(plan: Plan, batch: str) -> ShelfAnswer:
    """The answer for a batch by itself; one statement."""
    choice = choice_of(plan)
    jobs = frozenset(asker.name for asker in reading_of(plan).jobs_of_batch(batch))
    return shelf_answer(choice, jobs, item_names(choice_numbers(choice, jobs)))


def choice_numbers(choice: JobChoice, shown: Collection[str]) -> Iterator[str]:
    """The parts whose names are needed."""
    for row in choice.chosen:
        if row.name in shown:
            yield from (taken.part_number for taken in row.takes)
            yield from (number for number, _ in row.packed)


def shelf_answer(choice: JobChoice, shown: Collection[str], names: Mapping[str, ItemName]) -> ShelfAnswer:
    """The choice for the jobs of one sheet; the shelf is that of the whole shop, so all its jobs take part."""
    rows = tuple(finished(row, names) for row in choice.chosen if row.name in shown)
    in_order = [name for name in choice.in_order if name in shown]
    return ShelfAnswer(
        says=both_say(len(in_order), len(rows), len(shown)),
        besides=(
            f"Over the whole shop: {len(choice.in_order)} in order, {len(choice.chosen)} chosen, jobs and other needs "
            f"weighed by priority ({choice.says})."
        ),
        rows=rows,
        given_up=tuple(name for name in choice.given_up if name in shown),
    )


def both_say(in_order: int, chosen: int, shown: int) -> str:
    """The two answers in one sentence."""
    first = f"Served in order, today's shelf finishes {in_order or 'none'} of {plural(shown, 'job')}"
    if chosen == in_order:
        return f"{first}; a free choice over the whole shop finishes as many of them."
    return f"{first}; a free choice over the whole shop finishes {chosen or 'none'}."


def finished(row: ChosenJob, names: Mapping[str, ItemName]) -> FinishedJob:
    """One job that the choice finishes."""
    holders = sorted({name for taken in row.takes for name, _ in taken.holders})
    return FinishedJob(
        job=row.name,
        in_order=row.in_order,
        packs=tuple(some(names, number, quantity) for number, quantity in row.packed),
        takes=tuple(some(names, taken.part_number, taken.quantity) for taken in row.takes),
        others=in_words(holders),
    )

"""The sentences that a sheet of jobs opens with: how many can be built, what would free more, is wear covered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from bom.questions.feasible import Release
from bom.reading import Asker, Reading
from kits.catalog.days.words import words_for_day
from kits.planning.lists.buy_lists import PricedList, WearList
from kits.planning.words.states import in_words, plural

NEEDS_A_PURCHASE = frozenset({"buy", "hurry", "pack", "chase"})
"""What a proposal to do without a purchase is not."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer itself, and what follows from it."""

    answer: str
    rest: tuple[str, ...]


def answer_for(
    reading: Reading, shown: Sequence[Asker], sure: PricedList, wear: WearList, releases: Sequence[Release]
) -> Answer:
    """What can be built, in sentences; ``releases`` are the rows of what frees most, as they stand on the sheet."""
    if not shown:
        return Answer("No job here asks for parts.", ())
    built = [asker for asker in shown if can_be_built(reading, asker)]
    if len(built) == len(shown):
        says = (
            "The job can be built on its day."
            if len(shown) == 1
            else f"All {len(shown)} jobs can be built on their day."
        )
    else:
        whose = "its" if len(built) == 1 else "their"
        says = (
            "The job cannot be built on its day."
            if len(shown) == 1
            else f"{len(built) or 'None'} of {len(shown)} jobs can be built on {whose} day."
        )
    return Answer(says, tuple(what_follows(reading, shown, sure, wear, releases)))


def can_be_built(reading: Reading, asker: Asker) -> bool:
    """Whether a job has all its parts in time; one that depends on an overdue order is never counted so."""
    return asker.status in ("ready", "waiting") and asker not in reading.overdue_orders


def what_follows(
    reading: Reading, shown: Sequence[Asker], sure: PricedList, wear: WearList, releases: Sequence[Release]
) -> Iterator[str]:
    """The sentences after the first."""
    yield from broken_promises(reading, shown)
    yield from still_in_time(reading, shown)
    yield from what_to_do(reading, shown, sure, releases)
    if wear.parts:
        weakest = f"; the weakest is {wear.weakest}" if wear.weakest else ""
        parts = plural(wear.parts, "part")
        yield f"Over the whole shop, wear that may be found is covered for {wear.covered} of {parts}{weakest}."


def what_to_do(
    reading: Reading, shown: Sequence[Asker], sure: PricedList, releases: Sequence[Release]
) -> Iterator[str]:
    """What frees jobs, by the rows of what frees most."""
    here = {asker.name: asker for asker in shown}
    yield from without_a_purchase(releases, here)
    yield from best_purchase(reading, here, sure, releases)


def broken_promises(reading: Reading, shown: Sequence[Asker]) -> Iterator[str]:
    """The jobs that lack nothing but what an overdue order brings."""
    leaning: dict[tuple[str, ...], int] = defaultdict(int)
    for asker in shown:
        if asker.status == "waiting" and asker in reading.overdue_orders:
            leaning[reading.overdue_orders[asker]] += 1
    groups = sorted(leaning.items(), key=lambda group: (-group[1], group[0]))
    told = [f"{count} more only if {in_words(orders)} {comes(orders)}" for orders, count in groups]
    if told:
        yield f"{', '.join(told)}."


def still_in_time(reading: Reading, shown: Sequence[Asker]) -> Iterator[str]:
    """The short jobs that come in time if what they lack is ordered, and how many of them lean on an order besides."""
    as_of = reading.plan.shop.as_of
    short = [asker for asker in shown if asker.status == "short" and asker.days_late == 0]
    if not short:
        return
    days = [asker.order_by for asker in short if asker.order_by]
    by = f" by {words_for_day(max(min(days), as_of), as_of)}" if days else ""
    leaning = [asker for asker in short if asker in reading.overdue_orders]
    orders = sorted({order for asker in leaning for order in reading.overdue_orders[asker]})
    besides = f", {len(leaning)} of them only if {in_words(orders)} {comes(orders)} too" if leaning else ""
    are, they = ("is", "it lacks") if len(short) == 1 else ("are", "they lack")
    yield f"{len(short)} that {are} short can still be in time if what {they} is ordered{by}{besides}."


def without_a_purchase(releases: Sequence[Release], here: Mapping[str, Asker]) -> Iterator[str]:
    """The jobs that a proposal of the sheet frees without the purchase that is listed for them."""
    ways = [row for row in releases if len(row.holds) == 1 and row.to_do[0].means not in NEEDS_A_PURCHASE]
    jobs = sorted(job for row in ways for job in row.jobs if job in here)
    if jobs:
        each = " each" if len(jobs) > 1 else ""
        yield f"{in_words(jobs)} can{each} do without the purchase that is listed; how stands among the proposals."


def best_purchase(
    reading: Reading, here: Mapping[str, Asker], sure: PricedList, releases: Sequence[Release]
) -> Iterator[str]:
    """The one purchase that frees most jobs of the sheet in time, of those that nothing else holds."""
    rows = {row.part_number: row for row in sure.rows}
    singles = [row for row in releases if len(row.holds) == 1 and row.to_do[0].means == "buy"]
    ranked = [([job for job in row.in_time if job in here], row) for row in singles if row.to_do[0].name in rows]
    jobs, best = max(ranked, key=lambda pair: len(pair[0]), default=([], None))
    if best is None or not jobs:
        return
    row, as_of = rows[best.to_do[0].name], reading.plan.shop.as_of
    days = [day for job in jobs if (day := here[job].order_by)]
    source = f" from {row.supplier}" if row.supplier else ""
    by = f" by {words_for_day(max(min(days), as_of), as_of)}" if days else ""
    yield f"Buying {row.packs} × {row.pack_size.text} {row.part_number}{source}{by} frees {in_words(jobs)}."


def comes(orders: Sequence[str]) -> str:
    """The verb for so many orders."""
    return "comes" if len(orders) == 1 else "come"

"""The sentences that a sheet of jobs opens with: how many can be built, what would free more, is wear covered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kits.catalog.day_words import words_for_day
from kits.planning.lists.buy_lists import BuyList, WearList
from kits.planning.lists.plan_reading import PlanReading, day_of
from kits.planning.words.states import in_words, plural


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer itself, and what follows from it."""

    answer: str
    rest: tuple[str, ...]


def answer_for(reading: PlanReading, shown: Sequence[int], sure: BuyList, wear: WearList) -> Answer:
    """What can be built, in sentences; a job that leans on an overdue order is never counted as buildable."""
    built = [n for n in shown if reading.answers[n].status in ("ready", "waiting") and n not in reading.overdue_orders]
    if not shown:
        return Answer("No job here asks for parts.", ())
    if len(built) == len(shown):
        says = (
            "The job can be built on its day."
            if len(shown) == 1
            else f"All {len(shown)} jobs can be built on their day."
        )
    else:
        whose = "its" if len(built) == 1 else "their"
        says = f"{len(built) or 'None'} of {plural(len(shown), 'job')} can be built on {whose} day."
    return Answer(says, tuple(what_follows(reading, shown, sure, wear)))


def what_follows(reading: PlanReading, shown: Sequence[int], sure: BuyList, wear: WearList) -> Iterator[str]:
    """The sentences after the first."""
    leaning = [n for n in shown if reading.answers[n].status == "waiting" and n in reading.overdue_orders]
    if leaning:
        orders = sorted({order for n in leaning for order in reading.overdue_orders[n]})
        yield f"{len(leaning)} more only if {in_words(orders)} {'comes' if len(orders) == 1 else 'come'}."
    as_of = reading.plan.shop.as_of
    in_time = [n for n in shown if reading.answers[n].status == "short" and reading.answers[n].days_late == 0]
    if in_time:
        days = [day for n in in_time if (day := day_of(reading.answers[n].order_by))]
        by = f" by {words_for_day(max(min(days), as_of), as_of)}" if days else ""
        verb = "is" if len(in_time) == 1 else "are"
        yield f"{len(in_time)} that {verb} short can still be in time if what they lack is ordered{by}."
    yield from best_purchase(reading, shown, sure)
    if wear.parts:
        weakest = f"; the weakest is {wear.weakest}" if wear.weakest else ""
        yield f"Wear that may be found is covered for {wear.covered} of {plural(wear.parts, 'part')}{weakest}."


def best_purchase(reading: PlanReading, shown: Sequence[int], sure: BuyList) -> Iterator[str]:
    """The one purchase that frees most jobs of the sheet, of those that can still be in time."""
    frees: dict[str, list[str]] = {}
    for n in shown:
        item = reading.answers[n].freed_by
        if item is not None and reading.answers[n].status == "short":
            frees.setdefault(reading.part_number(item), []).append(reading.answers[n].name)
    rows = {row.part_number: row for row in sure.rows}
    in_time = [part for part in frees if part in rows and not rows[part].days_late]
    ranked = sorted(in_time, key=lambda part: (-len(frees[part]), part))
    for part in ranked[:1]:
        row = rows[part]
        source = f" from {row.supplier}" if row.supplier else ""
        by = f" by {words_for_day(row.order_by, reading.plan.shop.as_of)}" if row.order_by else ""
        bought = f"{row.packs} × {row.pack_size.text} {part}"
        yield f"Buying {bought}{source}{by} frees {in_words(sorted(frees[part]))}."

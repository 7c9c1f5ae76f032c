"""The sheets of one batch: what holds each pump, what could be done about it, its kits, and needs by kind of part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from bom.answers.flags import flags_of
from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.planning.lists.buy_lists import missing_by_part
from kits.planning.queries import kept_beside, reading_of, shared_beside
from kits.planning.questions.batch_advice import AdviceDraft, BatchAdvice
from kits.planning.questions.freeing import Frees, freeing_numbers, frees_rows
from kits.planning.questions.kit_uses import KitTotals, KitUseRow
from kits.planning.questions.shelf_answer import is_quick
from kits.planning.questions.trial import TrialJob, jobs_to_change
from kits.planning.sheets.answer import Answer, answer_for, what_to_do
from kits.planning.sheets.jobs.grid import Grid, awaited_parts, held_by, job_grid
from kits.planning.sheets.shortages import ShortageSheet, shortage_sheet
from kits.planning.words.item_names import ItemName, item_names


@dataclass(frozen=True, slots=True)
class KindTotal:
    """How many of one kind of part, all numbers of it together, the jobs are sure to need, and how many they lack.

    ``bench`` is what the bench adds of that kind by itself, which is not counted.
    """

    kind: str
    numbers: int
    needed: Amount
    short: Amount
    bench: Amount


@dataclass(frozen=True, slots=True)
class BatchSheet:
    """The first sheet of a batch: the answer, what holds each pump, and how much its other sheets hold.

    What frees most jobs stands here where it ``is_quick`` to work out, else on the sheet of advice.
    """

    batch: str
    as_of: date
    staging_days: int
    answer: Answer
    pumps: int
    first_build_on: date | None
    last_build_on: date | None
    grid: Grid
    short: ShortageSheet
    frees: tuple[Frees, ...]
    is_quick: bool
    trial_jobs: tuple[TrialJob, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchKits:
    """The kits that some jobs take, and what they need by kind; ``numbers`` are all parts that are named."""

    kits: tuple[KitUseRow, ...]
    by_kind: tuple[KindTotal, ...]
    numbers: frozenset[str]


def batch_sheet(plan: Plan, batch: str) -> BatchSheet:
    """The first sheet of a batch, worked out once for each plan."""
    return shared_beside(plan, f"batch {batch}", lambda: draw_batch(plan, batch))


def draw_batch(plan: Plan, batch: str) -> BatchSheet:
    """The first sheet of a batch; one statement for the names of everything on it."""
    reading = reading_of(plan)
    shown, short, kits = reading.jobs_of_batch(batch), shortage_sheet(plan, batch=batch), batch_kits(plan, batch)
    draft, held = advice_draft(plan, batch) if is_quick(plan) else None, held_by(reading, shown)
    releases = draft.releases if draft else []
    parts = {one.number for one in held if not one.is_order} | set(freeing_numbers(releases))
    names = item_names(parts | awaited_parts(reading, shown))
    jobs = [asker.job for asker in shown]
    here, named = {asker.name for asker in shown}, short.numbers | kits.numbers | set(names)
    return BatchSheet(
        batch=batch,
        as_of=plan.shop.as_of,
        staging_days=plan.shop.staging_days,
        answer=answer_for(reading, shown, short.sure, short.wear, releases),
        pumps=sum(job.quantity for job in jobs if job),
        first_build_on=min((job.build_on for job in jobs if job), default=None),
        last_build_on=max((job.build_on for job in jobs if job), default=None),
        grid=job_grid(reading, shown, held, names),
        short=short,
        frees=frees_rows(releases, frozenset(asker.name for asker in shown), names, plan.shop.as_of),
        is_quick=draft is not None,
        trial_jobs=tuple(jobs_to_change(plan, batch)),
        cautions=tuple(
            flag["says"]
            for flag in kept_beside(plan, "flags", lambda: flags_of(plan, in_full))
            if flag["job"] in here or (not flag["job"] and flag["part_number"] in named)
        ),
    )


def advice_draft(plan: Plan, batch: str) -> AdviceDraft:
    """The advice for a batch without its words, worked out once for each plan."""
    jobs = [asker.name for asker in reading_of(plan).jobs_of_batch(batch)]
    return kept_beside(plan, f"advice for {batch}", lambda: AdviceDraft(plan, jobs))


def batch_advice(plan: Plan, batch: str) -> BatchAdvice:
    """What could be done about a batch; one statement."""
    draft = advice_draft(plan, batch)
    return draft.named(item_names(draft.numbers()))


def advice_says(plan: Plan, batch: str) -> tuple[str, ...]:
    """What the advice comes to in sentences, where the first sheet of the batch does not say it."""
    if is_quick(plan):
        return ()
    reading, short = reading_of(plan), shortage_sheet(plan, batch=batch)
    return tuple(what_to_do(reading, reading.jobs_of_batch(batch), short.sure, advice_draft(plan, batch).releases))


def batch_kits(plan: Plan, batch: str) -> BatchKits:
    """The kits of a batch and its needs by kind, worked out once for each plan; one statement."""
    return kept_beside(plan, f"kits of {batch}", lambda: draw_kits(plan, batch))


def draw_kits(plan: Plan, batch: str) -> BatchKits:
    """The kits and kinds of a batch; one statement."""
    reading = reading_of(plan)
    shown = reading.jobs_of_batch(batch)
    kits, needed, bench = KitTotals(reading, shown), reading.needed_by(shown), reading.bench_of(shown)
    names = item_names({*kits.part_numbers, *needed, *bench})
    return BatchKits(kits.rows(names), by_kind(missing_by_part(reading, shown), needed, bench, names), frozenset(names))


def by_kind(
    missing: Mapping[str, int],
    needed: Mapping[str, int],
    bench: Mapping[str, int],
    names: Mapping[str, ItemName],
) -> tuple[KindTotal, ...]:
    """Totals by kind of part and unit, the largest first."""
    found: dict[tuple[str, str], list[int]] = {}
    for part, quantity in needed.items():
        name = names[part]
        total = found.setdefault((name.kind, name.unit), [0, 0, 0, 0])
        total[0] += 1
        total[1] += quantity
        total[2] += missing.get(part, 0)
    for part, quantity in bench.items():
        found.setdefault((names[part].kind, names[part].unit), [0, 0, 0, 0])[3] += quantity
    return tuple(
        KindTotal(kind, numbers, Amount.of(quantity, unit), Amount.of(short, unit), Amount.of(besides, unit))
        for (kind, unit), (numbers, quantity, short, besides) in sorted(
            found.items(), key=lambda pair: (-pair[1][1], pair[0])
        )
    )

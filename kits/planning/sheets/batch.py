"""The sheet of one batch: what holds each pump, what has to be bought, and how every figure comes about."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from bom.answers.rows import as_json, everything, late_wear_rows
from bom.plan import Plan
from bom.reading import Asker, Reading
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import BuyList, ForWhom, WearList, sure_list, top_up_list, wear_list, wear_parts
from kits.planning.lists.order_calls import OrderCall, chase_calls, expedite_calls, late_wear_calls
from kits.planning.queries import reading_of
from kits.planning.questions.batch_advice import AdviceDraft, BatchAdvice
from kits.planning.questions.kit_uses import KitTotals, KitUseRow
from kits.planning.questions.trial import TrialJob, jobs_to_change
from kits.planning.sheets.jobs.grid import Grid, awaited_parts, held_by, job_grid, short_parts
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.plan_words import Answer, answer_for
from kits.planning.words.workings import balances

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class ToPack:
    """A kit or made assembly to be put together here."""

    part_number: str
    what: str
    leads_to: str
    quantity: Amount
    need_on: date
    jobs: tuple[ForWhom, ...]


@dataclass(frozen=True, slots=True)
class DyingLot:
    """A lot that runs out of life before the last build."""

    part_number: str
    what: str
    leads_to: str
    lot: str
    last_use: date
    quantity: Amount
    unused: Amount


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
    """Everything that stands on the sheet of one batch."""

    batch: str
    as_of: date
    staging_days: int
    answer: Answer
    pumps: int
    first_build_on: date | None
    last_build_on: date | None
    grid: Grid
    sure: BuyList
    top_up: BuyList
    wear: WearList
    chase: tuple[OrderCall, ...]
    expedite: tuple[OrderCall, ...]
    late_wear: tuple[OrderCall, ...]
    pack: tuple[ToPack, ...]
    advice: BatchAdvice
    trial_jobs: tuple[TrialJob, ...]
    kits: tuple[KitUseRow, ...]
    dying: tuple[DyingLot, ...]
    by_kind: tuple[KindTotal, ...]
    cautions: tuple[str, ...]
    other_balances: tuple[tuple[str, str], ...]


def batch_sheet(plan: Plan, batch: str) -> BatchSheet:
    """The sheet of a batch; one statement for the names of everything on it."""
    reading = reading_of(plan)
    shown = reading.jobs_of_batch(batch)
    rows = as_json(plan, batch=batch)
    short, worn = short_parts(reading, shown), wear_parts(reading, shown)
    kits, needed, bench = KitTotals(reading, shown), reading.needed_by(shown), reading.bench_of(shown)
    draft = AdviceDraft(plan, [asker.name for asker in shown])
    named_here = {*short, *worn, *kits.part_numbers, *needed, *bench, *awaited_parts(reading, shown)}
    names = item_names([*named_here, *numbers_in(rows, reading), *draft.numbers()])
    told = balances(reading, short, names)
    sure = sure_list(reading, shown, names, told)
    wear = wear_list(reading, worn, names)
    expedite = expedite_calls(reading, rows["expedite"], names, late_only(told, sure))
    placed = {row.part_number for row in sure.rows} | {call.part_number for call in expedite}
    jobs = [asker.job for asker in shown]
    return BatchSheet(
        batch=batch,
        as_of=plan.shop.as_of,
        staging_days=plan.shop.staging_days,
        answer=answer_for(reading, shown, sure, wear, draft.releases),
        pumps=sum(job.quantity for job in jobs if job),
        first_build_on=min((job.build_on for job in jobs if job), default=None),
        last_build_on=max((job.build_on for job in jobs if job), default=None),
        grid=job_grid(reading, shown, held_by(reading, shown), names),
        sure=sure,
        top_up=top_up_list(reading, names, {*worn, *needed}),
        wear=wear,
        chase=chase_calls(reading, names),
        expedite=expedite,
        late_wear=late_wear_calls(reading, names, set(worn)),
        pack=tuple(to_pack(row, names, reading) for row in rows["pack"]),
        advice=draft.named(names),
        trial_jobs=tuple(jobs_to_change(plan, batch)),
        kits=kits.rows(names),
        dying=tuple(dying_lot(row, names) for row in rows["expiring"]),
        by_kind=by_kind(reading, shown, needed, bench, names),
        cautions=tuple(flag["says"] for flag in rows["flags"] if flag["job"] or flag["part_number"] in names),
        other_balances=tuple((number, says) for number, says in told.items() if number not in placed),
    )


def late_only(told: Mapping[str, str], sure: BuyList) -> dict[str, str]:
    """The lines that balance, of what stands in no line to buy."""
    bought = {row.part_number for row in sure.rows}
    return {number: says for number, says in told.items() if number not in bought}


def numbers_in(rows: Row, reading: Reading) -> Iterable[str]:
    """Every part number that the lists of a sheet name."""
    for name in ("buy", "expedite", "chase", "frees", "expiring"):
        yield from (row["part_number"] for row in rows[name])
    yield from (row["kit"] for row in rows["pack"])
    yield from (row["part_number"] for row in late_wear_rows(reading.plan, everything(reading.plan)))
    yield from (row.part_number for row in reading.purchases)


def by_kind(
    reading: Reading,
    shown: Sequence[Asker],
    needed: Mapping[str, int],
    bench: Mapping[str, int],
    names: Mapping[str, ItemName],
) -> tuple[KindTotal, ...]:
    """Totals by kind of part and unit, the largest first."""
    found: dict[tuple[str, str], list[int]] = {}
    for part, quantity in needed.items():
        name = names[part]
        short = sum(lacks[part].missing for asker in shown if part in (lacks := reading.shortfalls.get(asker, {})))
        total = found.setdefault((name.kind, name.unit), [0, 0, 0, 0])
        total[0] += 1
        total[1] += quantity
        total[2] += short
    for part, quantity in bench.items():
        found.setdefault((names[part].kind, names[part].unit), [0, 0, 0, 0])[3] += quantity
    return tuple(
        KindTotal(kind, numbers, Amount.of(quantity, unit), Amount.of(short, unit), Amount.of(besides, unit))
        for (kind, unit), (numbers, quantity, short, besides) in sorted(
            found.items(), key=lambda pair: (-pair[1][1], pair[0])
        )
    )


def to_pack(row: Row, names: Mapping[str, ItemName], reading: Reading) -> ToPack:
    """One kit to pack."""
    name = names[row["kit"]]
    return ToPack(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        quantity=name.stock_amount(row["quantity"]),
        need_on=date.fromisoformat(row["need_on"]),
        jobs=tuple(ForWhom(name, is_job=name in reading.jobs) for name in row["jobs"]),
    )


def dying_lot(row: Row, names: Mapping[str, ItemName]) -> DyingLot:
    """One lot that dies before the last build."""
    name = names[row["part_number"]]
    return DyingLot(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        lot=row["lot"],
        last_use=date.fromisoformat(row["last_use"]),
        quantity=name.stock_amount(row["quantity"]),
        unused=name.stock_amount(row["unused"]),
    )

"""What every job asks for: recipes exploded once, strip reports and issues taken in, kits set against assemblies."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from bom.demand.explosion import (
    Conditions,
    Explosion,
    Table,
    conditions_of,
    explode,
    group_recipes,
    multiplied,
    recipe_of,
    sum_up,
)
from bom.demand.findings import NamedFindings, findings_by_job, opened_of, read_findings, refuse_unclean, rules_by_name
from bom.demand.kit_cover import Given, Requirements, cover_with_kits
from bom.demand.positions import Position, positions_of
from bom.demand.strip_report import LearnedRates, Report, read_report
from bom.structure.arrays import Ints, Structure, day_number
from bom.structure.keys import fold
from bom.supply.matching import Taker
from bom.values import ASKING_STAGES, Finding, Job, OtherNeed, Shop, Verdict
from bom.wear.chances import WearTable, gather_wear


@dataclass(frozen=True, slots=True)
class Asker:
    """A job or another need that asks for parts; askers are numbered in the order priority, build
    day, name.

    ``recipe`` is -1 for another need. ``condition`` is the row of the conditions that kits packed for it must meet.
    """

    name: str
    priority: int
    build_day: int
    customer: str
    recipe: int
    condition: int
    job: Job | None
    need: OtherNeed | None

    @property
    def taker(self) -> Taker:
        """Who takes what this asker asks for."""
        return Taker(self.customer)


@dataclass(frozen=True)
class Demand:
    """Everything the jobs ask for, before supply is looked at.

    ``wear`` lists, by item, what may be found worn in each job. ``reports`` stand for jobs with
    verdicts or named findings, ``named`` for jobs with named findings, by job name.
    """

    structure: Structure
    askers: tuple[Asker, ...]
    conditions: Conditions
    explosion: Explosion
    requirements: Requirements
    wear: WearTable
    rates: LearnedRates
    reports: dict[str, Report]
    named: dict[str, NamedFindings] = field(default_factory=dict)


def gather_demand(structure: Structure, shop: Shop) -> Demand:
    """Explode all jobs of the run.

    Raises
    ------
    ShopError
        When an option that decides what is fitted is not answered, for any job; when a named finding adds to clean
        work what is not of its class.
    """
    asking = [job for job in shop.jobs if job.stage in ASKING_STAGES]
    verdicts = _by_job(shop.verdicts)
    issued = _issued(structure, shop, {job.job for job in asking})
    findings = findings_by_job(shop.findings, asking)
    single = frozenset(verdicts) | frozenset(issued) | frozenset(findings)
    recipes, of_job = group_recipes(structure, asking, single)
    names: list[list[str]] = [[] for _ in recipes]
    for job, recipe in zip(asking, of_job.tolist(), strict=True):
        names[recipe].append(job.job)
    conditions = conditions_of(structure, recipes)
    explosion = explode(structure, conditions, recipes, names)
    recipe_numbers = {job.job: number for job, number in zip(asking, of_job.tolist(), strict=True)}
    named = _named(structure, findings, explosion, conditions, recipe_numbers)
    reports, rates = _strip_reports(structure, shop.jobs, verdicts, explosion, conditions, recipe_numbers, named)
    reported = {recipe_numbers[job]: report for job, report in reports.items()}
    added = {recipe_numbers[job]: found for job, found in named.items()}
    needs, looks = _after_reports(structure, explosion, reported, added)
    given = {int(of_job[n]): Given(issued[job.job]) for n, job in enumerate(asking) if job.job in issued}
    requirements = cover_with_kits(structure, conditions, explosion, needs, looks, given)
    askers = _askers(asking, of_job, shop.needs, conditions)
    recipe_of_asker = np.array([asker.recipe for asker in askers], np.int64)
    build_day = np.array([asker.build_day for asker in askers], np.int64)
    wear = gather_wear(structure, explosion, rates, reported, (recipe_of_asker, build_day), requirements.spares)
    return Demand(structure, askers, conditions, explosion, requirements, wear, rates, reports, named)


def _by_job(verdicts: Sequence[Verdict]) -> dict[str, list[Verdict]]:
    gathered: dict[str, list[Verdict]] = defaultdict(list)
    for verdict in verdicts:
        gathered[verdict.job].append(verdict)
    return dict(gathered)


def _issued(structure: Structure, shop: Shop, asking: set[str]) -> dict[str, dict[int, int]]:
    """Issues less returns of each asking job, item by item, never below zero."""
    total: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for issue in shop.issues:
        if issue.job in asking and issue.state in ("issued", "returned"):
            sign = 1 if issue.state == "issued" else -1
            total[issue.job][structure.index[issue.part_number]] += sign * issue.quantity
    net = {job: {item: q for item, q in pieces.items() if q > 0} for job, pieces in total.items()}
    return {job: pieces for job, pieces in net.items() if pieces}


def _named(
    structure: Structure,
    findings: Mapping[str, Sequence[Finding]],
    explosion: Explosion,
    conditions: Conditions,
    recipe_numbers: Mapping[str, int],
) -> dict[str, NamedFindings]:
    """Read the named findings of every asking job that has some."""
    found: dict[str, NamedFindings] = {}
    rules = rules_by_name(structure) if findings else {}
    for job, rows in findings.items():
        number = recipe_numbers[job]
        recipe = explosion.recipes[number]
        ways = tuple(opened_of(structure, conditions, number, recipe, covered_by_kits(explosion, number)))
        found[job] = read_findings(structure, rules, rows, ways)
        refuse_unclean(structure, conditions, number, recipe, job, found[job])
    return found


def _strip_reports(
    structure: Structure,
    jobs: Sequence[Job],
    verdicts: Mapping[str, Sequence[Verdict]],
    explosion: Explosion,
    conditions: Conditions,
    recipe_numbers: Mapping[str, int],
    named: Mapping[str, NamedFindings],
) -> tuple[dict[str, Report], LearnedRates]:
    """Read the verdicts of every job that has some, also of jobs long shipped: those teach the rates."""
    rates, reports = LearnedRates(), {}
    told = verdicts.keys() | named.keys()
    reported = [job for job in jobs if job.job in told and (job.pump, job.scope) in structure.scopes]
    past = [recipe_of(structure, job) for job in reported if job.stage not in ASKING_STAGES]
    past_conditions = conditions_of(structure, past)
    row = 0
    for job in reported:
        renewed: dict[int, str] = {}
        if job.job in recipe_numbers:
            number = recipe_numbers[job.job]
            covered = covered_by_kits(explosion, number)
            positions = positions_of(structure, conditions, number, explosion.recipes[number], covered)
            renewed = named[job.job].renewed(structure, positions) if job.job in named else {}
        else:
            positions = positions_of(structure, past_conditions, row, past[row], frozenset())
            row += 1
        report = read_report(structure, positions, verdicts.get(job.job, ()), job.quantity, renewed)
        rates.add(job.job, report)
        if job.job in recipe_numbers:
            reports[job.job] = report
    return reports, rates


def _after_reports(
    structure: Structure, explosion: Explosion, reported: Mapping[int, Report], named: Mapping[int, NamedFindings]
) -> tuple[Table, Table]:
    """Sure needs with what strip reports and findings add, and the positions still open, both summed and sorted."""
    keep = ~np.isin(explosion.looks[0], list(reported))
    recipe, _, root, line, count = (column[keep] for column in explosion.looks)
    opened = multiplied(count, structure.quantity[line])
    need_columns = list(explosion.needs)
    look_columns = [recipe, root, structure.child[line], opened]
    for number, report in reported.items():
        need_columns = _with_positions(structure, need_columns, number, report.sure)
        look_columns = _with_positions(structure, look_columns, number, report.open)
    for number, found in named.items():
        need_columns = _with_rows(need_columns, [(number, *piece) for piece in found.pieces()])
    return sum_up(tuple(need_columns[:3]), need_columns[3]), sum_up(tuple(look_columns[:3]), look_columns[3])


def _with_positions(
    structure: Structure, columns: list[Ints], number: int, positions: Sequence[Position]
) -> list[Ints]:
    return _with_rows(columns, [(number, p.root, int(structure.child[p.line]), p.quantity) for p in positions])


def _with_rows(columns: list[Ints], rows: Sequence[tuple[int, ...]]) -> list[Ints]:
    added = np.array(rows, np.int64).reshape(-1, 4).T
    return [np.concatenate((old, new)) for old, new in zip(columns, added, strict=True)]


def _askers(
    asking: Sequence[Job], of_job: Ints, needs: Sequence[OtherNeed], conditions: Conditions
) -> tuple[Asker, ...]:
    rows = [
        Asker(
            job.job,
            job.priority,
            day_number(job.build_on),
            fold(job.customer),
            int(recipe),
            int(recipe),
            job,
            None,
        )
        for job, recipe in zip(asking, of_job, strict=True)
    ]
    for need in needs:
        day = day_number(need.need_on)
        name = fold(need.for_whom)
        rows.append(Asker(need.need, need.priority, day, name, -1, conditions.on_day(day), None, need))
    return tuple(sorted(rows, key=lambda row: (row.priority, row.build_day, row.name, row.need is not None)))


def covered_by_kits(explosion: Explosion, recipe: int) -> frozenset[int]:
    """The assemblies that a kit covers in one recipe."""
    return frozenset(explosion.covered[1][explosion.covered[0] == recipe].tolist())

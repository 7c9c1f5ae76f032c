"""What every job asks for: recipes exploded once, strip reports and issues taken in, kits set against assemblies."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from bom.demand.askers import Asker, askers_of
from bom.demand.chances import WearTable, gather_wear
from bom.demand.explosion import Explosion, PartsWanted, explode
from bom.demand.findings import NamedFindings, findings_by_job, opened_of, read_findings, refuse_unclean, rules_by_name
from bom.demand.kit_cover import Requirements, cover_with_kits
from bom.demand.positions import Position, crowded_jobs, positions_of
from bom.demand.recipes import Conditions, conditions_of, group_recipes, recipe_of
from bom.demand.strip_report import LearnedRates, Report, read_report
from bom.errors import ShopError
from bom.structure.arrays import Structure
from bom.structure.tables import multiplied
from bom.values import ASKING_STAGES, Finding, Job, Shop, Verdict


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

    @cached_property
    def renewed(self) -> PartsWanted:
        """What the recipes renew, before reports, issues and kits; worked out again only for who asks."""
        _, renewed = explode(self.structure, self.conditions, self.explosion.recipes, self.explosion.jobs)
        return renewed


def gather_demand(structure: Structure, shop: Shop) -> Demand:
    """Explode all jobs of the run.

    Parameters
    ----------
    structure : the compiled catalog
    shop : everything that is known

    Raises
    ------
    ShopError
        When an option that decides what is fitted is not answered, for any job; when a named finding adds to clean
        work what is not of its class; when a job has more places than can be named.
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
    explosion, renewed = explode(structure, conditions, recipes, names)
    if crowded := tuple(crowded_jobs(structure, shop.jobs)):
        raise ShopError(crowded)
    recipe_numbers = {job.job: number for job, number in zip(asking, of_job.tolist(), strict=True)}
    named = _named(structure, findings, explosion, conditions, recipe_numbers)
    reports, rates = _strip_reports(structure, shop.jobs, verdicts, explosion, conditions, recipe_numbers, named)
    reported = {recipe_numbers[job]: report for job, report in reports.items()}
    added = {recipe_numbers[job]: found for job, found in named.items()}
    needs, positions = _after_reports(structure, explosion, renewed, reported, added)
    given = {int(of_job[n]): issued[job.job] for n, job in enumerate(asking) if job.job in issued}
    requirements = cover_with_kits(structure, conditions, explosion, needs, positions, given)
    askers = askers_of(asking, of_job, shop.needs, conditions)
    wear = gather_wear(structure, explosion, rates, reported, askers, requirements.spares)
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
        ways = tuple(opened_of(structure, conditions, number, recipe, explosion.covered_in(number)))
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
    reports: dict[str, Report] = {}
    told = verdicts.keys() | named.keys()
    reported = [job for job in jobs if job.job in told and (job.pump, job.scope) in structure.scopes]
    past = [recipe_of(structure, job) for job in reported if job.stage not in ASKING_STAGES]
    past_conditions = conditions_of(structure, past)
    row = 0
    for job in reported:
        renewed: dict[int, str] = {}
        if job.job in recipe_numbers:
            number = recipe_numbers[job.job]
            covered = explosion.covered_in(number)
            positions = positions_of(structure, conditions, number, explosion.recipes[number], covered)
            renewed = named[job.job].renewed(structure, positions) if job.job in named else {}
        else:
            positions = positions_of(structure, past_conditions, row, past[row], frozenset())
            row += 1
        reports[job.job] = read_report(structure, positions, verdicts.get(job.job, ()), job.quantity, renewed)
    asking = {job: report for job, report in reports.items() if job in recipe_numbers}
    first = {job.job for job in reported if job.strip == 1}
    return asking, LearnedRates.of({job: report for job, report in reports.items() if job in first})


def _after_reports(
    structure: Structure,
    explosion: Explosion,
    renewed: PartsWanted,
    reported: Mapping[int, Report],
    named: Mapping[int, NamedFindings],
) -> tuple[PartsWanted, PartsWanted]:
    """Sure needs with what strip reports and findings add, and the positions still open."""
    looks = explosion.looks.take(~np.isin(explosion.looks.recipe, list(reported)))
    opened = multiplied(looks.count, structure.quantity[looks.line])
    needs = [renewed]
    positions = [PartsWanted(looks.recipe, looks.root, structure.child[looks.line], opened)]
    for number, report in reported.items():
        needs.append(_of_positions(structure, number, report.sure))
        positions.append(_of_positions(structure, number, report.open))
    for number, found in named.items():
        needs.append(PartsWanted.of_rows([(number, *piece) for piece in found.pieces()]))
    sure = PartsWanted.together(needs).summed() if reported or named else renewed
    return sure, PartsWanted.together(positions).summed()


def _of_positions(structure: Structure, number: int, positions: Sequence[Position]) -> PartsWanted:
    return PartsWanted.of_rows([(number, p.root, int(structure.child[p.line]), p.quantity) for p in positions])

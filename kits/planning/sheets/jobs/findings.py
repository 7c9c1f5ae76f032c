"""The named findings of one job: what each of them means, and what could be named."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.values import Finding, FindingRule
from kits.catalog.folding import fold
from kits.planning.words.item_names import ItemName


@dataclass(frozen=True, slots=True)
class FindingOnJob:
    """One finding; ``section`` is empty for all sections, ``means`` says what it does to the job."""

    finding: str
    section: str
    found_on: date | None
    note: str
    means: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JobFindings:
    """The findings of a job, and the names and sections from which one more is chosen."""

    rows: tuple[FindingOnJob, ...] = ()
    names: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()


def rule_parts(plan: Plan) -> set[str]:
    """The parts that rules of findings name."""
    return {rule.part_number for rule in plan.shop.catalog.finding_rules if rule.part_number}


def job_findings(
    plan: Plan, job: str, opened: Collection[str], sections: tuple[str, ...], names: Mapping[str, ItemName]
) -> JobFindings:
    """The findings of one job; ``opened`` are the assemblies that it opens."""
    rules = [rule for rule in plan.shop.catalog.finding_rules if rule.assembly in opened]
    found = [finding for finding in plan.shop.findings if finding.job == job]
    return JobFindings(
        rows=tuple(_row(finding, rules, names) for finding in found),
        names=tuple(sorted({rule.finding for rule in rules})),
        sections=sections,
    )


def past_findings(plan: Plan, job: str) -> JobFindings:
    """The findings of a job that asks for nothing any more."""
    found = (finding for finding in plan.shop.findings if finding.job == job)
    return JobFindings(tuple(FindingOnJob(one.finding, one.section, one.found_on, one.note, ()) for one in found))


def _row(finding: Finding, rules: list[FindingRule], names: Mapping[str, ItemName]) -> FindingOnJob:
    mine = [rule for rule in rules if fold(rule.finding) == fold(finding.finding)]
    means = tuple(_means(mine, names)) or ("nothing that this job opens",)
    return FindingOnJob(finding.finding, finding.section, finding.found_on, finding.note, means)


def _means(rules: list[FindingRule], names: Mapping[str, ItemName]) -> Iterator[str]:
    for rule in rules:
        if rule.effect == "add":
            quantity = names[rule.part_number].amount(rule.quantity).text
            yield f"adds {quantity} of {rule.part_number} to each {rule.assembly}"
        else:
            yield f"renews {rule.part_number or 'everything inspected'} in {rule.assembly}"

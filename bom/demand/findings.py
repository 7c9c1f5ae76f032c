"""Named findings: what "metal in the oil" on a job adds to its assemblies, and which inspected positions it renews.

A finding is a state, not a count: named for a section and once more for all of them, it acts once on each instance.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bom.demand.explosion import NO_KIT
from bom.demand.positions import Position
from bom.demand.recipes import Conditions, Recipe
from bom.errors import Fault, ShopError
from bom.structure.arrays import CLEANLINESS, OPEN, Structure
from bom.structure.keys import fold
from bom.structure.tables import multiplied
from bom.values import ONE, Finding, FindingRule, Job

ADD, RENEW = "add", "renew"


@dataclass(frozen=True, slots=True)
class Meaning:
    """One rule that the findings of a job call for. ``part`` is None for all parts, ``sections`` for all sections."""

    rule: FindingRule
    assembly: int
    part: int | None
    sections: frozenset[int] | None

    def concerns(self, inside: tuple[int, ...]) -> bool:
        """Whether it speaks of what lies inside these opened assemblies, the section first.

        Parameters
        ----------
        inside : numbers of the opened assemblies, the section first
        """
        return self.assembly in inside and (self.sections is None or inside[0] in self.sections)

    def adds_to(self, inside: tuple[int, ...]) -> bool:
        """Whether it adds to the last of these opened assemblies.

        Parameters
        ----------
        inside : numbers of the opened assemblies, the section first
        """
        return self.rule.effect == ADD and inside[-1] == self.assembly and self.concerns(inside)

    def renews(self, inside: tuple[int, ...], part: int) -> bool:
        """Whether it renews an inspected part that lies inside these opened assemblies.

        Parameters
        ----------
        inside : numbers of the opened assemblies, the section first
        part : its item number
        """
        return self.rule.effect == RENEW and self.part in (None, part) and self.concerns(inside)


@dataclass(frozen=True, slots=True)
class Opened:
    """One way to an opened assembly: the assemblies on it, the section first, and how many of each in the one before.

    ``root`` is the assembly that a kit covers, or -1. ``count`` are the instances in all pumps of the job.
    """

    inside: tuple[int, ...]
    held: tuple[int, ...]
    root: int
    count: int


@dataclass(frozen=True, slots=True)
class NamedFindings:
    """What the findings of one job come to. ``idle`` are those of which no rule speaks of anything the job opens."""

    meanings: tuple[Meaning, ...]
    added: tuple[tuple[Opened, Meaning], ...]
    idle: tuple[Finding, ...]

    def renewed(self, structure: Structure, positions: Sequence[Position]) -> dict[int, str]:
        """The positions (numbers) that are renewed, each with the first finding, by name, that says so.

        Parameters
        ----------
        structure : the compiled catalog
        positions : every inspected position of the job
        """
        found: dict[int, str] = {}
        for number, position in enumerate(positions):
            name = self.reason(position.inside, int(structure.child[position.line]))
            if name is not None:
                found[number] = name
        return found

    def reason(self, inside: tuple[int, ...], part: int) -> str | None:
        """The first finding, by name, that renews an inspected part inside these opened assemblies.

        Parameters
        ----------
        inside : numbers of the opened assemblies, the section first
        part : its item number
        """
        return next((m.rule.finding for m in self.meanings if m.renews(inside, part)), None)

    def pieces(self) -> Iterator[tuple[int, int, int]]:
        """What is added: assembly that a kit covers or -1, item, millionths."""
        for opened, meaning in self.added:
            if meaning.part is not None:
                yield opened.root, meaning.part, added_to(opened, meaning)


def added_to(opened: Opened, meaning: Meaning) -> int:
    """How much a rule adds to all instances of one opened assembly, in millionths.

    Parameters
    ----------
    opened : the way to the assembly
    meaning : a rule that adds
    """
    return int(multiplied(np.array([opened.count]), np.array([meaning.rule.quantity]))[0])


def rules_by_name(structure: Structure) -> dict[str, list[FindingRule]]:
    """The rules of each finding by its folded name, in one order whatever the order of the sheet.

    Parameters
    ----------
    structure : the compiled catalog

    Raises
    ------
    ShopError
        When a rule names a part that is not among the items.
    """
    faults = tuple(_unknown_parts(structure))
    if faults:
        raise ShopError(faults)
    rules: dict[str, list[FindingRule]] = defaultdict(list)
    for rule in sorted(structure.catalog.finding_rules, key=lambda rule: tuple(map(fold, _rule_key(rule)))):
        rules[fold(rule.finding)].append(rule)
    return dict(rules)


def findings_by_job(findings: Iterable[Finding], jobs: Iterable[Job]) -> dict[str, tuple[Finding, ...]]:
    """The findings of each of these jobs that has some, in one order whatever the order of the sheet.

    Parameters
    ----------
    findings : in any order
    jobs : those that are looked at
    """
    numbers = {job.job for job in jobs}
    found: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        if finding.job in numbers:
            found[finding.job].append(finding)
    return {job: tuple(sorted(rows, key=lambda row: (fold(row.finding), row.section))) for job, rows in found.items()}


def read_findings(
    structure: Structure,
    rules: Mapping[str, Sequence[FindingRule]],
    findings: Sequence[Finding],
    ways: Sequence[Opened],
) -> NamedFindings:
    """Set the findings of one job against what it opens.

    Parameters
    ----------
    structure : the compiled catalog
    rules : by folded name of the finding
    findings : those of the job
    ways : every way to an assembly that the job opens
    """
    meanings = tuple(_meanings(structure, rules, findings))
    added = tuple((way, meaning) for way in ways for meaning in meanings if meaning.adds_to(way.inside))
    idle = tuple(finding for finding in findings if _is_idle(structure, rules, finding, ways))
    return NamedFindings(meanings, added, idle)


def _meanings(
    structure: Structure, rules: Mapping[str, Sequence[FindingRule]], findings: Sequence[Finding]
) -> Iterator[Meaning]:
    sections: dict[str, set[str]] = defaultdict(set)
    for finding in findings:
        sections[fold(finding.finding)].add(finding.section)
    for name, told in sections.items():
        places = None if "" in told else frozenset(structure.index.get(section, NO_KIT) for section in told)
        for rule in rules.get(name, ()):
            part = structure.index[rule.part_number] if rule.part_number else None
            if part is None or not structure.bench[part]:
                yield Meaning(rule, structure.index[rule.assembly], part, places)


def _is_idle(
    structure: Structure, rules: Mapping[str, Sequence[FindingRule]], finding: Finding, ways: Sequence[Opened]
) -> bool:
    assemblies = {structure.index[rule.assembly] for rule in rules.get(fold(finding.finding), ())}
    section = structure.index.get(finding.section, NO_KIT)
    return not any(way.inside[-1] in assemblies and (not finding.section or way.inside[0] == section) for way in ways)


def opened_of(
    structure: Structure, conditions: Conditions, number: int, recipe: Recipe, covered: frozenset[int]
) -> Iterator[Opened]:
    """Every way to an assembly that a job opens which is rebuilt by ``recipe`` (row ``number`` of ``conditions``).

    ``covered`` are the assemblies that a kit covers in this recipe.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that each recipe meets
    number : row of the conditions
    recipe : the way in which the job is rebuilt
    covered : the assemblies that a kit covers in this recipe
    """
    stack = []
    for row in structure.scopes.get((recipe.pump, recipe.scope), ()):
        section = structure.index[row.section]
        stack.append(Opened((section,), (row.how_many,), NO_KIT, row.how_many * recipe.quantity))
    while stack:
        way = stack.pop()
        item = way.inside[-1]
        root = item if way.root == NO_KIT and item in covered else way.root
        yield Opened(way.inside, way.held, root, way.count)
        for line in structure.lines_of(item):
            if structure.action[line] == OPEN and conditions.meets(line, number):
                held = int(structure.quantity[line]) // ONE
                inside = (*way.inside, int(structure.child[line]))
                stack.append(Opened(inside, (*way.held, held), root, way.count * held))


def refuse_unclean(
    structure: Structure, conditions: Conditions, number: int, recipe: Recipe, job: str, named: NamedFindings
) -> None:
    """Clean work refuses an added part that touches the liquid and is not of its class.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that each recipe meets
    number : row of the conditions
    recipe : the way in which the job is rebuilt
    job : its number
    named : what its findings come to

    Raises
    ------
    ShopError
        With the parts concerned.
    """
    wanted = recipe.cleanliness
    faults = []
    for _, meaning in named.added:
        part = meaning.part
        if not wanted or part is None or structure.item_class[part] == wanted:
            continue
        if _touches_liquid(structure, conditions, number, meaning.assembly, part):
            rule, has = meaning.rule, CLEANLINESS[structure.item_class[part]]
            says = (
                f"Job {job} is {CLEANLINESS[wanted]}, but the finding '{rule.finding}' adds {rule.part_number} to "
                f"{rule.assembly}, where it touches the liquid, and it is {has}; take the finding off the job, or "
                f"correct the class of {rule.part_number}."
            )
            faults.append(Fault("Schedule", (job,), "cleanliness", says))
    if faults:
        raise ShopError(tuple(dict.fromkeys(faults)))


def _touches_liquid(structure: Structure, conditions: Conditions, number: int, assembly: int, part: int) -> bool:
    """Where the assembly lists the part, its lines say so; where it does not, any wetted line of the assembly does."""
    lines = [line for line in structure.lines_of(assembly) if conditions.meets(line, number)]
    own = [line for line in lines if structure.child[line] == part]
    return any(structure.wetted[line] for line in own or lines)


def rule_faults(structure: Structure) -> Iterator[Fault]:
    """What is wrong with the rules, before any job is looked at.

    Parameters
    ----------
    structure : the compiled catalog
    """
    yield from _unknown_parts(structure)
    for rule in structure.catalog.finding_rules:
        if rule.assembly not in structure.index or (rule.part_number and rule.part_number not in structure.index):
            continue
        if not structure.lines_of(structure.index[rule.assembly]):
            says = f"{rule.assembly} has no lines of its own, so no job opens it; name an assembly that is opened."
            yield Fault("FindingRules", _rule_key(rule), "assembly", says)
        elif rule.effect == ADD:
            yield from _adding_faults(structure, rule)
        elif rule.effect == RENEW:
            yield from _renewing_faults(structure, rule)
        else:
            says = f"'{rule.effect}' is not known; write add or renew."
            yield Fault("FindingRules", _rule_key(rule), "effect", says)


def _adding_faults(structure: Structure, rule: FindingRule) -> Iterator[Fault]:
    key, what = _rule_key(rule), f"The finding '{rule.finding}' adds"
    if not rule.part_number:
        says = f"{what} something to {rule.assembly}, but not what; name the part."
        yield Fault("FindingRules", key, "part_number", says)
        return
    part = structure.index[rule.part_number]
    if structure.is_kit[part]:
        says = f"{what} the kit {rule.part_number}; name single parts, for kits are chosen by what they fit."
        yield Fault("FindingRules", key, "part_number", says)
    if structure.bench[part]:
        says = f"{what} {rule.part_number}, which is kept at the bench and never counted; name a counted part."
        yield Fault("FindingRules", key, "part_number", says)
    if rule.quantity <= 0:
        says = f"{what} {rule.part_number} with a quantity that is not above zero; give the number for one assembly."
        yield Fault("FindingRules", key, "quantity", says)
    elif rule.quantity % ONE and structure.countable[part]:
        says = f"{rule.part_number} is counted in pieces, so {rule.quantity / ONE:g} cannot be; give a whole number."
        yield Fault("FindingRules", key, "quantity", says)


def _renewing_faults(structure: Structure, rule: FindingRule) -> Iterator[Fault]:
    key = _rule_key(rule)
    if rule.quantity:
        says = (
            f"The finding '{rule.finding}' renews what is inspected in {rule.assembly}, as many as its lines say; "
            "leave the quantity blank, or write add."
        )
        yield Fault("FindingRules", key, "quantity", says)
    looked_at = _inspected_below(structure, structure.index[rule.assembly])
    if rule.part_number and structure.index[rule.part_number] not in looked_at:
        says = (
            f"{rule.part_number} is not inspected anywhere in {rule.assembly}, so the finding '{rule.finding}' would "
            "renew nothing; correct part or assembly, or write add."
        )
        yield Fault("FindingRules", key, "part_number", says)
    elif not looked_at:
        says = (
            f"Nothing is inspected in {rule.assembly}, so the finding '{rule.finding}' would renew nothing; correct "
            "the assembly."
        )
        yield Fault("FindingRules", key, "assembly", says)


def _inspected_below(structure: Structure, assembly: int) -> set[int]:
    """The parts inspected in an assembly and in what is opened inside it, whatever the limits of the lines."""
    found: set[int] = set()
    stack, seen = [assembly], {assembly}
    while stack:
        for line in structure.lines_of(stack.pop()):
            child, held = int(structure.child[line]), structure.lines[line]
            if held.at_rebuild == "inspect" and not structure.bench[child]:
                found.add(child)
            elif held.at_rebuild == "open" and child not in seen:
                seen.add(child)
                stack.append(child)
    return found


def _unknown_parts(structure: Structure) -> Iterator[Fault]:
    for rule in structure.catalog.finding_rules:
        for column, part in (("assembly", rule.assembly), ("part_number", rule.part_number)):
            if part not in structure.index and (part or column == "assembly"):
                says = f"Part {part} is not among the items; add it to Items first."
                yield Fault("FindingRules", _rule_key(rule), column, says)


def _rule_key(rule: FindingRule) -> tuple[str, ...]:
    """The natural key of a rule, as the FindingRules sheet has it."""
    return rule.finding, rule.assembly, rule.effect, rule.part_number


def unknown_jobs(findings: Iterable[Finding], jobs: Iterable[Job]) -> Iterator[Fault]:
    """Findings on jobs that nobody has scheduled.

    Parameters
    ----------
    findings : in any order
    jobs : the scheduled jobs
    """
    numbers = {job.job for job in jobs}
    for row in findings:
        if row.job not in numbers:
            says = f"There is no job {row.job} for the finding '{row.finding}'; correct the job, or schedule it first."
            yield Fault("Findings", (row.job, row.finding, row.section), "job", says)


def idle_faults(structure: Structure, jobs: Iterable[Job], named: Mapping[str, NamedFindings]) -> Iterator[Fault]:
    """Findings that come to nothing on their job, each with the reason.

    Parameters
    ----------
    structure : the compiled catalog
    jobs : the scheduled jobs
    named : what findings come to, by job
    """
    rules = rules_by_name(structure)
    by_number = {job.job: job for job in jobs}
    for number, found in named.items():
        for row in found.idle:
            column, says = _why_idle(structure, rules, by_number[number], row)
            yield Fault("Findings", (row.job, row.finding, row.section), column, says)


def _why_idle(
    structure: Structure, rules: Mapping[str, Sequence[FindingRule]], job: Job, row: Finding
) -> tuple[str, str]:
    if fold(row.finding) not in rules:
        known = ", ".join(sorted({rule.finding for rule in structure.catalog.finding_rules}))
        remedy = f"write one of {known}, or add" if known else "add"
        return "finding", f"Nothing says what the finding '{row.finding}' means; {remedy} it to FindingRules."
    sections = [one.section for one in structure.scopes.get((job.pump, job.scope), ())]
    if row.section and row.section not in sections:
        return (
            "section",
            f"Job {job.job} ({job.pump}, {job.scope}) opens no section {row.section}; write one of "
            f"{', '.join(sections)}, or leave it blank for all of them.",
        )
    assemblies = ", ".join(sorted({rule.assembly for rule in rules[fold(row.finding)]}))
    where = f"in {row.section}" if row.section else "anywhere"
    return (
        "finding",
        f"The finding '{row.finding}' speaks of {assemblies}, which job {job.job} ({job.pump}, {job.scope}) does not "
        f"open {where}; correct the finding or the scope, or add a rule for what is opened.",
    )

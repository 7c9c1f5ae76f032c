"""What named findings on a job add, and what they renew: one rule, one place at a time."""

from bom.values import ONE
from tests.oracle.structure import fold


def rules_at(shop, job, inside) -> list:
    """The rules that the job's findings call for at a place inside these opened assemblies, each once."""
    named = {
        fold(finding.finding)
        for finding in shop.findings
        if finding.job == job.job and finding.section in ("", inside[0])
    }
    return [rule for rule in shop.catalog.finding_rules if fold(rule.finding) in named and rule.assembly in inside]


def added_needs(shop, job, walk) -> list:
    """(part number, quantity, covering assembly) for each opened instance to which a rule adds."""
    return [
        (rule.part_number, rule.quantity, cover)
        for inside, cover in walk.opened
        for rule in rules_at(shop, job, inside)
        if rule.effect == "add" and rule.assembly == inside[-1]
    ]


def is_renewed(shop, job, position) -> bool:
    return any(
        rule.effect == "renew" and rule.part_number in ("", position.part_number)
        for rule in rules_at(shop, job, position.inside)
    )


def renewed_positions(shop, job, positions, found) -> set:
    """Positions that nobody has given a verdict and that a finding renews, alone or along with its group."""
    told = {position for position in positions if position not in found and is_renewed(shop, job, position)}
    groups = {position.group for position in told if position.group}
    return told | {position for position in positions if position not in found and position.group in groups}


def wet_additions(shop, structure, job, walk, conditions) -> set:
    """Parts that findings add to clean work where they touch the liquid, and that are not of its class."""
    wrong = set()
    for inside, _ in walk.opened:
        lines = [line for line in structure.lines_of(inside[-1]) if conditions.meet(line)]
        for rule in rules_at(shop, job, inside):
            if rule.effect != "add" or rule.assembly != inside[-1]:
                continue
            listed = [line for line in lines if line.child == rule.part_number]
            wet = any(line.wetted for line in listed or lines)
            if wet and conditions.clean not in ("normal", structure.items[rule.part_number].cleanliness):
                wrong.add((rule.part_number, rule.assembly))
    return wrong


def finding_faults(shop, structure, walks):
    """(sheet, key) of every row that means nothing or cannot be; ``walks`` are those of the asking jobs."""
    for rule in shop.catalog.finding_rules:
        key = ("FindingRules", (rule.finding, rule.assembly, rule.effect, rule.part_number))
        part = structure.items.get(rule.part_number)
        if not structure.lines_of(rule.assembly) or rule.effect not in ("add", "renew"):
            yield key
        elif rule.effect == "add":
            pieces = part is not None and part.countable and rule.quantity % ONE
            if part is None or part.bench or part.kind == "kit" or rule.quantity <= 0 or pieces:
                yield key
        elif rule.quantity or not inspected_in(structure, rule.assembly, rule.part_number):
            yield key
    for finding in shop.findings:
        walk, known = walks.get(finding.job), finding.job in {job.job for job in shop.jobs}
        if not known or (walk is not None and not meets_a_rule(shop, finding, walk)):
            yield ("Findings", (finding.job, finding.finding, finding.section))


def inspected_in(structure, assembly, part_number) -> bool:
    return any(
        (line.at_rebuild == "inspect" and part_number in ("", line.child) and not structure.items[line.child].bench)
        or (line.at_rebuild == "open" and inspected_in(structure, line.child, part_number))
        for line in structure.lines_of(assembly)
    )


def meets_a_rule(shop, finding, walk) -> bool:
    assemblies = {rule.assembly for rule in shop.catalog.finding_rules if fold(rule.finding) == fold(finding.finding)}
    return any(inside[-1] in assemblies and finding.section in ("", inside[0]) for inside, _ in walk.opened)

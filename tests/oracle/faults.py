"""Breaches of the rules of structure, scopes and options, each found by looking at one rule at a time."""

from typing import NamedTuple

from bom.values import ASKING_STAGES, ONE
from tests.oracle.explosion import conditions_of, walk_job
from tests.oracle.findings import finding_faults, wet_additions
from tests.oracle.kits import chosen_kits
from tests.oracle.structure import Structure, fold

REBUILD_WORDS = ("open", "renew", "inspect", "keep")


class Breach(NamedTuple):
    kind: str
    names: tuple
    says: str


def find_faults(shop) -> list:
    structure = Structure(shop.catalog)
    faults = [*unknown_parts(shop, structure)]
    if faults:
        return faults
    faults = [*cycles(structure)]
    if faults:
        return faults
    faults = [*line_faults(structure)]
    if any(fault.kind in ("quantity", "remainder", "whole_pump") for fault in faults):
        return faults
    faults += [*scope_faults(structure), *get_as_faults(structure), *fit_faults(structure)]
    faults += [
        Breach("stock", (lot.part_number, lot.lot), f"{lot.part_number} {lot.lot}: stock below zero")
        for lot in shop.lots
        if lot.quantity < 0
    ]
    numbers = {job.job for job in shop.jobs}
    faults += [
        Breach("no_job", (row.job, row.part_number), f"{row.job}: nobody scheduled it")
        for row in (*shop.verdicts, *shop.issues)
        if row.job not in numbers
    ]
    asking = [job for job in shop.jobs if job.stage in ASKING_STAGES]
    walks = {job.job: walk_job(structure, job) for job in asking if structure.scope_rows(job.pump, job.scope)}
    for job in asking:
        walk = walks.get(job.job)
        faults += job_faults(structure, job, walk) + (clean_faults(shop, structure, job, walk) if walk else [])
    faults += [
        Breach("finding", (sheet, *key), f"{sheet} {key}: means nothing, or cannot be")
        for sheet, key in finding_faults(shop, structure, walks)
    ]
    return faults


def clean_faults(shop, structure, job, walk) -> list:
    wrong = wet_additions(shop, structure, job, walk, conditions_of(structure, job))
    return [
        Breach(
            "unclean",
            (job.job, part),
            f"{job.job}: a finding adds {part} to {assembly}, which is not {job.cleanliness}",
        )
        for part, assembly in sorted(wrong)
    ]


def unknown_parts(shop, structure):
    catalog = shop.catalog
    named = [("Structure", line.parent) for line in catalog.lines]
    named += [("Structure", line.child) for line in catalog.lines]
    named += [("Structure", line.pump) for line in catalog.lines if line.pump]
    named += [("Scopes", name) for row in catalog.scopes for name in (row.pump, row.section)]
    named += [("KitFits", name) for fit in catalog.kit_fits for name in (fit.kit, fit.fits)]
    named += [
        ("FindingRules", name) for rule in catalog.finding_rules for name in (rule.assembly, rule.part_number) if name
    ]
    named += [("Items", item.get_as) for item in catalog.items if item.get_as]
    for sheet, rows in (
        ("Offers", catalog.offers),
        ("Lots", shop.lots),
        ("Orders", shop.orders),
        ("OtherNeeds", shop.needs),
        ("Issued", shop.issues),
        ("Verdicts", shop.verdicts),
    ):
        named += [(sheet, row.part_number) for row in rows]
    named += [("Schedule", job.pump) for job in shop.jobs]
    for sheet, name in sorted(set(named)):
        if name not in structure.items:
            yield Breach("unknown_part", (sheet, name), f"{sheet}: {name} is no item")


def cycles(structure):
    """Walk down from every item, carrying the way; meeting oneself on it is a loop."""
    found = set()

    def go(part_number, way):
        if part_number in way:
            loop = way[way.index(part_number) :]
            smallest = loop.index(min(loop))
            found.add(tuple(loop[smallest:] + loop[:smallest]))
            return
        for line in structure.lines_of(part_number):
            go(line.child, [*way, part_number])

    for part_number in structure.items:
        go(part_number, [])
    for loop in sorted(found):
        yield Breach("cycle", loop, " > ".join((*loop, loop[0])))


def line_faults(structure):
    for line in structure.catalog.lines:
        parent, child = structure.items[line.parent], structure.items[line.child]
        names = (line.parent, line.child, line.position)
        if line.quantity <= 0:
            yield Breach("quantity", names, f"{names}: the quantity must be above 0")
        elif child.countable and line.quantity % ONE:
            yield Breach("quantity", names, f"{names}: {line.child} is counted, so its quantity must be whole")
        if line.at_rebuild not in REBUILD_WORDS and not (
            line.at_rebuild == "" and (parent.kind == "kit" or parent.source == "make")
        ):
            yield Breach("at_rebuild", names, f"{names}: at_rebuild is missing")
        if line.at_rebuild == "open" and parent.kind != "kit" and not structure.lines_of(line.child):
            yield Breach("open", names, f"{names}: {line.child} has no lines of its own and cannot be opened")
        if line.renewals_per_100 is not None and not 0 <= line.renewals_per_100 <= 100:
            yield Breach("rate", names, f"{names}: renewals_per_100 must be between 0 and 100")
        if line.quantity_is_for == "whole_pump":
            yield from whole_pump_faults(structure, line, names)


def whole_pump_faults(structure, line, names):
    if not line.pump:
        yield Breach("whole_pump", names, f"{names}: whole_pump needs a pump")
        return
    count, disagree = structure.instances(line.pump, line.parent)
    if count == 0:
        yield Breach("whole_pump", names, f"{names}: {line.pump} holds no {line.parent}")
    elif disagree:
        yield Breach("whole_pump", names, f"{names}: alternatives of {line.pump} hold {line.parent} unequally often")
    elif line.quantity % (count * (ONE if structure.items[line.child].countable else 1)):
        yield Breach("remainder", names, f"{names}: {line.quantity / ONE:g} / {count} leaves a remainder")


def scope_faults(structure):
    kits_said = {}
    for row in structure.catalog.scopes:
        names = (row.pump, row.scope, row.section)
        count, _ = structure.instances(row.pump, row.section)
        if row.how_many > count:
            yield Breach("scope", names, f"{names}: opens {row.how_many}, {row.pump} holds {count}")
        if not structure.lines_of(row.section):
            yield Breach("open", names, f"{names}: {row.section} has no lines of its own")
        kits_said.setdefault((row.pump, fold(row.scope)), set()).add(row.use_kits)
    for names, said in kits_said.items():
        if len(said) > 1:
            yield Breach("use_kits", names, f"{names}: use_kits must be the same on all rows")


def get_as_faults(structure):
    for item in structure.catalog.items:
        if item.get_as and not structure.pieces_inside(item.get_as, item.part_number):
            yield Breach("get_as", (item.part_number,), f"{item.get_as} holds no {item.part_number}")


def fit_faults(structure):
    """A kit that is made for something else: nothing it holds is in what it is said to fit."""
    for fit in structure.catalog.kit_fits:
        if not structure.in_force(fit):
            continue
        if not parts_below(structure, fit.kit, "kit") & parts_below(structure, fit.fits, "assembly"):
            yield Breach("fits_nothing", (fit.kit, fit.fits), f"{fit.kit} shares no part with {fit.fits}")


def parts_below(structure, holder, kind) -> set:
    """Everything in a kit and the kits inside it, or in an assembly and those opened inside it, whatever the limits."""
    parts = set()
    for line in structure.lines_of(holder):
        parts.add(line.child)
        if structure.items[line.child].kind == "kit" if kind == "kit" else line.at_rebuild == "open":
            parts |= parts_below(structure, line.child, kind)
    return parts


def job_faults(structure, job, walk) -> list:
    if not walk:
        return [Breach("no_scope", (job.job,), f"{job.job}: {job.pump} has no scope {job.scope}")]
    conditions = conditions_of(structure, job)
    holders = {line.parent for line in walk.reached}
    for assembly in walk.covered_instances:
        for fit in chosen_kits(structure, assembly, conditions):
            holders |= kits_within(structure, fit.kit, conditions)
    faults = []
    for holder in sorted(holders):
        for position, lines in sorted(structure.by_position(holder).items()):
            faults += option_faults(job, holder, position, lines, conditions.answers)
    faults += [
        Breach("unclean", (job.job, line.child), f"{job.job}: {line.child} in {line.parent} is not {job.cleanliness}")
        for line in walk.unclean
    ]
    return faults


def kits_within(structure, kit, conditions) -> set:
    """The kit and those inside it that are opened with it."""
    kits = {kit}
    for line in structure.lines_of(kit):
        if structure.items[line.child].kind == "kit" and conditions.meet(line):
            kits |= kits_within(structure, line.child, conditions)
    return kits


def option_faults(job, holder, position, lines, answers) -> list:
    faults = []
    for name in sorted({fold(name) for line in lines for name, _ in line.options}):
        if name not in answers:
            says = f"{job.job}: {holder}, {position} asks for {name}, which nobody answers"
            faults.append(Breach("unanswered", (job.job, holder, position, name), says))
            continue
        known = {
            fold(value)
            for line in lines
            for line_name, value in line.options
            if fold(line_name) == name and not contradicted(line, name, answers)
        }
        if known and answers[name] not in known:
            says = f"{job.job}: {holder}, {position} knows {name} = {sorted(known)}, not {answers[name]}"
            faults.append(Breach("unknown_answer", (job.job, holder, position, name), says))
    return faults


def contradicted(line, but: str, answers) -> bool:
    return any(
        fold(name) != but and fold(name) in answers and answers[fold(name)] != fold(value)
        for name, value in line.options
    )

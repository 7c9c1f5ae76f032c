"""One job, taken apart by hand: every pump, every opened assembly, every single position."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date

from bom.values import ONE
from tests.oracle.structure import Structure, as_answers, fold, natural


@dataclass
class Conditions:
    """What decides whether a line counts. ``answers`` None: no pump is known, so that only dates are asked."""

    answers: dict | None
    on: date
    serial: str = ""
    clean: str = "normal"

    def meet_options(self, line) -> bool:
        if self.answers is None:
            return True
        return all(self.answers.get(fold(name)) == fold(value) for name, value in line.options)

    def meet_dates(self, line) -> bool:
        return (line.from_on is None or line.from_on <= self.on) and (line.to_on is None or self.on <= line.to_on)

    def meet_serial(self, line) -> bool:
        """No serial: the newest build, so that an upper limit is never met and a lower one always is."""
        if self.answers is None:
            return True
        if not self.serial:
            return not line.to_serial
        if line.from_serial and natural(self.serial) < natural(line.from_serial):
            return False
        return not (line.to_serial and natural(self.serial) > natural(line.to_serial))

    def meet(self, line) -> bool:
        return self.meet_options(line) and self.meet_dates(line) and self.meet_serial(line)


@dataclass(eq=False)
class Position:
    """One place that is looked at. A measured line is one place with its whole quantity."""

    line: object
    part_number: str
    quantity: int
    pump: int
    where: str
    group: tuple | None
    cover: str | None
    inside: tuple  # the opened assemblies around it, the section first


@dataclass
class Walk:
    """What a job finds: ``needs`` as (part number, quantity, assembly whose kit covers it or None).

    ``opened`` has one entry for each opened assembly: (the assemblies down to it, section first; covering assembly).
    """

    needs: list = field(default_factory=list)
    positions: list = field(default_factory=list)
    covered_instances: Counter = field(default_factory=Counter)
    reached: list = field(default_factory=list)
    unclean: list = field(default_factory=list)
    opened: list = field(default_factory=list)


def conditions_of(structure: Structure, job) -> Conditions:
    answers = as_answers(structure.items[job.pump].default_options)
    for row in structure.scope_rows(job.pump, job.scope):
        answers.update(as_answers(row.options))
    answers.update(as_answers(job.options))
    return Conditions(answers, job.build_on, job.serial.strip(), job.cleanliness)


def uses_kits(structure: Structure, job) -> bool:
    if job.use_kits is not None:
        return job.use_kits
    return all(row.use_kits for row in structure.scope_rows(job.pump, job.scope))


def fitting_kits(structure: Structure, assembly: str, conditions: Conditions) -> list:
    return [
        fit
        for fit in structure.catalog.kit_fits
        if fit.fits == assembly
        and structure.in_force(fit)
        and conditions.meet_options(fit)
        and (
            conditions.clean in ("normal", structure.items[fit.kit].cleanliness)
            or not touches_liquid(structure, assembly)
        )
    ]


def touches_liquid(structure: Structure, assembly: str) -> bool:
    """Whether anything wetted is fitted anywhere in it."""
    return any(line.wetted or touches_liquid(structure, line.child) for line in structure.lines_of(assembly))


def walk_job(structure: Structure, job) -> Walk:
    walk = Walk()
    conditions = conditions_of(structure, job)
    with_kits = uses_kits(structure, job)

    def open_assembly(assembly, pump, steps, cover, around):
        inside = (*around, assembly)
        if cover is None and with_kits and fitting_kits(structure, assembly, conditions):
            cover = assembly
            walk.covered_instances[assembly] += 1
        walk.opened.append((inside, cover))
        running = Counter()
        for line in structure.lines_of(assembly):
            walk.reached.append(line)
            if structure.items[line.child].bench or not conditions.meet(line):
                continue
            fitted = line.wetted and line.at_rebuild in ("renew", "inspect")
            if fitted and conditions.clean not in ("normal", structure.items[line.child].cleanliness):
                walk.unclean.append(line)
            if line.at_rebuild == "open":
                for _ in range(structure.units(line)):
                    running[line.child] += 1
                    open_assembly(line.child, pump, (*steps, f"{line.child} {running[line.child]}"), cover, inside)
            elif line.at_rebuild == "renew":
                walk.needs.append((line.child, structure.per_parent(line), cover))
            elif line.at_rebuild == "inspect":
                walk.positions.extend(positions_of(structure, line, pump, steps, cover, inside))

    for pump in range(1, job.quantity + 1):
        for row in structure.scope_rows(job.pump, job.scope):
            for number in range(1, row.how_many + 1):
                open_assembly(row.section, pump, (f"pump {pump}", f"{row.section} {number}"), None, ())
    return walk


def positions_of(structure: Structure, line, pump: int, steps: tuple, cover: str | None, inside: tuple):
    group = None
    if line.renew_together:
        over = {"assembly": steps, "section": steps[:2], "pump": steps[:1]}[line.renew_together_over]
        group = (fold(line.renew_together), line.renew_together_over, over)
    text = line.position.strip() or line.child
    if not structure.items[line.child].countable:
        where = " / ".join((*steps, text))
        yield Position(line, line.child, structure.per_parent(line), pump, where, group, cover, inside)
        return
    count = structure.units(line)
    for number in range(1, count + 1):
        last = f"{text} {number}" if count > 1 else text
        yield Position(line, line.child, ONE, pump, " / ".join((*steps, last)), group, cover, inside)


def contents_of(structure: Structure, holder: str, conditions: Conditions) -> dict:
    """What one kit or made assembly holds, one level down, in millionths."""
    inside = {}
    for line in structure.lines_of(holder):
        if not structure.items[line.child].bench and conditions.meet(line):
            inside[line.child] = inside.get(line.child, 0) + structure.per_parent(line)
    return inside


def opened_contents(structure: Structure, kit: str, conditions: Conditions) -> dict:
    """What comes out of one kit when the kits inside it are opened too."""
    out = {}
    for child, quantity in contents_of(structure, kit, conditions).items():
        if structure.items[child].kind == "kit":
            for deeper, each in opened_contents(structure, child, conditions).items():
                out[deeper] = out.get(deeper, 0) + each * quantity // ONE
        else:
            out[child] = out.get(child, 0) + quantity
    return out

"""The sections that a job opens, in assembly order: what each holds, how many, and what happens to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bom.reading import JobAssembly, JobLine
from bom.values import ONE, Item
from kits.catalog.amounts import Amount
from kits.planning.sheets.jobs.strip_report import StripSheet, found_says
from kits.planning.words.item_names import ItemName
from kits.planning.words.line_notes import LineNotes, line_note

GOES_BACK = "goes back in"


@dataclass(frozen=True, slots=True)
class SectionLine:
    """One line of an opened assembly: ``says`` is the running product that ends in ``total``."""

    part_number: str
    what: str
    leads_to: str
    position: str
    says: str
    total: Amount
    at_rebuild: str
    kit: str
    note: str


@dataclass(frozen=True, slots=True)
class OpenedAssembly:
    """An assembly that the job opens, ``count`` of it in all its pumps; ``depth`` 0 is a section of the scope."""

    part_number: str
    what: str
    depth: int
    count: int
    says: str
    kit: str
    lines: tuple[SectionLine, ...]


def opened_count(openings: Iterable[JobAssembly]) -> dict[str, int]:
    """How many of each assembly are opened."""
    found: dict[str, int] = {}
    for opening in openings:
        found[opening.part_number] = found.get(opening.part_number, 0) + opening.count
    return found


def numbers_of(openings: Iterable[JobAssembly]) -> set[str]:
    """Every part that the walk through a job's scope passes."""
    named: set[str] = set()
    for opening in openings:
        named |= {opening.part_number, *opening.kits, *(line.held.child for line in opening.lines)}
    return named


def opened_assembly(
    opening: JobAssembly,
    items: Mapping[str, Item],
    names: Mapping[str, ItemName],
    notes: LineNotes,
    strip: StripSheet,
) -> OpenedAssembly:
    """One opened assembly with its lines."""
    factors = factors_of(opening)
    return OpenedAssembly(
        part_number=opening.part_number,
        what=names[opening.part_number].what,
        depth=opening.depth,
        count=opening.count,
        says=" × ".join(factors) if len(factors) > 1 else "",
        kit=", ".join(opening.kits),
        lines=tuple(
            section_line(line, opening, factors, names[line.held.child], notes, told)
            for line in opening.lines
            if line.held.line.at_rebuild != "open"
            for told in (
                found_says(strip.by_spot.get((line.held.turn, opening.inside), ()))
                or at_rebuild(line, items[line.held.child].bench),
            )
        ),
    )


def factors_of(opening: JobAssembly) -> tuple[str, ...]:
    """How the count of an opened assembly comes about, the nearest first."""
    steps = (f"{step.quantity // ONE} {step.child} per {step.parent}" for step in opening.steps)
    section = f"{opening.section.how_many} {opening.section.section}"
    return (*steps, section, *([f"{opening.pumps} pumps"] if opening.pumps > 1 else []))


def section_line(
    line: JobLine, opening: JobAssembly, factors: tuple[str, ...], name: ItemName, notes: LineNotes, told: str
) -> SectionLine:
    """One line of an opened assembly; ``told`` is what happens to its part."""
    held = line.held
    return SectionLine(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        position=held.line.position,
        says=" × ".join((f"{name.amount(held.quantity).text} per {held.parent}", *factors)),
        total=name.amount(held.quantity * opening.count),
        at_rebuild=told,
        kit=", ".join(line.kits) if held.line.at_rebuild == "renew" else "",
        note=line_note(notes, held.line),
    )


def at_rebuild(line: JobLine, is_bench: bool) -> str:
    """What happens to the part."""
    bench = ", from the bench" if is_bench else ""
    if line.held.line.at_rebuild == "renew":
        return f"renewed{bench}"
    if line.held.line.at_rebuild != "inspect":
        return GOES_BACK
    if line.finding is not None:
        return f"renewed, because of finding '{line.finding}'{bench}"
    rate = "no rate known" if line.chance is None else f"{round(float(line.chance) * 100, 1):g} in 100 renewed"
    return f"looked at, {rate}{bench}"

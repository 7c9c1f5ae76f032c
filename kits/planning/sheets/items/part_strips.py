"""Assemblies drawn part by part for the sheets of pumps and kits, where no job says what is new."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from bom.reading import HeldLine
from bom.values import ONE, Line
from kits.planning.words.item_names import ItemName
from kits.planning.words.line_notes import LineNotes, note_of
from kits.planning.words.part_kinds import kind_of, turned_to
from kits.planning.words.part_strip import DrawnPart

LOOKS = {"renew": "new", "inspect": "open", "keep": "back", "open": "open"}
SAYS = {"renew": "new", "inspect": "look", "keep": "goes back", "open": "", "": ""}
FROM_BENCH = "bench"
IN_IT, NOT_IN_IT, LEFT_OVER, SPARE = "in the kit", "not in it", "left over", "spare in it"


@dataclass(frozen=True, slots=True)
class AssemblyStrip:
    """One assembly, ``count`` of it, and its parts in assembly order."""

    assembly: str
    what: str
    count: int
    parts: tuple[DrawnPart, ...]


def pump_strips(
    reached: Iterable[tuple[HeldLine, int]],
    names: Mapping[str, ItemName],
    notes: LineNotes,
    only_if: Callable[[Line], str],
    bench: Callable[[str], bool],
) -> tuple[AssemblyStrip, ...]:
    """Every assembly of a pump once; ``reached`` are its lines with how many of their parent one pump holds."""
    return tuple(
        AssemblyStrip(
            assembly,
            names[assembly].what,
            count,
            tuple(
                replace(
                    drawn_line(number, held, names, notes),
                    says=only_if(held.line) or (FROM_BENCH if bench(held.child) else SAYS[held.line.at_rebuild]),
                )
                for number, held in enumerate(lines, 1)
            ),
        )
        for assembly, (count, lines) in by_parent(reached).items()
    )


def kit_strips(
    reached: Iterable[tuple[HeldLine, int]],
    in_kit: Mapping[str, int],
    left_over: Mapping[str, int],
    names: Mapping[str, ItemName],
    notes: LineNotes,
    bench: Callable[[str], bool],
) -> tuple[AssemblyStrip, ...]:
    """The assemblies that a kit does: what of each is in the kit, and what is not; what is left over stands last.

    Sure needs take from the kit before what is only looked at, each in assembly order.
    """
    found = by_parent(reached)
    strips, left = dict.fromkeys(found, ()), dict(in_kit)
    drawn: dict[int, DrawnPart] = {}
    for wanted in ("renew", "inspect"):
        for count, lines in found.values():
            for number, held in enumerate(lines, 1):
                part = drawn_line(number, held, names, notes)
                if bench(held.child):
                    drawn[held.turn] = replace(part, says=FROM_BENCH)
                    continue
                if held.line.at_rebuild != wanted:
                    drawn.setdefault(held.turn, part)
                    continue
                needed = held.quantity * count
                brings = min(left.get(held.child, 0), needed)
                left[held.child] = left.get(held.child, 0) - brings
                drawn[held.turn] = in_or_not(part, names[held.child], brings, needed, sure=wanted == "renew")
    over = tuple(
        DrawnPart(number, part, names[part].what, kind_of(names[part]), names[part].amount(more).text, "out", LEFT_OVER)
        for number, (part, more) in enumerate(sorted(left_over.items()), 1)
    )
    last = len(strips)
    return tuple(
        AssemblyStrip(
            assembly,
            names[assembly].what,
            count,
            (*(drawn[held.turn] for held in lines), *(_after(over, len(lines)) if turn == last else ())),
        )
        for turn, (assembly, (count, lines)) in enumerate(found.items(), 1)
    )


def drawn_line(number: int, held: HeldLine, names: Mapping[str, ItemName], notes: LineNotes) -> DrawnPart:
    """One line as its list has it."""
    name, line = names[held.child], held.line
    kind = "assembly" if line.at_rebuild == "open" else kind_of(name)
    return DrawnPart(
        number=number,
        part_number=held.child,
        what=f"{name.what}, {line.position}" if line.position else name.what,
        kind=kind,
        count="" if held.quantity == ONE else name.amount(held.quantity).text,
        look=LOOKS.get(line.at_rebuild, "open"),
        says=SAYS[line.at_rebuild],
        turned=turned_to(kind, note_of(notes, line).orientation),
    )


def in_or_not(part: DrawnPart, name: ItemName, brings: int, needed: int, *, sure: bool) -> DrawnPart:
    """The part with what the kit brings of it."""
    if not brings:
        return replace(part, look="lack", says=NOT_IN_IT) if sure else part
    says = IN_IT if sure else SPARE
    if brings < needed:
        says = f"{name.amount(brings).text} of {name.amount(needed).text} {says}"
    return replace(part, look="new" if sure and brings == needed else "lack" if sure else "open", says=says)


def by_parent(reached: Iterable[tuple[HeldLine, int]]) -> dict[str, tuple[int, list[HeldLine]]]:
    """The lines by what holds them, each once, with how many of that there are on all ways together."""
    counts: dict[str, dict[int, int]] = {}
    lines: dict[str, dict[int, HeldLine]] = {}
    for held, count in reached:
        lines.setdefault(held.parent, {})[held.turn] = held
        by_turn = counts.setdefault(held.parent, {})
        by_turn[held.turn] = by_turn.get(held.turn, 0) + count
    return {parent: (max(counts[parent].values()), list(some.values())) for parent, some in lines.items()}


def _after(parts: Iterable[DrawnPart], number: int) -> Iterator[DrawnPart]:
    return (replace(part, number=number + part.number) for part in parts)

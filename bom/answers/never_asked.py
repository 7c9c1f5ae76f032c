"""What stands in the lists and no job can ask for: parts beside every scope, assemblies and kits that none leads to.

Limits of lines (options, dates, serials) are ignored: what some job could reach counts as reached.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from bom.structure.arrays import INSPECT, KEEP, OPEN, RENEW, Structure
from bom.structure.tables import Bools
from bom.values import PACKED_SOURCES, KitFit, ScopeSection


@dataclass(frozen=True, slots=True)
class NeverAsked:
    """Things that nothing leads to; ``within`` names the pump that holds them, of a kit the assemblies it fits."""

    names: tuple[str, ...]
    within: tuple[str, ...]
    why: str
    remedy: str


def never_asked(structure: Structure) -> tuple[NeverAsked, ...]:
    """What no scope leads to, pump by pump; then what no pump holds, and the kits that no scope takes.

    Parameters
    ----------
    structure : the compiled catalog
    """
    asks = _asks(structure)
    sections: dict[str, list[str]] = defaultdict(list)
    for (pump, _), rows in structure.scopes.items():
        sections[pump] += [row.section for row in rows]
    return (
        *(
            row
            for number, item in enumerate(structure.items)
            if item.kind == "pump"
            for row in _in_pump(structure, asks, number, sections[item.part_number])
        ),
        *_held_by_nothing(structure, asks),
        *_kits(structure),
        *_half_entered(structure),
    )


def _asks(structure: Structure) -> Bools:
    """For each item, whether opening it asks for anything: something renewed or looked at, there or opened below."""
    found = np.zeros(len(structure.items), bool)
    direct = np.isin(structure.action, (RENEW, INSPECT)) & ~structure.bench[structure.child]
    level = structure.level[structure.parent]
    for depth in range(int(level.max(initial=0)), -1, -1):
        here = (level == depth) & (direct | ((structure.action == OPEN) & found[structure.child]))
        found[structure.parent[here]] = True
    return found


def _opened(structure: Structure, sections: Iterable[str]) -> set[int]:
    """Everything that is opened when these sections are."""
    stack = [structure.index[section] for section in sections]
    found = set(stack)
    while stack:
        for line in structure.lines_of(stack.pop()):
            child = int(structure.child[line])
            if structure.action[line] == OPEN and child not in found:
                found.add(child)
                stack.append(child)
    return found


def _held(structure: Structure, pump: int) -> set[int]:
    """Everything inside a pump, itself among it, however deep."""
    stack, found = [pump], {pump}
    while stack:
        for line in structure.lines_of(stack.pop()):
            child = int(structure.child[line])
            if child not in found:
                found.add(child)
                stack.append(child)
    return found


def _in_pump(structure: Structure, asks: Bools, pump: int, sections: Iterable[str]) -> Iterator[NeverAsked]:
    name = structure.items[pump].part_number
    if not sections:
        if any(asks[item] for item in _held(structure, pump)):
            why = "no scope of rebuild is listed for it"
            yield NeverAsked((name,), (name,), why, "make a scope that says what is opened")
        return
    opened = _opened(structure, sections)
    if pump not in opened and (parts := _replaced_in(structure, pump)):
        yield NeverAsked(
            parts,
            (name,),
            f"directly under {name}, which no scope of it opens itself",
            f"name {name} itself as a section of a scope, or put them into an assembly that is opened",
        )
    yield from _unopened(structure, asks, pump, opened)


def _replaced_in(structure: Structure, item: int) -> tuple[str, ...]:
    """What is renewed or looked at directly inside an item."""
    lines = [line for line in structure.lines_of(item) if structure.action[line] in (RENEW, INSPECT)]
    names = (structure.items[structure.child[line]] for line in lines)
    return tuple(dict.fromkeys(held.part_number for held in names if not held.bench))


def _unopened(structure: Structure, asks: Bools, pump: int, opened: set[int]) -> Iterator[NeverAsked]:
    """The uppermost assemblies of a pump that would ask for something and that no scope of it opens."""
    name = structure.items[pump].part_number
    stack, seen, told = [pump], {pump}, set()
    while stack:
        parent = stack.pop()
        for line in structure.lines_of(parent):
            child = int(structure.child[line])
            if _made(structure, child) or (parent in opened and structure.action[line] in (RENEW, INSPECT)):
                continue  # it is asked for as it is
            if child in opened or not asks[child]:
                if child not in seen:
                    seen.add(child)
                    stack.append(child)
            elif child not in told:
                told.add(child)
                number = structure.items[child].part_number
                if parent in opened and structure.action[line] == KEEP:
                    why = f"goes back into {structure.items[parent].part_number} unopened"
                    remedy = "write open on that line if what is in it is to be renewed"
                else:
                    why = f"no scope of {name} opens it"
                    remedy = f"add the section {number} to a scope of {name}"
                yield NeverAsked((number,), (name,), why, remedy)


def _made(structure: Structure, item: int) -> bool:
    held = structure.items[item]
    return held.kind in ("kit", "pump") or held.source in PACKED_SOURCES


def _held_by_nothing(structure: Structure, asks: Bools) -> Iterator[NeverAsked]:
    """Assemblies of which no list says what holds them."""
    children = set(structure.child.tolist())
    sections = {row.section for rows in structure.scopes.values() for row in rows}
    for item in np.flatnonzero(asks).tolist():
        name = structure.items[item].part_number
        if item not in children and name not in sections and not _made(structure, item):
            yield NeverAsked((name,), (), "no list says what holds it", "add it to what holds it in Structure")


def unfinished_kits(
    structure: Structure, asked_for: Collection[str] = ()
) -> Iterator[tuple[str, KitFit | None, str, str]]:
    """Kits of which one half is missing, the contents or what they fit: kit, fit if there is one, why, and the remedy.

    A kit that something asks for otherwise (``asked_for``, another list, ``get_as``) needs no fit.

    Parameters
    ----------
    structure : the compiled catalog
    asked_for : kits that something asks for beside the lists
    """
    fits = structure.catalog.kit_fits
    known = {line.child for line in structure.lines} | {item.get_as for item in structure.items}
    known |= {fit.kit for fit in fits} | set(asked_for)
    for number in np.flatnonzero(structure.is_kit).tolist():
        kit = structure.items[number].part_number
        if structure.lines_of(number) and kit not in known:
            yield kit, None, "fits nothing yet", "say on its page, or in KitFits, what it fits"
    for fit in fits:
        if not structure.lines_of(structure.index[fit.kit]):
            yield fit.kit, fit, f"is said to fit {fit.fits} and holds nothing yet", "list its contents"
        elif not structure.lines_of(structure.index[fit.fits]):
            yield fit.kit, fit, f"is said to fit {fit.fits}, which has no lines yet", f"list what {fit.fits} holds"


def _half_entered(structure: Structure) -> Iterator[NeverAsked]:
    for kit, fit, why, remedy in unfinished_kits(structure):
        yield NeverAsked((kit,), (fit.fits,) if fit else (), f"it {why}", remedy)


def _kits(structure: Structure) -> Iterator[NeverAsked]:
    """Kits for assemblies that no scope takes."""
    with_kits = [rows for rows in structure.scopes.values() if all(row.use_kits for row in rows)]
    reached = _kits_looked_for(structure, with_kits)
    serving = {kit for assembly in reached for kit in _taken(structure, assembly)}
    opened = _opened(structure, {row.section for rows in structure.scopes.values() for row in rows})
    opened_with_kits = _opened(structure, {row.section for rows in with_kits for row in rows})
    asked_for = {line.child for line in structure.lines} | {item.get_as for item in structure.items}
    fits_of: dict[int, list[int]] = defaultdict(list)
    for fit, kit in zip(structure.fits, structure.fit_kit.tolist(), strict=True):
        if kit not in serving and fit.kit not in asked_for:
            fits_of[kit].append(structure.index[fit.fits])
    for kit, assemblies in sorted(fits_of.items()):
        names = tuple(structure.items[assembly].part_number for assembly in assemblies)
        first = names[0]
        if not opened & set(assemblies):
            why, remedy = f"it fits {first}, which no scope opens", f"add the section {first} to a scope"
        elif not opened_with_kits & set(assemblies):
            why, remedy = f"only scopes without kits open {first}", "let a scope use kits, or take the fit away"
        elif not reached & set(assemblies):
            why = f"a kit for what holds {first} is always taken before it"
            remedy = f"make a scope that opens {first} alone, or take one of the two fits away"
        else:
            why = f"another kit of the same set always serves {first} first"
            remedy = "prefer this one, or give it a set of its own if both are needed"
        yield NeverAsked((structure.items[kit].part_number,), names, why, remedy)


def _kits_looked_for(structure: Structure, scopes: Iterable[Collection[ScopeSection]]) -> set[int]:
    """The assemblies at which jobs of these scopes may take a kit, on each way down to one that always has one."""
    stack = [structure.index[row.section] for rows in scopes for row in rows]
    seen, found = set(stack), set()
    while stack:
        item = stack.pop()
        fits = structure.fits[int(structure.fit_first[item]) : int(structure.fit_first[item + 1])]
        if fits:
            found.add(item)
        if any(not fit.options for fit in fits):
            continue
        for line in structure.lines_of(item):
            child = int(structure.child[line])
            if structure.action[line] == OPEN and child not in seen:
                seen.add(child)
                stack.append(child)
    return found


def _taken(structure: Structure, assembly: int) -> Iterator[int]:
    """The kits that some job may take at an assembly: of each set those up to the first that always fits."""
    served: set[tuple[str, str]] = set()
    for fit in range(int(structure.fit_first[assembly]), int(structure.fit_first[assembly + 1])):
        kit = int(structure.fit_kit[fit])
        key = (structure.fits[fit].set_name, structure.items[kit].cleanliness)
        if key not in served:
            yield kit
        if not structure.fits[fit].options:
            served.add(key)

"""What is wrong with single lines of the lists, and the loop where a structure runs in a circle."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from bom.errors import Fault
from bom.structure.keys import line_key
from bom.structure.tables import Ints
from bom.values import ONE, PACKED_SOURCES, Catalog, Item, KitFit, Line

AT_REBUILD = ("", "open", "renew", "inspect", "keep")
"""What a line may say; nothing in the contents of kits and made assemblies."""
OTHERWISE = ("", "open")
"""What only some parents or children allow."""


def list_faults(catalog: Catalog, index: Mapping[str, int]) -> Iterator[Fault]:
    """Look at each line and each fit by itself, before anything is compiled.

    Parameters
    ----------
    catalog : the lists
    index : item number by part number
    """
    parents = {line.parent for line in catalog.lines}
    for line in catalog.lines:
        parent, child = index.get(line.parent), index.get(line.child)
        if parent is None or child is None or (line.pump is not None and line.pump not in index):
            named = {"parent": line.parent, "child": line.child, "pump": line.pump}
            missing = {column: part for column, part in named.items() if part is not None and part not in index}
            yield from (_unknown_part("Structure", line_key(line), column, part) for column, part in missing.items())
            continue
        for column, says in _of_line(line, catalog.items[parent], catalog.items[child], parents):
            yield Fault("Structure", line_key(line), column, says)
    for fit in catalog.kit_fits:
        yield from _of_fit(fit, index)


def _unknown_part(sheet: str, key: tuple[str, ...], column: str, part: str) -> Fault:
    return Fault(sheet, key, column, f"Part {part} is not among the items; add it to Items first.")


def _of_line(line: Line, parent: Item, child: Item, parents: Collection[str]) -> Iterator[tuple[str, str]]:
    """What is wrong with one line whose parts are known: column and sentence."""
    if line.quantity <= 0:
        yield (
            "quantity",
            f"{line.parent} holds {line.child} with a quantity that is not above zero; give the number that is fitted.",
        )
    elif child.countable and line.quantity % ONE and line.quantity_is_for == "one_parent":
        yield (
            "quantity",
            f"{line.child} is counted in pieces, so {line.quantity / ONE:g} in {line.parent} cannot be; give a whole "
            "number.",
        )
    if line.at_rebuild in OTHERWISE or line.at_rebuild not in AT_REBUILD:
        yield from _of_rebuild(line, parent, child, parents)
    if line.renewals_per_100 is not None and not 0 <= line.renewals_per_100 <= 100:
        rate = float(line.renewals_per_100)
        yield "renewals_per_100", f"{rate:g} renewals in 100 cannot be; give a number from 0 to 100."
    if line.quantity_is_for == "whole_pump" and line.pump is None:
        yield (
            "pump",
            f"{line.child} in {line.parent} is counted for the whole pump, but the pump is not named; name it.",
        )


def _of_rebuild(line: Line, parent: Item, child: Item, parents: Collection[str]) -> Iterator[tuple[str, str]]:
    """What is wrong with what happens to the child."""
    if line.at_rebuild not in AT_REBUILD:
        yield "at_rebuild", f"'{line.at_rebuild}' is not known; write open, renew, inspect or keep."
    elif not line.at_rebuild and parent.kind != "kit" and parent.source not in PACKED_SOURCES:
        yield (
            "at_rebuild",
            f"{line.child} in {line.parent} does not say what happens to it at a rebuild; write open, renew, inspect "
            "or keep.",
        )
    if line.at_rebuild == "open" and (child.kind not in ("assembly", "pump") or line.child not in parents):
        yield (
            "at_rebuild",
            f"{line.child} in {line.parent} is to be opened, but it is not an assembly with lines of its own; add its "
            "lines, or write renew, inspect or keep.",
        )


def _of_fit(fit: KitFit, index: Collection[str]) -> Iterable[Fault]:
    key = (fit.kit, fit.fits)
    for part, column in ((fit.kit, "kit"), (fit.fits, "fits")):
        if part not in index:
            yield _unknown_part("KitFits", key, column, part)
    if fit.instances < 1:
        says = f"Kit {fit.kit} does {fit.instances} of {fit.fits}; give 1 or more."
        yield Fault("KitFits", key, "instances", says)


def cycle_fault(items: Sequence[Item], first: Ints, child: Ints, lines: Sequence[Line]) -> Fault:
    """Walk down until a part comes round again, and show the loop part by part.

    Parameters
    ----------
    items : of the catalog
    first : the first line of each item, shape (items + 1,)
    child : item number below each line
    lines : sorted by parent
    """
    colour = [0] * len(items)
    for root in range(len(items)):
        stack: list[tuple[int, int]] = [(root, int(first[root]))] if not colour[root] else []
        if stack:
            colour[root] = 1
        while stack:
            item, line = stack[-1]
            if line == first[item + 1]:
                colour[item] = 2
                stack.pop()
                continue
            stack[-1] = (item, line + 1)
            below = int(child[line])
            if colour[below] == 1:
                round_trip = stack[[number for number, _ in stack].index(below) :]
                loop = [*(items[number].part_number for number, _ in round_trip), items[below].part_number]
                return Fault(
                    "Structure",
                    line_key(lines[line]),
                    "child",
                    f"The structure runs in a circle: {' > '.join(loop)}; take one of these lines out.",
                    also=tuple(line_key(lines[after - 1]) for _, after in round_trip[:-1]),
                )
            if colour[below] == 0:
                colour[below] = 1
                stack.append((below, int(first[below])))
    raise AssertionError("a cycle was reported but none was found")

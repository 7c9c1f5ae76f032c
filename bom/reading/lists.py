"""The lists of the catalog as they count: what each assembly and kit holds, and what holds each part."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, fields
from functools import cached_property
from hashlib import sha256

import numpy as np

from bom.answers.never_asked import NeverAsked, never_asked
from bom.structure.arrays import Structure, compile_structure
from bom.structure.holdings import instances_held
from bom.values import PACKED_SOURCES, Catalog, Item, KitFit, Line, ScopeSection


@dataclass(frozen=True, slots=True)
class HeldLine:
    """One line as it counts: ``quantity`` millionths of the child in one parent, whatever the list was typed for.

    ``turn`` is its place among all lines: those of one parent stand together, in assembly order.
    """

    line: Line
    quantity: int
    turn: int

    @property
    def parent(self) -> str:
        """The part number of what holds it."""
        return self.line.parent

    @property
    def child(self) -> str:
        """The part number of what is held."""
        return self.line.child


class Lists:
    """Everything that stands in the lists of one catalog, by part number.

    Attributes
    ----------
    compiled : the compiled catalog, for the next plan of the same lists
    scopes : the sections that each scope of each pump opens, by pump and scope
    """

    def __init__(self, structure: Structure) -> None:
        self.compiled = structure
        self.scopes: dict[tuple[str, str], tuple[ScopeSection, ...]] = structure.scopes

    @classmethod
    def of(cls, catalog: Catalog) -> Lists:
        """The lists of a catalog, checked.

        Parameters
        ----------
        catalog : the lists

        Raises
        ------
        ShopError
            With every fault of the lists.
        """
        return cls(compile_structure(catalog))

    @cached_property
    def fingerprint(self) -> str:
        """The same in two processes only if they number everything alike, so that one can read the other's plans."""
        found = sha256()
        for column in fields(self.compiled):
            value = getattr(self.compiled, column.name)
            if isinstance(value, np.ndarray):
                found.update(column.name.encode() + value.tobytes())
        for names in ([item.part_number for item in self.compiled.items], self.compiled.requirements, *self.scopes):
            found.update(repr(names).encode())
        return found.hexdigest()

    @cached_property
    def items(self) -> dict[str, Item]:
        """Every item by its part number, in the order of the sheet."""
        return {item.part_number: item for item in self.compiled.items}

    def __contains__(self, part_number: str) -> bool:
        return part_number in self.compiled.index

    def inside(self, part_number: str) -> tuple[HeldLine, ...]:
        """The lines of one assembly or kit, in assembly order.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return tuple(self.held(line) for line in self.compiled.lines_of(self.compiled.index[part_number]))

    def holding(self, part_number: str) -> tuple[HeldLine, ...]:
        """The lines that hold one item, by what holds it.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return tuple(self.held(line) for line in self._above.get(self.compiled.index[part_number], ()))

    @cached_property
    def scopes_by_pump(self) -> dict[str, tuple[str, ...]]:
        """The scopes of each pump, in the order of their sheet."""
        pumps: dict[str, tuple[str, ...]] = {}
        for pump, scope in self.scopes:
            pumps[pump] = (*pumps.get(pump, ()), scope)
        return pumps

    def fits_of(self, assembly: str) -> tuple[KitFit, ...]:
        """The kits that fit one assembly.

        Parameters
        ----------
        assembly : its part number
        """
        structure, number = self.compiled, self.compiled.index[assembly]
        return structure.fits[int(structure.fit_first[number]) : int(structure.fit_first[number + 1])]

    def held_in(self, pump: str) -> dict[str, int]:
        """How many of itself, and of every assembly with lines of its own, one pump holds; from the top down.

        Parameters
        ----------
        pump : its part number
        """
        by_parent: dict[str, list[Line]] = {}
        for line in self.compiled.lines:
            by_parent.setdefault(line.parent, []).append(line)
        counts = instances_held(by_parent, pump).counts
        level, index = self.compiled.level, self.compiled.index
        numbers = sorted((index[number] for number in counts if number in by_parent), key=lambda item: int(level[item]))
        items = (self.compiled.items[item] for item in numbers)
        return {
            item.part_number: counts[item.part_number]
            for item in items
            if item.part_number == pump or (item.kind == "assembly" and item.source not in PACKED_SOURCES)
        }

    @property
    def fits(self) -> tuple[KitFit, ...]:
        """All kits with what they fit, in the order of the assemblies."""
        return self.compiled.fits

    def held(self, line: int) -> HeldLine:
        """One line by its number in the compiled catalog.

        Parameters
        ----------
        line : its number in the structure
        """
        return HeldLine(self.compiled.lines[line], int(self.compiled.quantity[line]), line)

    @cached_property
    def never_asked(self) -> tuple[NeverAsked, ...]:
        """What stands in the lists and no scope leads to."""
        return never_asked(self.compiled)

    @cached_property
    def _above(self) -> dict[int, list[int]]:
        """The numbers of the lines whose child each item is."""
        found: dict[int, list[int]] = defaultdict(list)
        for line, child in enumerate(self.compiled.child.tolist()):
            found[child].append(line)
        return dict(found)

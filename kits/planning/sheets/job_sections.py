"""The sections that a job opens, in assembly order: what each holds, how many, and what happens to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bom.demand.explosion import Recipe
from bom.demand.requirements import covered_by_kits
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.planning.lists.plan_reading import PlanReading
from kits.planning.sheets.strip_report import StripSheet, found_says
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


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where the walk stands: an assembly, how many there are and how that comes about, and whose kit serves it.

    ``inside`` are the assemblies down to it, the section first.
    """

    item: int
    inside: tuple[int, ...]
    count: int
    factors: tuple[str, ...]
    kit_root: int
    depth: int


class JobWalk:
    """The walk through one job's scope."""

    def __init__(self, reading: PlanReading, asker: int) -> None:
        demand = reading.plan.demand
        self.reading, self.structure, self.conditions = reading, reading.structure, demand.conditions
        self.number = reading.askers[asker].recipe
        self.recipe: Recipe = demand.explosion.recipes[self.number]
        self.covered = covered_by_kits(demand.explosion, self.number)
        self.named = demand.named.get(reading.askers[asker].name)
        self.kits = self._kits()
        self.spots = tuple(self._spots())

    def _kits(self) -> dict[int, list[tuple[int, set[int]]]]:
        """By covered assembly: its kits, each with the items that it brings for sure needs."""
        rows = self.reading.plan.demand.requirements.kits
        found: dict[int, list[tuple[int, set[int]]]] = {}
        for row in (rows.recipe == self.number).nonzero()[0].tolist():
            parts = ((rows.part_row == row) & (rows.covered > 0)).nonzero()[0]
            brings = {int(rows.part_item[place]) for place in parts}
            found.setdefault(int(rows.assembly[row]), []).append((int(rows.kit[row]), brings))
        return found

    def _spots(self) -> Iterator[_Spot]:
        pumps = self.recipe.quantity
        for section in self.structure.scopes.get((self.recipe.pump, self.recipe.scope), ()):
            factors = (f"{section.how_many} {section.section}", *([f"{pumps} pumps"] if pumps > 1 else []))
            item = self.structure.index[section.section]
            yield from self._below(_Spot(item, (item,), section.how_many * pumps, factors, -1, 0))

    def _below(self, spot: _Spot) -> Iterator[_Spot]:
        root = spot.item if spot.kit_root < 0 and spot.item in self.covered else spot.kit_root
        spot = _Spot(spot.item, spot.inside, spot.count, spot.factors, root, spot.depth)
        yield spot
        for line in self.lines_of(spot.item):
            held = self.structure.lines[line]
            if held.at_rebuild == "open":
                times = int(self.structure.quantity[line]) // ONE
                factors = (f"{times} {held.child} per {held.parent}", *spot.factors)
                child = int(self.structure.child[line])
                yield from self._below(
                    _Spot(child, (*spot.inside, child), spot.count * times, factors, root, spot.depth + 1)
                )

    def lines_of(self, item: int) -> Iterator[int]:
        """The lines of an assembly that this job meets, in assembly order."""
        return (line for line in self.structure.lines_of(item) if self.conditions.meets(line, self.number))

    @property
    def opened(self) -> dict[int, int]:
        """How many of each assembly are opened, by item number."""
        found: dict[int, int] = {}
        for spot in self.spots:
            found[spot.item] = found.get(spot.item, 0) + spot.count
        return found

    @property
    def items(self) -> set[int]:
        """Every item that the walk passes."""
        named = {spot.item for spot in self.spots} | {kit for kits in self.kits.values() for kit, _ in kits}
        return named | {int(self.structure.child[line]) for spot in self.spots for line in self.lines_of(spot.item)}

    def assemblies(
        self, names: Mapping[str, ItemName], notes: LineNotes, strip: StripSheet
    ) -> tuple[OpenedAssembly, ...]:
        """Every opened assembly with its lines."""
        return tuple(self._assembly(spot, names, notes, strip) for spot in self.spots)

    def _assembly(
        self, spot: _Spot, names: Mapping[str, ItemName], notes: LineNotes, strip: StripSheet
    ) -> OpenedAssembly:
        number = self.reading.part_number(spot.item)
        own_kits = self.kits.get(spot.item, []) if spot.kit_root == spot.item else []
        return OpenedAssembly(
            part_number=number,
            what=names[number].what,
            depth=spot.depth,
            count=spot.count,
            says=" × ".join(spot.factors) if len(spot.factors) > 1 else "",
            kit=", ".join(self.reading.part_number(kit) for kit, _ in own_kits),
            lines=tuple(
                self._line(line, spot, names, notes, strip)
                for line in self.lines_of(spot.item)
                if self.structure.lines[line].at_rebuild != "open"
            ),
        )

    def _line(
        self, line: int, spot: _Spot, names: Mapping[str, ItemName], notes: LineNotes, strip: StripSheet
    ) -> SectionLine:
        held, child = self.structure.lines[line], int(self.structure.child[line])
        name = names[held.child]
        one = int(self.structure.quantity[line])
        kits = [self.reading.part_number(kit) for kit, brings in self.kits.get(spot.kit_root, ()) if child in brings]
        return SectionLine(
            part_number=name.part_number,
            what=name.what,
            leads_to=name.leads_to,
            position=held.position,
            says=" × ".join((f"{name.amount(one).text} per {held.parent}", *spot.factors)),
            total=name.amount(one * spot.count),
            at_rebuild=found_says(strip.by_spot.get((line, spot.inside), ())) or self._at_rebuild(line, spot),
            kit=", ".join(kits) if held.at_rebuild == "renew" else "",
            note=line_note(notes, held),
        )

    def _at_rebuild(self, line: int, spot: _Spot) -> str:
        held = self.structure.lines[line]
        bench = ", from the bench" if self.structure.bench[self.structure.child[line]] else ""
        if held.at_rebuild == "renew":
            return f"renewed{bench}"
        if held.at_rebuild != "inspect":
            return GOES_BACK
        finding = self.named.reason(spot.inside, int(self.structure.child[line])) if self.named else None
        if finding is not None:
            return f"renewed, because of finding '{finding}'{bench}"
        chance = self.reading.plan.demand.rates.chance(self.structure, line)
        rate = "no rate known" if chance is None else f"{round(float(chance) * 100, 1):g} in 100 renewed"
        return f"looked at, {rate}{bench}"

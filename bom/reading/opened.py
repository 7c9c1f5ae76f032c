"""What one job opens: every assembly on every way down, its lines, the kits that serve it, and what is looked at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from bom.demand.positions import fold_where, positions_of
from bom.demand.strip_report import places_of
from bom.plan import Plan
from bom.reading.kits import KitOfJob
from bom.reading.lists import HeldLine, Lists
from bom.values import ONE, ScopeSection


@dataclass(frozen=True, slots=True)
class JobLine:
    """One line that the job meets; ``kits`` bring its part for sure needs.

    Of a line that is looked at, ``finding`` is the named finding that renews it, if one does, and ``chance`` the chance
    that one position is renewed, None where nothing is known.
    """

    held: HeldLine
    kits: tuple[str, ...]
    finding: str | None
    chance: Fraction | None

    @property
    def is_renewed(self) -> bool:
        """Whether its part is always renewed."""
        return self.held.line.at_rebuild == "renew"


@dataclass(frozen=True, slots=True)
class JobAssembly:
    """An assembly on one way down, ``count`` of it in all ``pumps`` of the job; ``depth`` 0 is a section of the scope.

    ``inside`` are the assemblies down to it, the section first; ``steps`` the lines down to it, the nearest first.
    ``kits`` are set against it.
    """

    part_number: str
    inside: tuple[str, ...]
    section: ScopeSection
    pumps: int
    steps: tuple[HeldLine, ...]
    count: int
    depth: int
    kits: tuple[str, ...]
    lines: tuple[JobLine, ...]


@dataclass(frozen=True, slots=True)
class Inspected:
    """One inspected position: ``turn`` is that of its line, ``inside`` are the assemblies around it.

    ``because`` is the named finding that renews it, empty if none does; ``with_group`` says that its group pulls it
    along. ``others`` are the places, among the positions of its job, of those that stand or fall together with it.
    """

    where: str
    part_number: str
    turn: int
    inside: tuple[str, ...]
    because: str
    with_group: bool
    others: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Inspections:
    """The inspected positions of a job in the order of its sections.

    ``places`` has the place, among them, of each position that a strip report may name.
    """

    positions: tuple[Inspected, ...]
    places: Mapping[tuple[str, str], int]

    def place_of(self, where: str, part_number: str) -> int | None:
        """The place of the position that a strip report means; None where the job has none such.

        Parameters
        ----------
        where : the place as a strip report writes it
        part_number : part number of an item of the catalog
        """
        return self.places.get((fold_where(where), part_number))


@dataclass(frozen=True, slots=True)
class _Spot:
    item: int
    inside: tuple[int, ...]
    steps: tuple[int, ...]
    count: int
    kit_root: int


def opened_by(plan: Plan, turn: int, lists: Lists, kits: tuple[KitOfJob, ...]) -> Iterator[JobAssembly]:
    """Walk down the scope of one job, each assembly where it stands.

    Parameters
    ----------
    plan : the finished plan
    turn : place of the job or other need in the order of serving
    lists : of its catalog
    kits : those of the job
    """
    walk = _Walk(plan, turn, kits)
    for section in plan.demand.structure.scopes.get((walk.recipe.pump, walk.recipe.scope), ()):
        for spot in walk.below(section):
            yield JobAssembly(
                part_number=walk.name(spot.item),
                inside=tuple(walk.name(item) for item in spot.inside),
                section=section,
                pumps=walk.recipe.quantity,
                steps=tuple(lists.held(line) for line in spot.steps),
                count=spot.count,
                depth=len(spot.steps),
                kits=tuple(kit for kit, _ in walk.kits.get(spot.item, ())) if spot.kit_root == spot.item else (),
                lines=tuple(walk.line(lists.held(line), spot) for line in walk.lines_of(spot.item)),
            )


class _Walk:
    """The way of one job through the compiled lists."""

    def __init__(self, plan: Plan, turn: int, kits: tuple[KitOfJob, ...]) -> None:
        demand, asker = plan.demand, plan.demand.askers[turn]
        self.demand, self.structure, self.number = demand, demand.structure, asker.recipe
        self.recipe = demand.explosion.recipes[self.number]
        self.covered = demand.explosion.covered_in(self.number)
        self.named = demand.named.get(asker.name)
        self.kits: dict[int, list[tuple[str, frozenset[str]]]] = {}
        for kit in kits:
            brings = frozenset(part.part_number for part in kit.parts if part.covered > 0)
            self.kits.setdefault(self.structure.index[kit.assembly], []).append((kit.kit, brings))

    def name(self, item: int) -> str:
        """The part number of an item."""
        return self.structure.items[item].part_number

    def lines_of(self, item: int) -> Iterator[int]:
        """The lines of an assembly that this job meets, in assembly order."""
        conditions = self.demand.conditions
        return (line for line in self.structure.lines_of(item) if conditions.meets(line, self.number))

    def below(self, section: ScopeSection) -> Iterator[_Spot]:
        """Every assembly that is opened from one section on, the section first."""
        item = self.structure.index[section.section]
        yield from self._below(_Spot(item, (item,), (), section.how_many * self.recipe.quantity, -1))

    def _below(self, spot: _Spot) -> Iterator[_Spot]:
        if spot.kit_root < 0 and spot.item in self.covered:
            spot = replace(spot, kit_root=spot.item)
        yield spot
        for line in self.lines_of(spot.item):
            if self.structure.lines[line].at_rebuild == "open":
                child, times = int(self.structure.child[line]), int(self.structure.quantity[line]) // ONE
                steps, inside = (line, *spot.steps), (*spot.inside, child)
                yield from self._below(_Spot(child, inside, steps, spot.count * times, spot.kit_root))

    def line(self, held: HeldLine, spot: _Spot) -> JobLine:
        """One line of an opened assembly."""
        kits = tuple(kit for kit, brings in self.kits.get(spot.kit_root, ()) if held.child in brings)
        if held.line.at_rebuild != "inspect":
            return JobLine(held, kits, None, None)
        child = int(self.structure.child[held.turn])
        finding = self.named.reason(spot.inside, child) if self.named else None
        return JobLine(held, kits, finding, self.demand.rates.chance(self.structure, held.turn))


def inspections_of(plan: Plan, turn: int) -> Inspections:
    """What one job looks at, and what of it is renewed whatever is found on it.

    Parameters
    ----------
    plan : the finished plan
    turn : place of the job or other need in the order of serving
    """
    demand, asker = plan.demand, plan.demand.askers[turn]
    structure, recipe = demand.structure, demand.explosion.recipes[asker.recipe]
    covered = demand.explosion.covered_in(asker.recipe)
    positions = positions_of(structure, demand.conditions, asker.recipe, recipe, covered)
    report = demand.reports.get(asker.name)
    because = {one.where: why for one, why in (*report.because, *report.along)} if report else {}
    pulled = {one.where for one in report.with_group} if report else set()
    groups: dict[tuple[object, ...], list[int]] = {}
    for place, one in enumerate(positions):
        if one.group is not None:
            groups.setdefault(one.group, []).append(place)
    return Inspections(
        positions=tuple(
            Inspected(
                where=one.where,
                part_number=structure.lines[one.line].child,
                turn=one.line,
                inside=tuple(structure.items[item].part_number for item in one.inside),
                because=because.get(one.where, ""),
                with_group=one.where in pulled,
                others=tuple(other for other in groups.get(one.group or (), ()) if other != place),
            )
            for place, one in enumerate(positions)
        ),
        places=places_of(structure, positions, recipe.quantity),
    )

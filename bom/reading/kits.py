"""The kits of a job set against the assemblies that they go into."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from bom.plan import Plan


@dataclass(frozen=True, slots=True)
class KitPart:
    """One part of a kit against what its assemblies need, in millionths.

    ``covered`` of it the kits bring and is needed, ``short`` is needed besides, ``spare`` is for what is looked at,
    ``surplus`` is left over.
    """

    part_number: str
    covered: int
    short: int
    spare: int
    surplus: int


@dataclass(frozen=True, slots=True)
class KitOfJob:
    """``count`` kits that one job takes for the assemblies of one number."""

    kit: str
    assembly: str
    count: int
    parts: tuple[KitPart, ...]


class KitTable:
    """The kits of each recipe of a plan, made as they are asked for."""

    def __init__(self, plan: Plan) -> None:
        self._items, self._rows = plan.demand.structure.items, plan.demand.requirements.kits
        self._of_recipe: dict[int, list[int]] = defaultdict(list)
        for row, recipe in enumerate(self._rows.recipe.tolist()):
            self._of_recipe[recipe].append(row)
        self._parts: dict[int, list[int]] = defaultdict(list)
        for place, row in enumerate(self._rows.part_row.tolist()):
            self._parts[row].append(place)
        self._read: dict[int, tuple[KitOfJob, ...]] = {}

    def of_recipe(self, recipe: int) -> tuple[KitOfJob, ...]:
        """The kits of one recipe, in the order of the plan.

        Parameters
        ----------
        recipe : its number
        """
        if recipe not in self._read:
            self._read[recipe] = tuple(self._kit(row) for row in self._of_recipe.get(recipe, ()))
        return self._read[recipe]

    def _kit(self, row: int) -> KitOfJob:
        rows = self._rows
        return KitOfJob(
            kit=self._items[rows.kit[row]].part_number,
            assembly=self._items[rows.assembly[row]].part_number,
            count=int(rows.count[row]),
            parts=tuple(self._part(place) for place in self._parts.get(row, ())),
        )

    def _part(self, place: int) -> KitPart:
        rows = self._rows
        return KitPart(
            part_number=self._items[rows.part_item[place]].part_number,
            covered=int(rows.covered[place]),
            short=int(rows.short[place]),
            spare=int(rows.spare[place]),
            surplus=int(rows.surplus[place]),
        )

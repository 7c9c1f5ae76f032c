"""The kits of some jobs against the assemblies they go into: in the kit, not in the kit, left over, spare."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import Asker
from kits.planning.lists.plan_reading import PlanReading
from kits.planning.words.item_names import ItemName


@dataclass(frozen=True, slots=True)
class SomeParts:
    """An amount of one part in a list such as what a kit leaves over."""

    part_number: str
    what: str
    leads_to: str
    amount: Amount


@dataclass(frozen=True, slots=True)
class KitUse:
    """One kit for one assembly over some jobs."""

    kit: str
    what: str
    fits: str
    count: int
    jobs: tuple[Asker, ...]
    covered: tuple[SomeParts, ...]
    lacking: tuple[SomeParts, ...]
    left_over: tuple[SomeParts, ...]
    spare: tuple[SomeParts, ...]


class KitTotals:
    """The kits of some jobs, added up by kit and assembly, as item numbers and millionths."""

    def __init__(self, reading: PlanReading, shown: Iterable[int]) -> None:
        self.reading = reading
        self.count: dict[tuple[int, int], int] = defaultdict(int)
        self.jobs: dict[tuple[int, int], list[int]] = defaultdict(list)
        self.parts: dict[tuple[int, int], dict[str, dict[int, int]]] = defaultdict(
            lambda: {name: defaultdict(int) for name in ("covered", "short", "spare", "surplus")}
        )
        kits = reading.plan.demand.requirements.kits
        by_recipe: dict[int, list[int]] = defaultdict(list)
        for asker in shown:
            by_recipe[reading.askers[asker].recipe].append(asker)
        mine = np.flatnonzero(np.isin(kits.recipe, list(by_recipe)))
        for row in mine.tolist():
            key, askers = (int(kits.kit[row]), int(kits.assembly[row])), by_recipe[int(kits.recipe[row])]
            self.count[key] += int(kits.count[row]) * len(askers)
            self.jobs[key] += askers
        for place in np.flatnonzero(np.isin(kits.part_row, mine)).tolist():
            row = int(kits.part_row[place])
            key, times = (int(kits.kit[row]), int(kits.assembly[row])), len(by_recipe[int(kits.recipe[row])])
            for column, held in self.parts[key].items():
                held[int(kits.part_item[place])] += int(getattr(kits, column)[place]) * times

    @property
    def items(self) -> set[int]:
        """Every kit, assembly and part that is named."""
        named = {item for key in self.count for item in key}
        return named | {item for held in self.parts.values() for parts in held.values() for item in parts}

    def rows(self, names: Mapping[str, ItemName]) -> tuple[KitUse, ...]:
        """One row for each kit and assembly: those that lack something first."""
        made = [self.row(key, names) for key in self.count]
        return tuple(sorted(made, key=lambda use: (not use.lacking, not use.left_over, use.kit, use.fits)))

    def row(self, key: tuple[int, int], names: Mapping[str, ItemName]) -> KitUse:
        """One kit for one assembly."""
        kit, fits = (self.reading.part_number(item) for item in key)
        return KitUse(
            kit=kit,
            what=names[kit].what,
            fits=fits,
            count=self.count[key],
            jobs=tuple(Asker(name, True) for name in sorted(self.reading.askers[n].name for n in self.jobs[key])),
            covered=self.some(key, "covered", names),
            lacking=self.some(key, "short", names),
            left_over=self.some(key, "surplus", names),
            spare=self.some(key, "spare", names),
        )

    def some(self, key: tuple[int, int], column: str, names: Mapping[str, ItemName]) -> tuple[SomeParts, ...]:
        """The parts of one kind of residue, by part number."""
        named = ((names[self.reading.part_number(item)], q) for item, q in self.parts[key][column].items() if q)
        return tuple(
            SomeParts(name.part_number, name.what, name.leads_to, name.amount(quantity))
            for name, quantity in sorted(named, key=lambda pair: pair[0].part_number)
        )

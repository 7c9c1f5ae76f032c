"""The kits of some jobs against the assemblies they go into: in the kit, not in the kit, left over, spare."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bom.reading import Asker, Reading
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import ForWhom
from kits.planning.words.item_names import ItemName


@dataclass(frozen=True, slots=True)
class SomeParts:
    """An amount of one part in a list such as what a kit leaves over."""

    part_number: str
    what: str
    leads_to: str
    amount: Amount


@dataclass(frozen=True, slots=True)
class KitUseRow:
    """One kit for one assembly over some jobs."""

    kit: str
    what: str
    fits: str
    count: int
    jobs: tuple[ForWhom, ...]
    covered: tuple[SomeParts, ...]
    lacking: tuple[SomeParts, ...]
    left_over: tuple[SomeParts, ...]
    spare: tuple[SomeParts, ...]


class KitTotals:
    """The kits of some jobs, added up by kit and assembly, in millionths by part."""

    def __init__(self, reading: Reading, shown: Iterable[Asker]) -> None:
        self.count: dict[tuple[str, str], int] = defaultdict(int)
        self.jobs: dict[tuple[str, str], list[str]] = defaultdict(list)
        self.parts: dict[tuple[str, str], dict[str, dict[str, int]]] = defaultdict(
            lambda: {name: defaultdict(int) for name in ("covered", "short", "spare", "surplus")}
        )
        for asker in shown:
            for kit in reading.kits_of(asker):
                key = kit.kit, kit.assembly
                self.count[key] += kit.count
                self.jobs[key].append(asker.name)
                for part in kit.parts:
                    for residue, held in self.parts[key].items():
                        held[part.part_number] += getattr(part, residue)

    @property
    def part_numbers(self) -> set[str]:
        """Every kit, assembly and part that is named."""
        named = {number for key in self.count for number in key}
        return named | {number for held in self.parts.values() for parts in held.values() for number in parts}

    def rows(self, names: Mapping[str, ItemName]) -> tuple[KitUseRow, ...]:
        """One row for each kit and assembly: those that lack something first."""
        made = [self.row(key, names) for key in self.count]
        return tuple(sorted(made, key=lambda use: (not use.lacking, not use.left_over, use.kit, use.fits)))

    def row(self, key: tuple[str, str], names: Mapping[str, ItemName]) -> KitUseRow:
        """One kit for one assembly."""
        kit, fits = key
        return KitUseRow(
            kit=kit,
            what=names[kit].what,
            fits=fits,
            count=self.count[key],
            jobs=tuple(ForWhom(name, is_job=True) for name in sorted(self.jobs[key])),
            covered=self.some(key, "covered", names),
            lacking=self.some(key, "short", names),
            left_over=self.some(key, "surplus", names),
            spare=self.some(key, "spare", names),
        )

    def some(self, key: tuple[str, str], residue: str, names: Mapping[str, ItemName]) -> tuple[SomeParts, ...]:
        """The parts of one kind of residue, by part number."""
        named = ((names[number], q) for number, q in self.parts[key][residue].items() if q)
        return tuple(
            SomeParts(name.part_number, name.what, name.leads_to, name.amount(quantity))
            for name, quantity in sorted(named, key=lambda pair: pair[0].part_number)
        )

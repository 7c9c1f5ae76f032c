"""What packing leaves on the shelf: pieces that the plan takes for sure needs of jobs built up to the same day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from kits.catalog.models import Item
from kits.planning.queries import reading_of
from kits.stock.packed_kits.draws import PieceName


@dataclass(frozen=True, slots=True)
class KeptFor:
    """Millionths of one part that a job or another need is sure to take from the shelf."""

    name: str
    build_on: date
    quantity: int


@dataclass(frozen=True, slots=True)
class KeptForOthers:
    """What is kept: by account of the shelf, for those who pack, and by part with those who wait for it, to be read."""

    accounts: Mapping[PieceName, int]
    needs: Mapping[str, tuple[KeptFor, ...]]


def kept_for_others(plan: Plan, kit: Item, on: date) -> KeptForOthers:
    """What the plan takes from the shelf for sure needs built up to ``on``, but not to pack this very kit.

    Kits of one kind stand in for each other, so what goes into them is free for whoever packs the first of them.
    """
    accounts: dict[PieceName, int] = defaultdict(int)
    needs: dict[str, dict[tuple[date, str], int]] = defaultdict(lambda: defaultdict(int))
    for row in reading_of(plan).shelf:
        for take in row.takes:
            if take.wear or take.build_on > on or take.way == kit.part_number:
                continue
            lot, name = row.lot, take.asker.name if take.asker else ""
            accounts[lot.part_number, lot.lot, lot.place, lot.packet] += take.quantity
            needs[lot.part_number][take.build_on, name] += take.quantity
    return KeptForOthers(
        accounts=dict(accounts),
        needs={
            part: tuple(KeptFor(name, day, quantity) for (day, name), quantity in sorted(found.items()))
            for part, found in needs.items()
        },
    )

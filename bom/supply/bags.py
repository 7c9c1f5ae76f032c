"""Kits as they are in the bag: what a kit on the shelf is without, against what its list asks for today."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bom.demand.kit_cover import inside_one
from bom.demand.requirements import Demand
from bom.structure.arrays import Structure
from bom.structure.tables import Ints
from bom.supply.matching import Draws, Pieces
from bom.supply.supplies import Supplies
from bom.values import ONE, Lot


def times(kits: Ints, quantity: Ints) -> Ints:
    """Millionths of kits times millionths in one kit, rounded up to the next millionth.

    Parameters
    ----------
    kits : millionths of kits
    quantity : millionths in one kit, element by element
    """
    whole, rest = kits // ONE, kits % ONE
    return whole * quantity + -(-(rest * quantity) // ONE)


def fills_a_bag(pieces: Pieces, piece: int) -> bool:
    """Whether a piece is what a kit from the shelf is without, and not what packing asks for.

    Parameters
    ----------
    pieces : what is asked for
    piece : its number
    """
    above, way = int(pieces.parent[piece]), int(pieces.way[piece])
    return way >= 0 and (above < 0 or int(pieces.item[above]) != way)


Recorded = Mapping[int, Mapping[int, int]]
"""What kits really hold: millionths by item, by the place of their lot among the lots of the shop."""


def recorded_in(structure: Structure, lots: Sequence[Lot]) -> Recorded:
    """What is recorded of the kits among the lots.

    Parameters
    ----------
    structure : the compiled catalog
    lots : the shop's lots
    """
    index = structure.index
    return {
        place: {index[part]: quantity for part, quantity in lot.contents if part in index}
        for place, lot in enumerate(lots)
        if lot.contents is not None
    }


class Bags:
    """The kits on the shelf of which it is recorded what they hold."""

    def __init__(self, demand: Demand, recorded: Recorded, supplies: Supplies) -> None:
        self.demand, self.recorded, self.supplies = demand, recorded, supplies
        self._lists: dict[tuple[int, int], dict[int, int]] = {}

    def lacking(self, pieces: Pieces, numbers: Ints, draws: Draws) -> tuple[Pieces, ...]:
        """What the kits drawn from lots are without: asked for by the same job, on the same day, beside the kit.

        What a bag holds beyond its list serves nobody. ``numbers`` run on from the first.

        Parameters
        ----------
        pieces : what is asked for
        numbers : of the pieces in the plan
        draws : what serves the pieces
        """
        if not self.recorded:
            return ()
        place = draws.own_lot.copy()
        from_lots = draws.supply >= 0
        place[from_lots] = self.supplies.lot_place[draws.supply[from_lots]]
        asked: dict[tuple[int, int], int] = defaultdict(int)
        from_bags = np.flatnonzero(np.isin(place, list(self.recorded)))
        columns = (draws.piece[from_bags] - numbers[0], place[from_bags], draws.quantity[from_bags])
        for row, lot, quantity in zip(*(column.tolist() for column in columns), strict=True):
            for part, each in self.without(int(pieces.item[row]), int(pieces.condition[row]), lot).items():
                asked[row, part] += int(times(np.array([quantity]), np.array([each]))[0])
        if not asked:
            return ()
        row, item, wanted = np.array([(*key, quantity) for key, quantity in sorted(asked.items())], np.int64).T
        of_kit = pieces.take(row)
        return (replace(of_kit, item=item, quantity=wanted, way=of_kit.item),)

    def without(self, kit: int, condition: int, lot: int) -> dict[int, int]:
        """What one kit of a recorded lot is without, of what its list asks under a row of the conditions.

        Parameters
        ----------
        kit : its item number
        condition : row of the conditions that the contents have to meet
        lot : place among the shop's lots
        """
        key = kit, condition
        if key not in self._lists:
            structure = self.demand.structure
            self._lists[key] = inside_one(structure, self.demand.conditions, kit, condition)
        there = self.recorded[lot]
        return {part: each - has for part, each in self._lists[key].items() if each > (has := there.get(part, 0))}

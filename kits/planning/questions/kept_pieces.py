"""What packing leaves on the shelf: pieces that the plan takes for sure needs of jobs built up to the same day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.plan import Plan
from bom.structure.arrays import as_date, day_number
from bom.supply.matching import NOBODY
from kits.catalog.models import Item
from kits.stock.packed_kits.draws import PieceName


@dataclass(frozen=True, slots=True)
class KeptFor:
    """Millionths of one part that a job or another need is sure to take from the shelf."""

    name: str
    build_on: date
    quantity: int


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept: by account of the shelf, for those who pack, and by part with those who wait for it, to be read."""

    accounts: Mapping[PieceName, int]
    needs: Mapping[str, tuple[KeptFor, ...]]


def kept_for_others(plan: Plan, kit: Item, on: date) -> Kept:
    """What the plan takes from the shelf for sure needs built up to ``on``, but not to pack this very kit.

    Kits of one kind stand in for each other, so what goes into them is free for whoever packs the first of them.
    """
    own_way = plan.demand.structure.index[kit.part_number]
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    rows = np.flatnonzero(draws.supply >= 0)
    rows = rows[supplies.lot_place[draws.supply[rows]] >= 0]
    of = draws.piece[rows]
    rows = rows[~pieces.wear[of] & (pieces.build_day[of] <= day_number(on)) & (pieces.way[of] != own_way)]
    accounts: dict[PieceName, int] = defaultdict(int)
    needs: dict[str, dict[tuple[date, str], int]] = defaultdict(lambda: defaultdict(int))
    for row in rows.tolist():
        piece, lot = int(draws.piece[row]), plan.shop.lots[int(supplies.lot_place[draws.supply[row]])]
        asker = int(pieces.job[piece])
        name = plan.demand.askers[asker].name if asker != NOBODY else ""
        quantity = int(draws.quantity[row])
        accounts[lot.part_number, lot.lot, lot.place, lot.packet] += quantity
        needs[lot.part_number][as_date(int(pieces.build_day[piece])), name] += quantity
    return Kept(
        accounts=dict(accounts),
        needs={
            part: tuple(KeptFor(name, day, quantity) for (day, name), quantity in sorted(found.items()))
            for part, found in needs.items()
        },
    )

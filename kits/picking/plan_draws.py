"""What the plan gives each job from the shelf, and what it has to wait for: the draws of the plan, read for picking."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from bom.plan import Plan
from bom.supply.matching import OWN, PACKED, UNCOVERED, SetAside, gather_supplies
from kits.picking.words import NoteKind

IN_BAG = -1
"""The lot place of what lies in the job's own bag already."""


@dataclass(frozen=True, slots=True)
class Give:
    """Pieces from one lot for one job: numbers of the job, the item and the lot in the plan, millionths.

    ``set_aside`` pieces were reserved for the job before.
    """

    asker: int
    item: int
    lot_place: int
    quantity: int
    set_aside: bool


@dataclass(frozen=True, slots=True)
class Lack:
    """Pieces that do not lie on the shelf for the job; ``order_place`` is the order line that brings them, or -1."""

    asker: int
    item: int
    quantity: int
    kind: NoteKind
    order_place: int = -1


def read_draws(plan: Plan, askers: Collection[int]) -> tuple[list[Give], list[Lack]]:
    """What some jobs are given from lots, and what of theirs is not on the shelf.

    What packing a kit asks for is the packing bench's: only the kit itself stands here, as one that has to be packed.
    """
    gives: list[Give] = []
    lacks: list[Lack] = []
    own = _OwnDraws(plan)
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    mine = np.isin(pieces.job, np.fromiter(askers, np.int64)) & ~pieces.wear
    for row in np.flatnonzero(mine[draws.piece]).tolist():
        piece, supply, quantity = int(draws.piece[row]), int(draws.supply[row]), int(draws.quantity[row])
        asker, item, direct = int(pieces.job[piece]), int(pieces.item[piece]), pieces.parent[piece] < 0
        if supply == OWN:
            lot_place = own.take(asker, item, int(pieces.build_day[piece]), quantity)
            if direct and lot_place != IN_BAG:
                gives.append(Give(asker, item, lot_place, quantity, set_aside=True))
            elif direct:
                lacks.append(Lack(asker, item, quantity, NoteKind.IN_BAG))
        elif not direct:
            continue
        elif supply in (PACKED, UNCOVERED):
            lacks.append(Lack(asker, item, quantity, NoteKind.PACK if supply == PACKED else NoteKind.MISSING))
        elif supplies.lot_place[supply] >= 0:
            gives.append(Give(asker, item, int(supplies.lot_place[supply]), quantity, set_aside=False))
        else:
            lacks.append(Lack(asker, item, quantity, NoteKind.COMING, int(supplies.order_place[supply])))
    return gives, lacks


@dataclass(frozen=True, slots=True)
class Held:
    """What open lines of running rounds hold for a job already: millionths of an item, from one lot."""

    job: str
    part_number: str
    lot: str
    quantity: int


def less_what_is_held(plan: Plan, gives: list[Give], held: Collection[Held]) -> tuple[list[Give], list[Lack]]:
    """Take off what is on a round already, from the same lot first, and say what was taken off."""
    left: dict[tuple[str, str], int] = defaultdict(int)
    lots: set[tuple[str, str, str]] = set()
    for one in held:
        left[one.job, one.part_number] += one.quantity
        lots.add((one.job, one.part_number, one.lot))
    still: list[Give] = []
    taken: list[Lack] = []
    for give in sorted(gives, key=lambda give: _lot_key(plan, give) not in lots):
        key = _lot_key(plan, give)[:2]
        off = min(left[key], give.quantity)
        left[key] -= off
        if off:
            taken.append(Lack(give.asker, give.item, off, NoteKind.OTHER_ROUND))
        if off < give.quantity:
            still.append(Give(give.asker, give.item, give.lot_place, give.quantity - off, give.set_aside))
    return still, taken


def _lot_key(plan: Plan, give: Give) -> tuple[str, str, str]:
    lot = plan.shop.lots[give.lot_place]
    return plan.demand.askers[give.asker].name, lot.part_number, lot.lot


class _OwnDraws:
    """Which lot each draw on a job's own pieces came from: the serving played again in its order.

    The plan says only that a piece was set aside for its job. The pieces set aside are taken one after the other, those
    that die before the build day passed over, so that playing it again gives the lots.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._left: dict[tuple[int, int], list[SetAside]] | None = None

    def take(self, asker: int, item: int, build_day: int, quantity: int) -> int:
        """The place among the lots of the next draw, or ``IN_BAG``."""
        if self._left is None:
            self._left = _as_set_aside(self._plan)
        for aside in _living(self._left[asker, item], build_day):
            aside.left -= quantity
            return aside.lot_place
        raise LookupError(f"nothing was set aside for job {asker} of item {item}")


def _living(asides: list[SetAside], build_day: int) -> Iterator[SetAside]:
    return (aside for aside in asides if aside.left > 0 and aside.last_day >= build_day)


def _as_set_aside(plan: Plan) -> dict[tuple[int, int], list[SetAside]]:
    numbers = {asker.name: number for number, asker in enumerate(plan.demand.askers) if asker.job}
    shop = plan.shop
    return gather_supplies(plan.demand.structure, plan.as_of, shop.lots, shop.orders, shop.issues, numbers).set_aside

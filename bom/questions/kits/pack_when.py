"""Pack when the orders come: kits on the purchase list that could be packed in time out of orders for their pieces.

The plan packs a kit that could be bought from what lies there, never from orders. This is shown beside it, each
proposal as if it were the only one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.demand.kit_cover import inside_one
from bom.plan import Plan
from bom.questions.finishing import free_after_sure
from bom.structure.arrays import as_date, day_number
from bom.supply.matching import UNCOVERED, may_go_to, who_fills
from bom.values import ONE


@dataclass(frozen=True, slots=True)
class OrderShare:
    """So much of one order line, in millionths, which comes on ``promised``."""

    order: str
    line: str
    part_number: str
    quantity: int
    promised: date


@dataclass(frozen=True, slots=True)
class PackWhen:
    """``count`` of ``kit``, which the plan buys for ``job`` (or another need), packed here once ``orders`` have come.

    The last of them comes on ``comes_on``; then the kits are packed by ``packed_on``, and are needed on ``need_on``.
    ``from_shelf`` are the pieces that lie there already: part number and millionths.
    """

    job: str
    kit: str
    count: int
    orders: tuple[OrderShare, ...]
    from_shelf: tuple[tuple[str, int], ...]
    comes_on: date
    packed_on: date
    need_on: date


def pack_when(plan: Plan) -> tuple[PackWhen, ...]:
    """The kits to buy that could be packed in time, by job and kit.

    A piece counts if no sure piece of the plan takes it: on a lot that lives to the build day, or on an order line that
    is promised in time; an overdue promise is none. Whole kits only, and as many as can be.

    Parameters
    ----------
    plan : the finished plan
    """
    structure, pieces, draws = plan.demand.structure, plan.netting.pieces, plan.netting.draws
    free = free_after_sure(plan)
    found: list[PackWhen] = []
    for row in np.flatnonzero((draws.supply == UNCOVERED) & ~pieces.wear[draws.piece]).tolist():
        piece = int(draws.piece[row])
        if structure.items[int(pieces.item[piece])].source == "pack_else_buy":
            found += _pack_when(plan, free, piece, int(draws.quantity[row]) // ONE)
    return tuple(sorted(found, key=lambda proposal: (proposal.job, proposal.kit)))


def _pack_when(plan: Plan, free: list[int], piece: int, wanted: int) -> Iterator[PackWhen]:
    """The proposal for the kits that one piece lacks, where there is one."""
    structure, pieces, calendar = plan.demand.structure, plan.netting.pieces, plan.calendar
    kit, lead = structure.items[int(pieces.item[piece])], structure.items[int(pieces.item[piece])].lead_days or 0
    need_on = as_date(int(pieces.need_day[piece]))
    inside = _inside(plan, piece)
    sources = {part: _sources(plan, free, piece, part, calendar.back(need_on, lead)) for part in inside}
    enough = [sum(free[row] for row in sources[part]) // each for part, each in inside.items()]
    count = min(wanted, *enough) if enough else 0
    shares = [
        (row, taken)
        for part in sorted(inside, key=structure.name_rank.__getitem__)
        for row, taken in _taken(sources[part], free, inside[part] * count)
    ]
    orders = tuple(share for row, taken in shares if (share := _of_order(plan, row, taken)))
    if orders:
        comes_on = max(share.promised for share in orders)
        yield PackWhen(
            job=plan.demand.askers[int(pieces.job[piece])].name,
            kit=kit.part_number,
            count=count,
            orders=orders,
            from_shelf=tuple(_from_shelf(plan, shares).items()),
            comes_on=comes_on,
            packed_on=calendar.forward(comes_on, lead),
            need_on=need_on,
        )


def _inside(plan: Plan, piece: int) -> dict[int, int]:
    """What packing one kit of a piece asks for, millionths by item."""
    structure, pieces = plan.demand.structure, plan.netting.pieces
    return inside_one(structure, plan.demand.conditions, int(pieces.item[piece]), int(pieces.condition[piece]))


def _sources(plan: Plan, free: list[int], piece: int, part: int, latest: date) -> list[int]:
    """The supplies of a part out of which the kits of a piece may be packed: lots first, then orders by their day."""
    supplies, pieces = plan.supplies, plan.netting.pieces
    taker = who_fills(supplies, plan.demand.askers[int(pieces.job[piece])].taker, int(pieces.item[piece]))

    def serves(row: int) -> bool:
        if supplies.order_place[row] >= 0:
            return not supplies.overdue[row] and bool(supplies.arrives[row] <= day_number(latest))
        return bool(supplies.last_day[row] >= pieces.build_day[piece]) and may_go_to(supplies, row, taker)

    return [row for row in range(int(supplies.first[part]), int(supplies.first[part + 1])) if free[row] and serves(row)]


def _taken(sources: list[int], free: list[int], wanted: int) -> Iterator[tuple[int, int]]:
    """What each source gives, the first ones first."""
    for row in sources:
        taken = min(wanted, free[row])
        wanted -= taken
        if taken:
            yield row, taken


def _of_order(plan: Plan, row: int, taken: int) -> OrderShare | None:
    place = int(plan.supplies.order_place[row])
    if place < 0:
        return None
    line = plan.shop.orders[place]
    return OrderShare(line.order, line.line, line.part_number, taken, line.promised)


def _from_shelf(plan: Plan, shares: list[tuple[int, int]]) -> dict[str, int]:
    found: dict[str, int] = defaultdict(int)
    for row, taken in shares:
        if plan.supplies.lot_place[row] >= 0:
            found[plan.demand.structure.items[int(plan.supplies.item[row])].part_number] += taken
    return dict(found)

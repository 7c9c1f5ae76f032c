"""What leans on a broken promise: which job takes how much of what from an order that should have come before today."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bom.plan import Plan


@dataclass(frozen=True, slots=True)
class Awaited:
    """What the sure pieces of one job, or other need, take of one item from an overdue order.

    ``job`` and ``item`` are numbers of the plan, ``quantity`` is in millionths, ``need_day`` the first day on which any
    of it is needed.
    """

    job: int
    order: str
    item: int
    quantity: int
    need_day: int


def awaited_from_overdue(plan: Plan) -> tuple[Awaited, ...]:
    """Return everything that is awaited from overdue orders, by job, order and item.

    Parameters
    ----------
    plan : the finished plan
    """
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    ordered = np.flatnonzero((draws.supply >= 0) & ~pieces.wear[draws.piece])
    found: dict[tuple[int, str, int], tuple[int, int]] = {}
    for row in ordered[supplies.overdue[draws.supply[ordered]]].tolist():
        piece, line = int(draws.piece[row]), plan.shop.orders[int(supplies.order_place[draws.supply[row]])]
        key, need = (int(pieces.job[piece]), line.order, int(pieces.item[piece])), int(pieces.need_day[piece])
        quantity, first = found.get(key, (0, need))
        found[key] = (quantity + int(draws.quantity[row]), min(first, need))
    return tuple(Awaited(*key, *found[key]) for key in sorted(found))

"""Who draws what from each order line that is still to come."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.plan import Plan
from bom.reading.askers import Asker
from bom.structure.arrays import as_date


@dataclass(frozen=True, slots=True)
class OrderDraw:
    """What one asker takes from one order line, in millionths; wear, which belongs to nobody, has no asker.

    ``need_on`` is the first day of need, ``late`` says that some of it comes after its day.
    """

    asker: Asker | None
    quantity: int
    need_on: date
    late: bool


def draws_of_orders(plan: Plan, askers: Sequence[Asker]) -> dict[tuple[str, str], tuple[OrderDraw, ...]]:
    """Return the draws of each order line by its order and line, askers in the order of serving, wear last.

    Parameters
    ----------
    plan : the finished plan
    askers : the jobs and other needs of the plan, in the order of serving
    """
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    rows = np.flatnonzero(draws.supply >= 0)
    rows = rows[supplies.order_place[draws.supply[rows]] >= 0]
    gathered: dict[tuple[int, int], list[int]] = defaultdict(list)
    for row in rows.tolist():
        piece = int(draws.piece[row])
        asker = len(askers) if pieces.wear[piece] else int(pieces.job[piece])
        gathered[int(supplies.order_place[draws.supply[row]]), asker].append(row)
    found: dict[tuple[str, str], list[OrderDraw]] = defaultdict(list)
    for (place, asker), drawn in sorted(gathered.items()):
        line = plan.shop.orders[place]
        found[line.order, line.line].append(
            OrderDraw(
                asker=askers[asker] if asker < len(askers) else None,
                quantity=int(draws.quantity[drawn].sum()),
                need_on=as_date(int(pieces.need_day[draws.piece[drawn]].min())),
                late=bool(plan.found.late_draw[drawn].any()),
            )
        )
    return {line: tuple(some) for line, some in found.items()}

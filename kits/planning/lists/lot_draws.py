"""What a plan takes from each lot on the shelf: how much, and for whom first."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from bom.plan import Plan
from bom.structure.arrays import as_date
from bom.supply.matching import NOBODY


@dataclass(slots=True)
class LotDraw:
    """What the plan takes from one row of the shelf, in millionths; ``first_on`` is the first day it is needed."""

    sure: int = 0
    wear: int = 0
    first_on: date | None = None
    jobs: set[str] = field(default_factory=set)

    @property
    def taken(self) -> int:
        """Everything that is taken, sure or for wear."""
        return self.sure + self.wear


def draws_of_lots(plan: Plan) -> dict[int, LotDraw]:
    """What is taken from each row of the shelf, by its place in the shop's list of lots; set-aside pieces left out."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    taken: dict[int, LotDraw] = defaultdict(LotDraw)
    rows = np.flatnonzero(draws.supply >= 0)
    rows = rows[supplies.lot_place[draws.supply[rows]] >= 0]
    for row in rows.tolist():
        piece = int(draws.piece[row])
        draw = taken[int(supplies.lot_place[draws.supply[row]])]
        if pieces.wear[piece]:
            draw.wear += int(draws.quantity[row])
        else:
            draw.sure += int(draws.quantity[row])
        need_on = as_date(int(pieces.need_day[piece]))
        draw.first_on = need_on if draw.first_on is None else min(draw.first_on, need_on)
        if pieces.job[piece] != NOBODY:
            draw.jobs.add(plan.demand.askers[int(pieces.job[piece])].name)
    return dict(taken)

"""What jobs lack and the shelf has all the same, because the plan gives it to others."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from bom.plan import Plan
from bom.supply.matching import OWN
from bom.values import Lot


@dataclass(frozen=True, slots=True)
class TakenFromOthers:
    """Millionths of one row of the shelf for one job; ``holders`` are those to whom the plan gives pieces of it.

    Planned wear holds pieces as well, and has no name.
    """

    job: str
    lot: Lot
    quantity: int
    holders: tuple[str, ...]


def take_from_others(plan: Plan, jobs: Collection[str]) -> tuple[TakenFromOthers, ...]:
    """Find pieces on the shelf for what some jobs lack there, in the order in which the plan serves them.

    What the plan gives these jobs, they keep; what is set aside for others is not taken, and nothing is packed.

    Parameters
    ----------
    plan : the finished plan
    jobs : names of jobs that ask for parts
    """
    pieces, draws, shelf = plan.netting.pieces, plan.netting.draws, plan.netting.shelf
    askers, wanted = plan.demand.askers, frozenset(jobs)
    chosen = np.array([asker.job is not None and asker.name in wanted for asker in askers], bool)
    drawn = np.flatnonzero(draws.supply >= 0)
    drawn = drawn[shelf.lot_place[draws.supply[drawn]] >= 0]
    by_chosen = (pieces.job[draws.piece[drawn]] >= 0) & chosen[pieces.job[draws.piece[drawn]]]
    left = shelf.left.copy()
    np.subtract.at(left, draws.supply[drawn[by_chosen]], draws.quantity[drawn[by_chosen]])
    holders: dict[int, set[str]] = defaultdict(set)
    for row in drawn[~by_chosen].tolist():
        asker = int(pieces.job[draws.piece[row]])
        if asker >= 0:
            holders[int(draws.supply[row])].add(askers[asker].name)
    served = np.zeros(pieces.size, np.int64)
    for rows in (drawn, np.flatnonzero(draws.supply == OWN)):
        np.add.at(served, draws.piece[rows], draws.quantity[rows])
    mine = np.flatnonzero((pieces.parent < 0) & ~pieces.wear & chosen[pieces.job] & (served < pieces.quantity))
    found = []
    for piece in mine[np.lexsort((pieces.item[mine], pieces.job[mine], pieces.need_day[mine]))].tolist():
        lacking, item, asker = (
            int(pieces.quantity[piece] - served[piece]),
            int(pieces.item[piece]),
            int(pieces.job[piece]),
        )
        for supply in range(int(shelf.first[item]), int(shelf.first[item + 1])):
            lot_place = int(shelf.lot_place[supply])
            lives = lot_place >= 0 and shelf.last_day[supply] >= pieces.build_day[piece]
            if not lives or shelf.owner[supply] not in ("", askers[asker].customer):
                continue
            taken = min(lacking, int(left[supply]))
            if taken:
                left[supply] -= taken
                lacking -= taken
                names = tuple(sorted(holders[supply]))
                found.append(TakenFromOthers(askers[asker].name, plan.shop.lots[lot_place], taken, names))
    return tuple(found)

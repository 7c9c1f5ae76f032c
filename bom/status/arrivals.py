"""When parts are here: the state and the day of arrival of each piece, contents before the kits packed from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bom.buying.leads import NEVER
from bom.demand.requirements import Demand
from bom.structure.calendar import ShopCalendar
from bom.structure.tables import Bools, Codes, Ints, distinct, freeze
from bom.supply.matching import PACKED, UNCOVERED, Pieces
from bom.supply.netting import Netting
from bom.supply.supplies import Supplies

FROM_LOTS, IN_TIME, LATE, MISSING = range(4)


@dataclass(frozen=True)
class Arrivals:
    """State and day of arrival of each piece (``NEVER`` when a lead time is unknown), and whether a draw comes late."""

    state: Codes
    day: Ints
    late_draw: Bools

    def __post_init__(self) -> None:
        freeze(self)


def arrivals(
    demand: Demand,
    supplies: Supplies,
    netting: Netting,
    calendar: ShopCalendar,
    as_of: int,
    bought_on: Mapping[int, int | None],
) -> Arrivals:
    """Work out when each piece is here, contents before the kits that are packed from them.

    Parameters
    ----------
    demand : what is asked for
    supplies : the shelf and the open orders
    netting : the pieces and what serves them
    calendar : the shop's working days
    as_of : day number of today
    bought_on : day on which a purchase of today would be here, for every item with uncovered pieces; None = unknown
    """
    pieces, draws = netting.pieces, netting.draws
    state, day, late = _of_draws(demand, supplies, netting, as_of, bought_on)
    lead = np.array([item.lead_days or 0 for item in demand.structure.items], np.int64)
    packed = distinct(draws.piece[draws.supply == PACKED])
    depth = depth_of(netting)[packed]
    for step in range(int(depth.max(initial=-1)), -1, -1):
        here = packed[depth == step]
        if here.size:
            day[here], state[here] = _when_packed(pieces, here, day, state, lead[pieces.item[here]], calendar)
    return Arrivals(state, day, late)


def _of_draws(
    demand: Demand, supplies: Supplies, netting: Netting, as_of: int, bought_on: Mapping[int, int | None]
) -> tuple[Codes, Ints, Bools]:
    """The state and day of each piece by its own draws, and which of these come late."""
    pieces, draws = netting.pieces, netting.draws
    day = np.full(pieces.size, as_of, np.int64)
    state = np.zeros(pieces.size, np.int8)
    ordered = draws.supply >= 0
    comes = np.full(draws.piece.size, as_of, np.int64)
    comes[ordered] = supplies.arrives[draws.supply[ordered]]
    bought = draws.supply == UNCOVERED
    fresh = np.full(len(demand.structure.items), NEVER, np.int64)
    fresh[list(bought_on)] = [NEVER if on is None else on for on in bought_on.values()]
    comes[bought] = fresh[pieces.item[draws.piece[bought]]]
    from_order = np.zeros(draws.piece.size, bool)
    from_order[ordered] = supplies.order_place[draws.supply[ordered]] >= 0
    late = from_order & (comes > pieces.need_day[draws.piece])
    state_of_draw = np.full(draws.piece.size, FROM_LOTS, np.int8)
    state_of_draw[from_order] = IN_TIME
    state_of_draw[late] = LATE
    state_of_draw[bought] = MISSING
    np.maximum.at(day, draws.piece, comes)
    np.maximum.at(state, draws.piece, state_of_draw)
    return state, day, late


def depth_of(netting: Netting) -> Ints:
    """How many kits or made assemblies stand above each piece.

    Parameters
    ----------
    netting : the pieces and what serves them
    """
    parent = netting.pieces.parent
    depth = np.zeros(parent.size, np.int64)
    inside = np.flatnonzero(parent >= 0)
    above = parent[inside]
    while inside.size:
        depth[inside] += 1
        above = parent[above]
        inside, above = inside[above >= 0], above[above >= 0]
    return depth


def _when_packed(
    pieces: Pieces, packed: Ints, day: Ints, state: Codes, lead: Ints, calendar: ShopCalendar
) -> tuple[Ints, Ints]:
    """The day and the state of packed pieces, from those of their contents and their own so far."""
    inside = np.flatnonzero(np.isin(pieces.parent, packed))
    place = np.searchsorted(packed, pieces.parent[inside])
    last, worst = np.zeros(packed.size, np.int64), np.zeros(packed.size, np.int8)
    np.maximum.at(last, place, day[inside])
    np.maximum.at(worst, place, state[inside])
    known = last < NEVER
    comes = np.full(packed.size, NEVER, np.int64)
    moved = calendar.forward_all(last[known].astype("datetime64[D]"), lead[known]).astype(np.int64)
    comes[known] = np.maximum(day[packed[known]], moved)
    own = np.where(worst == MISSING, MISSING, np.where(comes > pieces.need_day[packed], LATE, IN_TIME))
    return comes, np.maximum(state[packed], own)

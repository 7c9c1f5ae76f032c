"""From what serves each piece to what people ask: when parts are here, which jobs can be built, what holds them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bom.calendar import ShopCalendar
from bom.matching import NOBODY, PACKED, UNCOVERED, Supplies
from bom.netting import Netting
from bom.order_size import NEVER
from bom.requirements import Demand
from bom.structure import Bools, Ints

FROM_LOTS, IN_TIME, LATE, MISSING = range(4)
STATUS = ("ready", "waiting", "late", "short")


@dataclass(frozen=True)
class Arrivals:
    """State and day of arrival of each piece (``NEVER`` when a lead time is unknown), and whether a draw comes late."""

    state: Ints
    day: Ints
    late_draw: Bools


@dataclass(frozen=True, slots=True)
class JobAnswer:
    """What a job, or another need, is told. Days are day numbers; None when unknown or when nothing applies."""

    name: str
    status: str
    parts_on: int | None
    days_late: int | None
    blocking_item: int | None
    order_by: int | None
    leans_on_overdue: bool
    freed_by: int | None


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
    bought_on : day on which a purchase of today would be here, for every item with uncovered pieces; None = unknown
    """
    pieces, draws = netting.pieces, netting.draws
    day = np.full(pieces.size, as_of, np.int64)
    state = np.zeros(pieces.size, np.int64)
    ordered = draws.supply >= 0
    comes = np.full(draws.piece.size, as_of, np.int64)
    comes[ordered] = supplies.arrives[draws.supply[ordered]]
    bought = draws.supply == UNCOVERED
    fresh = {item: NEVER if on is None else on for item, on in bought_on.items()}
    comes[bought] = [fresh[int(item)] for item in pieces.item[draws.piece[bought]]]
    from_order = np.zeros(draws.piece.size, bool)
    from_order[ordered] = supplies.order_place[draws.supply[ordered]] >= 0
    late = from_order & (comes > pieces.need_day[draws.piece])
    state_of_draw = np.select([bought, late, from_order], [MISSING, LATE, IN_TIME], FROM_LOTS)
    np.maximum.at(day, draws.piece, comes)
    np.maximum.at(state, draws.piece, state_of_draw)
    lead = np.array([item.lead_days or 0 for item in demand.structure.items], np.int64)
    packed = np.unique(draws.piece[draws.supply == PACKED])
    depth = _depth(netting)
    for step in range(int(depth.max(initial=0)), -1, -1):
        here = packed[depth[packed] == step]
        if here.size:
            _arrive_packed(pieces.parent, here, day, state, lead[pieces.item], pieces.need_day, calendar)
    return Arrivals(state, day, late)


def _depth(netting: Netting) -> Ints:
    """How many kits or made assemblies stand above each piece."""
    depth = np.zeros(netting.pieces.size, np.int64)
    parent = netting.pieces.parent.copy()
    while (below := parent >= 0).any():
        depth[below] += 1
        parent[below] = netting.pieces.parent[parent[below]]
    return depth


def _arrive_packed(
    parent: Ints, packed: Ints, day: Ints, state: Ints, lead: Ints, need_day: Ints, calendar: ShopCalendar
) -> None:
    """Set the day and state of packed pieces from their contents, in place."""
    inside = np.flatnonzero(np.isin(parent, packed))
    last = np.zeros(day.size, np.int64)
    worst = np.zeros(day.size, np.int64)
    np.maximum.at(last, parent[inside], day[inside])
    np.maximum.at(worst, parent[inside], state[inside])
    known = packed[last[packed] < NEVER]
    moved = calendar.forward_all(last[known].astype("datetime64[D]"), lead[known]).astype(np.int64)
    day[known] = np.maximum(day[known], moved)
    day[packed[last[packed] >= NEVER]] = NEVER
    own = np.where(worst[packed] == MISSING, MISSING, np.where(day[packed] > need_day[packed], LATE, IN_TIME))
    state[packed] = np.maximum(state[packed], own)


class Questions:
    """Answers about single jobs, from the pieces of the plan."""

    def __init__(
        self, demand: Demand, supplies: Supplies, netting: Netting, found: Arrivals, calendar: ShopCalendar
    ) -> None:
        self.demand, self.supplies, self.netting, self.found, self.calendar = demand, supplies, netting, found, calendar
        self.below = _children(netting.pieces.parent)
        draws = netting.draws
        order = np.argsort(draws.piece, kind="stable")
        self.draw_order = order
        self.draw_first = np.searchsorted(draws.piece[order], np.arange(netting.pieces.size + 1))
        sure = ~netting.pieces.wear
        top = np.flatnonzero(sure & (netting.pieces.parent < 0))
        by_job = top[np.argsort(netting.pieces.job[top], kind="stable")]
        self.top = by_job
        self.top_first = np.searchsorted(netting.pieces.job[by_job], np.arange(len(demand.askers) + 1))

    def answer(self, job: int, as_of: int, leads: Mapping[int, int | None], leaning: frozenset[int]) -> JobAnswer:
        """What job number ``job`` is told. ``leads`` are the buying lead times of uncovered items."""
        name = self.demand.askers[job].name
        tops = self.top[self.top_first[job] : self.top_first[job + 1]]
        if not tops.size:
            return JobAnswer(name, "ready", as_of, 0, None, None, False, None)
        pieces, found = self.netting.pieces, self.found
        worst = int(found.state[tops].max())
        last = int(found.day[tops].max())
        need = int(pieces.need_day[tops[0]])
        days_late = None if last >= NEVER else self.calendar_between(need, last)
        freed = self._bad_items(tops) if worst >= LATE else set()
        return JobAnswer(
            name=name,
            status=STATUS[worst],
            parts_on=None if last >= NEVER else last,
            days_late=days_late,
            blocking_item=None if worst == FROM_LOTS else self._blocking(tops, worst),
            order_by=self._order_by(tops, leads) if worst == MISSING else None,
            leans_on_overdue=job in leaning,
            freed_by=next(iter(freed)) if len(freed) == 1 else None,
        )

    def calendar_between(self, first: int, last: int) -> int:
        """Working days from one day number to another, not below zero."""
        days = np.array([first, last]).astype("datetime64[D]")
        return int(self.calendar.between_all(days[:1], days[1:])[0])

    def draws_of(self, piece: int) -> Ints:
        """Numbers of the draws of one piece."""
        return self.draw_order[self.draw_first[piece] : self.draw_first[piece + 1]]

    def _blocking(self, tops: Ints, worst: int) -> int:
        candidates = [int(piece) for piece in tops if self.found.state[piece] == worst]
        piece = self._last_to_come(candidates)
        while True:
            inside = [below for below in self.below.get(piece, ()) if self.found.state[below] > FROM_LOTS]
            if not inside:
                return int(self.netting.pieces.item[piece])
            worst_inside = max(int(self.found.state[below]) for below in inside)
            piece = self._last_to_come([below for below in inside if self.found.state[below] == worst_inside])

    def _last_to_come(self, pieces: list[int]) -> int:
        rank = self.demand.structure.name_rank
        return min(pieces, key=lambda piece: (-int(self.found.day[piece]), int(rank[self.netting.pieces.item[piece]])))

    def _bad_items(self, pieces: Ints | list[int]) -> set[int]:
        """The items that are themselves missing or late, below kits that are packed."""
        bad: set[int] = set()
        for piece in pieces:
            if self.found.state[piece] < LATE:
                continue
            below = self._bad_items(list(self.below.get(int(piece), ())))
            draws = self.draws_of(int(piece))
            missing = (self.netting.draws.supply[draws] == UNCOVERED) | self.found.late_draw[draws]
            if missing.any() or not below:
                bad.add(int(self.netting.pieces.item[piece]))
            bad |= below
        return bad

    def _order_by(self, tops: Ints, leads: Mapping[int, int | None]) -> int | None:
        """The latest day on which everything missing may be ordered and still come in time."""
        days: list[int] = []
        stack = [int(piece) for piece in tops]
        while stack:
            piece = stack.pop()
            stack += self.below.get(piece, ())
            if (self.netting.draws.supply[self.draws_of(piece)] == UNCOVERED).any():
                lead = leads[int(self.netting.pieces.item[piece])]
                if lead is None:
                    return None
                need = np.array([self.netting.pieces.need_day[piece]]).astype("datetime64[D]")
                days.append(int(self.calendar.back_all(need, np.array([lead])).astype(np.int64)[0]))
        return min(days, default=None)


def _children(parent: Ints) -> dict[int, tuple[int, ...]]:
    below: dict[int, list[int]] = defaultdict(list)
    for number in np.flatnonzero(parent >= 0).tolist():
        below[int(parent[number])].append(number)
    return {piece: tuple(inside) for piece, inside in below.items()}


def leaning_on_overdue(supplies: Supplies, netting: Netting) -> frozenset[int]:
    """The job numbers whose sure pieces take from an order line that should have come before today."""
    pieces, draws = netting.pieces, netting.draws
    taken = draws.supply >= 0
    overdue = np.zeros(draws.piece.size, bool)
    overdue[taken] = supplies.overdue[draws.supply[taken]]
    jobs = pieces.job[draws.piece[overdue]]
    return frozenset(int(job) for job in np.unique(jobs) if job != NOBODY)

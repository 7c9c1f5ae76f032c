"""From what serves each piece to what people ask: when parts are here, which jobs can be built, what holds them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bom.buying.leads import NEVER, Lead, LeadDays
from bom.demand.requirements import Demand
from bom.status.arrivals import FROM_LOTS, LATE, Arrivals, depth_of
from bom.structure.calendar import ShopCalendar
from bom.structure.tables import Bools, Ints, Table, distinct, runs, sorted_by
from bom.supply.matching import NOBODY, UNCOVERED
from bom.supply.netting import Netting
from bom.supply.supplies import Supplies

STATUS = ("ready", "waiting", "late", "short")


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


def job_answers(
    demand: Demand,
    supplies: Supplies,
    netting: Netting,
    found: Arrivals,
    calendar: ShopCalendar,
    as_of: int,
    lead_days: LeadDays,
    leads: Mapping[int, Lead | None],
) -> tuple[JobAnswer, ...]:
    """What each job and other need is told, in the order of ``demand.askers``.

    Parameters
    ----------
    demand : what is asked for
    supplies : the shelf and the open orders
    netting : the pieces and what serves them
    found : when each piece is here
    calendar : the shop's working days
    as_of : day number of today
    lead_days : moves days by lead times
    leads : buying lead times of the items that have uncovered pieces; None = unknown
    """
    count = len(demand.askers)
    tops = np.flatnonzero(~netting.pieces.wear & (netting.pieces.parent < 0))
    complete = _when_complete(netting, found, calendar, as_of, tops, count)
    holding = _holding_items(demand, netting, found, tops, complete.state)
    order_by = _order_by_days(netting, lead_days, leads, count)
    freed = _only_missing(netting, found, demand)
    leaning = leaning_on_overdue(supplies, netting)
    columns = (column.tolist() for column in complete.columns())
    return tuple(
        JobAnswer(
            name=asker.name,
            status=STATUS[worst],
            parts_on=day if is_known else None,
            days_late=days if is_known else None,
            blocking_item=holding.get(number),
            order_by=order_by.get(number),
            leans_on_overdue=number in leaning,
            freed_by=freed.get(number),
        )
        for number, (asker, worst, day, days, is_known) in enumerate(zip(demand.askers, *columns, strict=True))
    )


@dataclass(frozen=True)
class _Complete(Table):
    """For each asker, the worst state of its pieces, the day on which the last one is here, and working days late."""

    state: Ints
    last: Ints
    late: Ints
    known: Bools


def _when_complete(
    netting: Netting, found: Arrivals, calendar: ShopCalendar, as_of: int, tops: Ints, count: int
) -> _Complete:
    """When each asker has all that it asks for itself (``tops``)."""
    job = netting.pieces.job[tops]
    state, last, need = np.zeros(count, np.int64), np.full(count, as_of, np.int64), np.full(count, as_of, np.int64)
    np.maximum.at(state, job, found.state[tops])
    np.maximum.at(last, job, found.day[tops])
    need[job] = netting.pieces.need_day[tops]
    known = last < NEVER
    late = np.zeros(count, np.int64)
    late[known] = calendar.between_all(need[known].astype("datetime64[D]"), last[known].astype("datetime64[D]"))
    return _Complete(state, last, late, known)


def _holding_items(demand: Demand, netting: Netting, found: Arrivals, tops: Ints, state: Ints) -> dict[int, int]:
    """The one part that holds each job: in its worst state, the last to come, then by part number."""
    pieces, rank = netting.pieces, demand.structure.name_rank
    worst = tops[(found.state[tops] == state[pieces.job[tops]]) & (found.state[tops] > FROM_LOTS)]
    last = np.zeros(state.size, np.int64)
    np.maximum.at(last, pieces.job[worst], found.day[worst])
    worst = worst[found.day[worst] == last[pieces.job[worst]]]
    worst = worst[sorted_by((pieces.job[worst], rank[pieces.item[worst]]))]
    first = worst[np.diff(pieces.job[worst], prepend=-1) != 0]
    below = _Contents(pieces.parent)
    return {int(pieces.job[piece]): _inside(netting, found, rank, below, int(piece)) for piece in first.tolist()}


def _inside(netting: Netting, found: Arrivals, rank: Ints, below: _Contents, piece: int) -> int:
    """Of a kit that is packed, the content that is missing or still comes; else the item itself."""
    while inside := [part for part in below.of(piece) if found.state[part] > FROM_LOTS]:
        worst = max(int(found.state[part]) for part in inside)
        candidates = [part for part in inside if found.state[part] == worst]
        piece = min(candidates, key=lambda part: (-int(found.day[part]), int(rank[netting.pieces.item[part]])))
    return int(netting.pieces.item[piece])


def _order_by_days(
    netting: Netting, lead_days: LeadDays, leads: Mapping[int, Lead | None], count: int
) -> dict[int, int]:
    """The latest day on which everything missing in a job may be ordered and still come in time, where it is known."""
    pieces, draws = netting.pieces, netting.draws
    missing = distinct(draws.piece[draws.supply == UNCOVERED])
    missing = missing[~pieces.wear[missing]]
    items = np.array(sorted(leads), np.int64)
    which = np.searchsorted(items, pieces.item[missing])
    back = lead_days.order_days(pieces.need_day[missing], [leads[item] for item in items.tolist()], which)
    jobs = pieces.job[missing]
    day = np.full(count, NEVER, np.int64)
    np.minimum.at(day, jobs, back)
    known = np.zeros(count, bool)
    known[jobs] = True
    known[jobs[back == NEVER]] = False
    jobs = np.flatnonzero(known)
    return dict(zip(jobs.tolist(), day[jobs].tolist(), strict=True))


def holding_items(netting: Netting, found: Arrivals, demand: Demand) -> dict[int, frozenset[int]]:
    """For each job that lacks, or waits too long for, something: the items it is held by; contents for packed kits.

    Parameters
    ----------
    netting : the pieces and what serves them
    found : when each piece is here
    demand : what is asked for
    """
    jobs, items = _held_by(netting, found, demand)
    return {int(jobs[begin]): frozenset(items[begin:end].tolist()) for begin, end in runs(jobs)}


def _held_by(netting: Netting, found: Arrivals, demand: Demand) -> tuple[Ints, Ints]:
    """Pairs of a job and an item that holds it, each once, sorted."""
    pieces, draws = netting.pieces, netting.draws
    depth = depth_of(netting)
    blamed = ~pieces.wear & (found.state >= LATE)
    for step in range(1, int(depth.max(initial=0)) + 1):
        here = np.flatnonzero(depth == step)
        blamed[here] &= blamed[pieces.parent[here]]
    own = np.zeros(pieces.size, bool)
    own[draws.piece[(draws.supply == UNCOVERED) | found.late_draw]] = True
    with_blame_below = np.zeros(pieces.size, bool)
    inside = np.flatnonzero(blamed & (pieces.parent >= 0))
    with_blame_below[pieces.parent[inside]] = True
    guilty = np.flatnonzero(blamed & (own | ~with_blame_below))
    width = len(demand.structure.items)
    pairs = distinct(pieces.job[guilty] * width + pieces.item[guilty])
    return pairs // width, pairs % width


def _only_missing(netting: Netting, found: Arrivals, demand: Demand) -> dict[int, int]:
    """For each job that lacks, or waits too long for, exactly one item, that item."""
    jobs, items = _held_by(netting, found, demand)
    return {int(jobs[begin]): int(items[begin]) for begin, end in runs(jobs) if end - begin == 1}


class _Contents:
    """What stands inside packed pieces."""

    def __init__(self, parent: Ints) -> None:
        inside = np.flatnonzero(parent >= 0)
        self._inside = inside[np.argsort(parent[inside], kind="stable")]
        self._parent = parent[self._inside]

    def of(self, piece: int) -> list[int]:
        """The pieces inside one."""
        begin, end = np.searchsorted(self._parent, (piece, piece + 1)).tolist()
        found: list[int] = self._inside[begin:end].tolist()
        return found


def leaning_on_overdue(supplies: Supplies, netting: Netting) -> frozenset[int]:
    """The job numbers whose sure pieces take from an order line that should have come before today.

    Parameters
    ----------
    supplies : the shelf and the open orders
    netting : the pieces and what serves them
    """
    pieces, draws = netting.pieces, netting.draws
    taken = draws.supply >= 0
    overdue = np.zeros(draws.piece.size, bool)
    overdue[taken] = supplies.overdue[draws.supply[taken]]
    jobs = pieces.job[draws.piece[overdue]]
    return frozenset(int(job) for job in np.unique(jobs) if job != NOBODY)

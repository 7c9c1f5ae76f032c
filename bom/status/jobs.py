"""From what serves each piece to what people ask: when parts are here, which jobs can be built, what holds them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bom.buying.leads import NEVER, Lead, LeadDays
from bom.demand.requirements import Demand
from bom.status.arrivals import FROM_LOTS, LATE, Arrivals, depth_of
from bom.structure.calendar import ShopCalendar
from bom.structure.tables import Ints
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
    lead_days : moves days by lead times
    leads : buying lead times of the items that have uncovered pieces; None = unknown
    """
    count = len(demand.askers)
    pieces = netting.pieces
    tops = np.flatnonzero(~pieces.wear & (pieces.parent < 0))
    job = pieces.job[tops]
    state, last, need = np.zeros(count, np.int64), np.full(count, as_of, np.int64), np.full(count, as_of, np.int64)
    np.maximum.at(state, job, found.state[tops])
    np.maximum.at(last, job, found.day[tops])
    need[job] = pieces.need_day[tops]
    known = last < NEVER
    late = np.zeros(count, np.int64)
    late[known] = calendar.between_all(need[known].astype("datetime64[D]"), last[known].astype("datetime64[D]"))
    holding = _holding_items(demand, netting, found, tops, state)
    order_by = _order_by_days(netting, lead_days, leads, count)
    freed = _only_missing(netting, found, demand)
    leaning = leaning_on_overdue(supplies, netting)
    return tuple(
        JobAnswer(
            name=asker.name,
            status=STATUS[state[number]],
            parts_on=int(last[number]) if known[number] else None,
            days_late=int(late[number]) if known[number] else None,
            blocking_item=holding.get(number),
            order_by=order_by.get(number),
            leans_on_overdue=number in leaning,
            freed_by=freed.get(number),
        )
        for number, asker in enumerate(demand.askers)
    )


def _holding_items(demand: Demand, netting: Netting, found: Arrivals, tops: Ints, state: Ints) -> dict[int, int]:
    """The one part that holds each job: in its worst state, the last to come, then by part number."""
    pieces, rank = netting.pieces, demand.structure.name_rank
    worst = tops[(found.state[tops] == state[pieces.job[tops]]) & (found.state[tops] > FROM_LOTS)]
    order = np.lexsort((rank[pieces.item[worst]], -found.day[worst], pieces.job[worst]))
    first = worst[order][np.unique(pieces.job[worst][order], return_index=True)[1]]
    below = _children(pieces.parent)
    return {int(pieces.job[piece]): _inside(netting, found, rank, below, int(piece)) for piece in first.tolist()}


def _inside(netting: Netting, found: Arrivals, rank: Ints, below: Mapping[int, tuple[int, ...]], piece: int) -> int:
    """Of a kit that is packed, the content that is missing or still comes; else the item itself."""
    while inside := [part for part in below.get(piece, ()) if found.state[part] > FROM_LOTS]:
        worst = max(int(found.state[part]) for part in inside)
        candidates = [part for part in inside if found.state[part] == worst]
        piece = min(candidates, key=lambda part: (-int(found.day[part]), int(rank[netting.pieces.item[part]])))
    return int(netting.pieces.item[piece])


def _order_by_days(
    netting: Netting, lead_days: LeadDays, leads: Mapping[int, Lead | None], count: int
) -> dict[int, int]:
    """The latest day on which everything missing in a job may be ordered and still come in time, where it is known."""
    pieces, draws = netting.pieces, netting.draws
    missing = np.unique(draws.piece[draws.supply == UNCOVERED])
    missing = missing[~pieces.wear[missing]]
    back = lead_days.order_days(pieces.need_day[missing], [leads[item] for item in pieces.item[missing].tolist()])
    jobs = pieces.job[missing]
    day = np.full(count, NEVER, np.int64)
    np.minimum.at(day, jobs, back)
    unknown = set(jobs[back == NEVER].tolist())
    return {job: int(day[job]) for job in np.unique(jobs).tolist() if job not in unknown}


def holding_items(netting: Netting, found: Arrivals, demand: Demand) -> dict[int, frozenset[int]]:
    """For each job that lacks, or waits too long for, something: the items it is held by; contents for packed kits."""
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
    pairs = np.unique(pieces.job[guilty] * width + pieces.item[guilty])
    jobs, first = np.unique(pairs // width, return_index=True)
    items = np.split(pairs % width, first[1:])
    return {job: frozenset(held.tolist()) for job, held in zip(jobs.tolist(), items, strict=False)}


def _only_missing(netting: Netting, found: Arrivals, demand: Demand) -> dict[int, int]:
    """For each job that lacks, or waits too long for, exactly one item, that item."""
    return {
        job: item for job, items in holding_items(netting, found, demand).items() if len(items) == 1 for item in items
    }


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

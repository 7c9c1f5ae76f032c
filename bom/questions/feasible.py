"""From when each job could be built, and what sets most jobs free: a purchase, an order that comes, pieces at hand.

Both read one plan as it stands: what another job would take or give back when a job is moved or a part is bought is
found by planning again (`bom.questions.what_if`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

import numpy as np

from bom.answers.leaning import awaited_from_overdue
from bom.buying.leads import NEVER
from bom.buying.purchases import BuyRow
from bom.demand.askers import Asker
from bom.plan import Plan
from bom.status.jobs import JobAnswer, holding_items
from bom.structure.arrays import LAST_DAY, as_date, day_number
from bom.supply.matching import UNCOVERED

TWO = 2
MADE_HERE = ("pack", "make")


@dataclass(frozen=True, slots=True)
class Dying:
    """What a job takes (millionths) from a lot that may not be used any more on the earliest day of the job."""

    part_number: str
    lot: str
    last_use: date
    quantity: int


@dataclass(frozen=True, slots=True)
class EarliestBuild:
    """From when a job could be built with the stock and the orders of today, as the plan serves them.

    ``earliest_on`` is None when an arrival is unknown. ``days_to_spare`` are the working days from it to the build
    day, below zero when the build day comes too soon. What is not ordered counts as ordered today; with
    ``leans_on_overdue`` the day holds only if an overdue order comes.
    """

    job: str
    build_on: date
    status: str
    parts_on: date | None
    earliest_on: date | None
    days_to_spare: int | None
    blocking_part: str | None
    leans_on_overdue: bool
    dying: tuple[Dying, ...]


class HoldUp(NamedTuple):
    """One thing that holds a job: a part that is missing or late, or an overdue order on which the job leans.

    ``name`` is a part number, or the number of the order. ``instead`` is how the job can have the part without the
    purchase that the plan lists; empty where it cannot. Such ways are worked out each as if it were the only one, so
    they are never counted together: ``job`` tells them apart.
    """

    name: str
    is_order: bool = False
    instead: str = ""
    job: str = ""


@dataclass(frozen=True, slots=True)
class ToDo:
    """What has to be done about one hold.

    It ``means``: ``buy`` the part, ``hurry`` its order, ``pack`` the kit sooner, ``chase`` the overdue order; or a way
    ``instead`` of a purchase.

    ``packs``, ``order_quantity`` (millionths) and ``price`` are those of its row on the purchase list, so they serve
    all jobs that lack it; 0 and None when nothing has to be bought. ``here_on`` is when a purchase of today is here,
    ``need_on`` the first day on which the jobs of the row need what comes with an order. ``parts`` are what is held.
    ``hurry_too``: some of what the jobs lack is on an order that comes too late, which the listed purchase leaves so.
    """

    name: str
    means: str
    parts: tuple[str, ...]
    packs: int = 0
    order_quantity: int = 0
    price: Decimal | None = None
    here_on: date | None = None
    need_on: date | None = None
    hurry_too: bool = False


@dataclass(frozen=True, slots=True)
class Release:
    """One thing, or two together, and the jobs that nothing else holds.

    ``only_together`` are the jobs that need both. ``in_time`` are those whose parts would be here by their need date
    if bought today, if the order comes, or are here already. ``price`` is the sum of the purchases, None when nothing
    is to be bought or one of them has no price.
    """

    holds: tuple[HoldUp, ...]
    jobs: tuple[str, ...]
    only_together: tuple[str, ...]
    in_time: tuple[str, ...]
    to_do: tuple[ToDo, ...]
    price: Decimal | None

    @property
    def part_numbers(self) -> tuple[str, ...]:
        """Every part that is spoken of."""
        return tuple(part for one in self.to_do for part in one.parts)


@dataclass(frozen=True, slots=True)
class Freeing:
    """What frees most jobs: single things, and pairs where a job needs both, each with the most jobs first."""

    singles: tuple[Release, ...]
    pairs: tuple[Release, ...]


def earliest_builds(plan: Plan) -> tuple[EarliestBuild, ...]:
    """From when each job could be built, by job: the first day whose need date all its parts meet.

    A job that is in time is not told a later day than its own.

    Parameters
    ----------
    plan : the finished plan
    """
    told = list(zip(plan.demand.askers, plan.answers, strict=True))
    builds = [_earliest_build(plan, asker, answer) for asker, answer in told]
    dying = _dying_draws(plan, builds)
    rows = []
    for place, ((asker, answer), earliest) in enumerate(zip(told, builds, strict=True)):
        if asker.job is None:
            continue
        build_on, blocking = as_date(asker.build_day), answer.blocking_item
        rows.append(
            EarliestBuild(
                job=asker.name,
                build_on=build_on,
                status=answer.status,
                parts_on=_day(answer.parts_on),
                earliest_on=earliest,
                days_to_spare=None if earliest is None else _days_between(plan, earliest, build_on),
                blocking_part=None if blocking is None else plan.demand.structure.items[blocking].part_number,
                leans_on_overdue=answer.leans_on_overdue,
                dying=tuple(dying.get(place, ())),
            )
        )
    return tuple(sorted(rows, key=lambda row: row.job))


def what_frees(plan: Plan, instead: Mapping[tuple[str, str], str] | None = None) -> Freeing:
    """What holds the jobs that are late or short, or lean on an overdue order, alone and in pairs.

    A job that leans on an overdue order is held by it besides all that it lacks: no purchase alone frees it.

    Parameters
    ----------
    plan : the finished plan
    instead : by job and part number, the way by which the job can have the part without the purchase that is listed
    """
    release = _Releases(plan, instead or {})
    singles = [release(holds, jobs) for holds, jobs in _by_holds(release.held, 1).items()]
    pairs = [
        release(pair, [job for job, holds in release.held.items() if holds <= pair])
        for pair in _by_holds(release.held, TWO)
    ]
    return Freeing(tuple(sorted(singles, key=_best_first)), tuple(sorted(pairs, key=_best_first)))


class _Releases:
    """Makes the rows of what frees jobs."""

    def __init__(self, plan: Plan, instead: Mapping[tuple[str, str], str]) -> None:
        self.plan = plan
        self.awaited = awaited_from_overdue(plan)
        self.held = self._held(instead)
        self.bought: dict[int, BuyRow] = {row.item: row for row in plan.buy}
        self.needed, self.lacked, self.late = _own_needs(plan)

    def _held(self, instead: Mapping[tuple[str, str], str]) -> dict[int, frozenset[HoldUp]]:
        askers, items = self.plan.demand.askers, self.plan.demand.structure.items
        held: dict[int, set[HoldUp]] = defaultdict(set)
        for job, parts in holding_items(self.plan.netting, self.plan.found, self.plan.demand).items():
            for part in (items[item].part_number for item in parts):
                way = instead.get((askers[job].name, part), "")
                held[job].add(HoldUp(part, instead=way, job=askers[job].name if way else ""))
        for one in self.awaited:
            held[one.job].add(HoldUp(one.order, is_order=True))
        return {job: frozenset(holds) for job, holds in held.items() if askers[job].job is not None}

    def __call__(self, holds: frozenset[HoldUp], jobs: Iterable[int]) -> Release:
        askers = self.plan.demand.askers
        jobs = sorted(jobs, key=lambda job: askers[job].name)
        ordered = tuple(sorted(holds))
        to_do = tuple(self._to_do(hold, jobs) for hold in ordered)
        prices = [row.price for row in to_do if row.means == "buy"]
        known = [price for price in prices if price is not None]
        return Release(
            holds=ordered,
            jobs=tuple(askers[job].name for job in jobs),
            only_together=tuple(askers[job].name for job in jobs if len(self.held[job] & holds) > 1),
            in_time=tuple(askers[job].name for job in jobs if self._in_time(job)),
            to_do=to_do,
            price=sum(known, Decimal(0)) if known and len(known) == len(prices) else None,
        )

    def _to_do(self, hold: HoldUp, jobs: Collection[int]) -> ToDo:
        if hold.is_order:
            return self._chase(hold.name, jobs)
        item, part = self.plan.demand.structure.index[hold.name], (hold.name,)
        row = self.bought.get(item)
        if hold.instead:
            return ToDo(hold.name, hold.instead, part)
        if row is not None and row.short:
            here, purchase = row.purchase.arrives_on, row.purchase
            late = any((job, item) in self.late for job in jobs)
            return ToDo(
                hold.name,
                "buy",
                part,
                purchase.packs,
                purchase.order_quantity,
                purchase.price,
                _day(here),
                hurry_too=late,
            )
        if item not in self.lacked:
            return ToDo(hold.name, "pack", part)
        return ToDo(hold.name, "hurry", part, here_on=_day(self._arrival(item)))

    def _chase(self, order: str, jobs: Collection[int]) -> ToDo:
        """The order comes; ``here_on`` is when the last of what these jobs await could be here if bought today."""
        mine = [one for one in self.awaited if one.order == order and one.job in jobs]
        wanted: dict[int, tuple[int, int]] = {}
        for one in mine:
            quantity, need = wanted.get(one.item, (0, NEVER))
            wanted[one.item] = (quantity + one.quantity, min(need, one.need_day))
        here = [self._bought_today(item, quantity, need) for item, (quantity, need) in wanted.items()]
        known = [day for day in here if day is not None]
        items = self.plan.demand.structure.items
        return ToDo(
            order,
            "chase",
            tuple(sorted(items[item].part_number for item in wanted)),
            here_on=_day(max(known)) if len(known) == len(here) else None,
            need_on=as_date(min(one.need_day for one in mine)),
        )

    def _arrival(self, item: int) -> int | None:
        """When a purchase of today would be here of what now comes too late."""
        row = self.bought.get(item)
        return row.purchase.arrives_on if row is not None else self._bought_today(item, *self.lacked[item])

    def _bought_today(self, item: int, quantity: int, need: int) -> int | None:
        if self.plan.demand.structure.items[item].source in MADE_HERE:
            return None
        return self.plan.book.choose(item, quantity, need).arrives_on

    def _in_time(self, job: int) -> bool:
        """Whether all that holds a job could be here in time; an overdue order counts as coming today.

        What is bought as listed does not come sooner where the job draws some of the part from a late order.
        """
        index = self.plan.demand.structure.index
        for hold in self.held[job]:
            if hold.is_order or hold.instead:
                continue
            item = index[hold.name]
            need = self.needed.get((job, item))
            here = None if need is None else self._arrival(item)
            if need is None or here is None or here > need:
                return False
            if (job, item) in self.late and item in self.bought and self.bought[item].short:
                return False
        return True


def _own_needs(plan: Plan) -> tuple[dict[tuple[int, int], int], dict[int, tuple[int, int]], set[tuple[int, int]]]:
    """What sure pieces lack or wait too long for.

    By job and item the first day that would do; by item the quantity with its first need day; and by job and item what
    of it is on an order that comes too late.
    """
    pieces, draws = plan.netting.pieces, plan.netting.draws
    needed: dict[tuple[int, int], int] = {}
    lacked: dict[int, tuple[int, int]] = {}
    on_order: set[tuple[int, int]] = set()
    late = ((draws.supply == UNCOVERED) | plan.found.late_draw) & ~pieces.wear[draws.piece]
    for row in np.flatnonzero(late).tolist():
        piece, quantity = int(draws.piece[row]), int(draws.quantity[row])
        item, need = int(pieces.item[piece]), int(pieces.need_day[piece])
        key = (int(pieces.job[piece]), item)
        needed[key] = min(needed.get(key, NEVER), _day_that_would_do(plan, piece))
        if draws.supply[row] != UNCOVERED:
            on_order.add(key)
        sofar, first = lacked.get(item, (0, NEVER))
        lacked[item] = (sofar + quantity, min(first, need))
    return needed, lacked, on_order


def _day_that_would_do(plan: Plan, piece: int) -> int:
    """The need day of a piece; a day that has passed where packing what it goes into would take too long even then."""
    pieces, items = plan.netting.pieces, plan.demand.structure.items
    need = int(pieces.need_day[piece])
    while (parent := int(pieces.parent[piece])) >= 0:
        lead = items[int(pieces.item[parent])].lead_days or 0
        packed_on = plan.calendar.forward(as_date(int(pieces.need_day[piece])), lead)
        if packed_on > as_date(int(pieces.need_day[parent])):
            return plan.as_of - 1
        piece = parent
    return need


def _by_holds(held: Mapping[int, frozenset[HoldUp]], size: int) -> dict[frozenset[HoldUp], list[int]]:
    """The jobs held by exactly so many things, gathered by those things."""
    gathered: dict[frozenset[HoldUp], list[int]] = defaultdict(list)
    for job, holds in held.items():
        if len(holds) == size:
            gathered[holds].append(job)
    return dict(gathered)


def _best_first(row: Release) -> tuple[int, bool, Decimal, tuple[HoldUp, ...]]:
    """Most jobs first, then the lowest price, what costs nothing before that and what has no price after, by name."""
    unpriced = row.price is None and any(one.means == "buy" for one in row.to_do)
    return -len(row.jobs), unpriced, row.price or Decimal(0), row.holds


def _earliest_build(plan: Plan, asker: Asker, answer: JobAnswer) -> date | None:
    """The first day on which a job could be built; None where that is not known."""
    if answer.parts_on is None:
        return None
    earliest = plan.calendar.forward(as_date(answer.parts_on), plan.shop.staging_days)
    return min(earliest, as_date(asker.build_day)) if answer.days_late == 0 else earliest


def _dying_draws(plan: Plan, builds: Sequence[date | None]) -> dict[int, list[Dying]]:
    """What each job takes from lots that die before it could be built, by job number."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    days = np.array([-LAST_DAY if build is None else day_number(build) for build in builds], np.int64)
    rows = np.flatnonzero((draws.supply >= 0) & ~pieces.wear[draws.piece])
    rows = rows[supplies.last_day[draws.supply[rows]] < days[pieces.job[draws.piece[rows]]]]
    gathered: dict[tuple[int, str, str, int], int] = defaultdict(int)
    for row in rows.tolist():
        supply = int(draws.supply[row])
        lot = plan.shop.lots[int(supplies.lot_place[supply])]
        key = (int(pieces.job[draws.piece[row]]), lot.part_number, lot.lot, int(supplies.last_day[supply]))
        gathered[key] += int(draws.quantity[row])
    found: dict[int, list[Dying]] = defaultdict(list)
    for (job, part, lot_code, day), quantity in sorted(gathered.items()):
        found[job].append(Dying(part, lot_code, as_date(day), quantity))
    return found


def _days_between(plan: Plan, first: date, last: date) -> int:
    """Working days from one day to another, below zero when the other comes before."""
    return plan.calendar.between(first, last) if first <= last else -plan.calendar.between(last, first)


def _day(day: int | None) -> date | None:
    return None if day is None or day >= NEVER else as_date(day)

"""How many pumps can be rebuilt from the shelf, and what runs out first.

A trial job of so many pumps is netted against the free lots alone, by the very steps of the plan: kits first, packing
where the source of a kit says so, no orders, nothing bought. The answer is the largest number that leaves nothing sure
uncovered. Planned wear asks for nothing here, as nobody knows what will be found.

A kit is what was recorded of its bag: what it is without has to lie there loose. As all pumps of the trial are built on
one day, it does not matter which kit dies first, so whole ones are counted first, then those that can be filled up.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import lcm
from typing import NamedTuple

import numpy as np

from bom.demand.chances import WearTable
from bom.demand.kit_cover import inside_one
from bom.demand.requirements import Demand, gather_demand
from bom.errors import Fault, ShopError
from bom.plan import Plan
from bom.structure.tables import Bools, Ints, Table, sorted_by
from bom.supply.bags import Bags
from bom.supply.matching import UNCOVERED, free_on_lots, who_fills
from bom.supply.netting import Netting, net
from bom.supply.supplies import Supplies
from bom.values import ONE, Job, Options

TRIAL = "trial"
NAMED_AT_MOST = 3
"""So many of the parts that run out are named in the sentence."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What is short for one pump more than can be rebuilt, in millionths of the stock unit.

    ``inside`` tells, of a kit that may be packed here, which of its contents the shelf lacks to pack what is short;
    of a kit that is only bought, and of a loose part, it is empty.
    """

    part_number: str
    short: int
    inside: tuple[Limit, ...] = ()


@dataclass(frozen=True, slots=True)
class Rebuildable:
    """So many pumps can be rebuilt from free lots that live to the build day.

    ``pumps`` is None where the scope needs nothing for sure, so that the shelf sets no limit. ``limits`` is what one
    pump more would lack, by part number; ``beside_jobs`` says whether the sure needs of the running jobs were served
    first. ``says`` is one sentence.
    """

    pump: str
    scope: str
    build_on: date
    beside_jobs: bool
    pumps: int | None
    limits: tuple[Limit, ...]
    says: str


def count_rebuildable(
    plan: Plan,
    pump: str,
    scope: str,
    options: Options = (),
    *,
    build_on: date | None = None,
    serial: str = "",
    customer: str = "",
    cleanliness: str = "normal",
    beside_jobs: bool = True,
) -> Rebuildable:
    """Count how many pumps the shelf of a plan can rebuild to one scope.

    What is reserved for a job, or lies in its bag, is not free. Lots with an owner serve that ``customer`` only.

    Parameters
    ----------
    plan : the plan of today, whose shelf is asked
    pump : its part number
    scope : of the pump
    options : answers beside those of the scope and the pump's defaults, folded and sorted by name
    build_on : the day that the lots must live to; today if it is left out
    serial : decides on lines with limits by serial; without one the newest build is assumed
    customer : whose lots may be taken
    cleanliness : normal, oxygen_clean or lubricant_free; clean work takes clean kits and lots only
    beside_jobs : count what the sure pieces of all jobs and other needs leave; False: as if none were running

    Raises
    ------
    ShopError
        When the pump has no such scope, an option that decides what is fitted is not answered, or the structure puts
        what is not clean into clean work.
    """
    day = build_on or plan.shop.as_of
    job = Job(TRIAL, pump, scope, day, options=options, serial=serial, customer=customer, cleanliness=cleanliness)
    trial = _Trial(plan, job, beside_jobs)
    pumps = trial.largest()
    limits = () if pumps is None else tuple(trial.limits(pumps + 1))
    says = _say(pump, scope, pumps, limits, beside_jobs)
    return Rebuildable(pump, scope, day, beside_jobs, pumps, limits, says)


class _Trial:
    """Nets a trial job of any number of pumps against the free lots of a plan."""

    def __init__(self, plan: Plan, job: Job, beside_jobs: bool) -> None:
        self.plan, self.job = plan, job
        pump, scope = job.pump, job.scope
        self.structure = plan.demand.structure
        if (pump, scope) not in self.structure.scopes:
            known = sorted(name for of_pump, name in self.structure.scopes if of_pump == pump)
            told = f"known for it: {', '.join(known)}" if known else "it has no scopes yet; add one to Scopes"
            raise ShopError((Fault("Scopes", (pump, scope), "scope", f"{pump} has no scope '{scope}'; {told}."),))
        self.free = _free_lots(plan, beside_jobs)
        self._tried: dict[int, _Attempt] = {}

    def largest(self) -> int | None:
        """The largest number of pumps that lack nothing; None when no number of them asks for anything sure.

        A kit that does several assemblies at once is asked for in steps, so that three pumps may lack what four do
        not. All needs rise from any number to the one a whole round of steps further on; so once a whole round of
        numbers lacks something, every larger one does.
        """
        demand = self.demand(1)
        if not demand.requirements.loose.size:
            return None
        self._tried = {1: self._net(demand)}
        step = self._round_of_steps(demand)
        enough, too_many = 0, 1
        while self.is_enough(too_many):
            enough, too_many = too_many, too_many * 2
        while too_many - enough > 1:
            middle = (enough + too_many) // 2
            enough, too_many = (middle, too_many) if self.is_enough(middle) else (enough, middle)
        ahead = enough + 1
        while ahead < enough + step:
            ahead += 1
            if self.is_enough(ahead):
                enough = ahead
        return enough

    def is_enough(self, pumps: int) -> bool:
        """Whether the free lots serve everything sure of so many pumps."""
        return not self.attempt(pumps).lacking.any()

    def limits(self, pumps: int) -> Iterator[Limit]:
        """What so many pumps lack, by part number."""
        found = self.attempt(pumps)
        pieces, draws = found.netting.pieces, found.netting.draws
        short: dict[int, list[int]] = defaultdict(list)
        for row in np.flatnonzero(found.lacking).tolist():
            short[int(pieces.item[draws.piece[row]])].append(row)
        items = self.structure.items
        for item in sorted(short, key=lambda number: items[number].part_number):
            quantity = int(draws.quantity[short[item]].sum())
            inside: tuple[Limit, ...] = ()
            if items[item].source == "pack_else_buy":
                inside = tuple(self._lacking_inside(found, item, int(draws.piece[short[item][0]]), quantity))
            yield Limit(items[item].part_number, quantity, inside)

    def demand(self, pumps: int) -> Demand:
        """What so many pumps ask for, without what may be found worn."""
        jobs = (replace(self.job, quantity=pumps),)
        shop = replace(self.plan.shop, jobs=jobs, needs=(), issues=(), verdicts=(), orders=())
        try:
            return replace(gather_demand(self.structure, shop), wear=WearTable.of({}))
        except ShopError as error:
            raise ShopError(tuple(self._of_the_scope(fault) for fault in error.faults)) from None

    def attempt(self, pumps: int) -> _Attempt:
        """Net so many pumps, each number of them once."""
        if pumps not in self._tried:
            self._tried[pumps] = self._net(self.demand(pumps))
        return self._tried[pumps]

    def _net(self, demand: Demand) -> _Attempt:
        supplies = replace(self.plan.supplies, left=self.free.copy(), set_aside={})
        supplies = _fullest_first(demand, supplies, self.plan)
        settings = self.plan.calendar, self.plan.as_of, self.plan.shop.staging_days
        netting = net(demand, supplies, *settings, self.plan.netting.recorded)
        return _Attempt(demand, netting.supplies, netting)

    def _of_the_scope(self, fault: Fault) -> Fault:
        """The trial job is in no list, so what is wrong with it is told of its scope."""
        of = f"{self.job.pump}, {self.job.scope}"
        told = fault.says.removeprefix(f"Job {TRIAL} ({of}): ").replace(f"Job {TRIAL} ", "such a job ", 1)
        return Fault("Scopes", (self.job.pump, self.job.scope), fault.column, f"{of}: {told}")

    def _round_of_steps(self, demand: Demand) -> int:
        """The number of pumps after which the counts of all kits have gone up by whole numbers."""
        kits = demand.requirements.kits
        chosen = set(zip(kits.kit.tolist(), kits.assembly.tolist(), strict=True))
        index = self.structure.index
        return lcm(*(fit.instances for fit in self.structure.fits if (index[fit.kit], index[fit.fits]) in chosen))

    def _lacking_inside(self, found: _Attempt, kit: int, piece: int, short: int) -> Iterator[Limit]:
        """Of the contents of the kits that are short, what the shelf does not hold once all else is served."""
        structure, pieces = self.structure, found.netting.pieces
        each = inside_one(structure, found.demand.conditions, kit, int(pieces.condition[piece]))
        taker = who_fills(found.supplies, found.demand.askers[0].taker, kit)
        for part in sorted(each, key=lambda number: structure.items[number].part_number):
            lacks = each[part] * short // ONE - free_on_lots(found.supplies, part, int(pieces.build_day[piece]), taker)
            if lacks > 0:
                yield Limit(structure.items[part].part_number, lacks)


@dataclass(frozen=True, slots=True)
class _Attempt:
    """A number of pumps netted against the free lots; ``supplies`` are what is left after it."""

    demand: Demand
    supplies: Supplies
    netting: Netting

    @property
    def lacking(self) -> Bools:
        """The draws that nothing covers."""
        return np.equal(self.netting.draws.supply, UNCOVERED)


class _HalfKit(NamedTuple):
    """Kits of one supply row that lack something: how many can be filled up at most, what each is without."""

    at_most: int
    supply: int
    less: dict[int, int]


@dataclass(frozen=True)
class _Turn(Table):
    """Part of a supply row, in millionths, and when it is taken: whole kits first (0), then filled up (1), the rest."""

    item: Ints
    turn: Ints
    supply: Ints
    left: Ints


def _fullest_first(demand: Demand, supplies: Supplies, plan: Plan) -> Supplies:
    """The supplies with whole kits before those that lack something, and among these first what can be filled up."""
    bags, trial = Bags(demand, plan.netting.recorded, supplies), demand.askers[0]
    rows: list[tuple[int, ...]] = []
    items = {demand.structure.index[plan.shop.lots[place].part_number] for place in bags.recorded}
    for kit in sorted(items, key=lambda number: int(demand.structure.name_rank[number])):
        taker = who_fills(supplies, trial.taker, kit)
        lacking: list[_HalfKit] = []
        free: dict[int, int] = {}
        for supply in range(int(supplies.first[kit]), int(supplies.first[kit + 1])):
            place = int(supplies.lot_place[supply])
            less = bags.without(kit, trial.condition, place) if place in bags.recorded else {}
            if less:
                free |= {part: free_on_lots(supplies, part, trial.build_day, taker) for part in less}
                lacking.append(_HalfKit(min(free[part] // each for part, each in less.items()), supply, less))
        for most, supply, less in sorted(lacking, key=lambda half: (-half.at_most, half.supply)):
            held = int(supplies.left[supply])
            filled = min(held, most * ONE, *(free[part] // each * ONE for part, each in less.items()))
            for part, each in less.items():
                free[part] -= filled // ONE * each
            rows += [(kit, 1, supply, filled), (kit, 2, supply, held - filled)]
    if not rows:
        return supplies
    halves = _Turn.of_rows(rows)
    whole = np.setdiff1d(np.arange(supplies.item.size), halves.supply)
    wholes = _Turn(supplies.item[whole], np.zeros_like(whole), whole, supplies.left[whole])
    order = _Turn.together((halves, wholes))
    order = order.take(sorted_by((order.item, order.turn)))  # within a turn as they stand
    turn = order.supply
    return replace(
        supplies,
        item=supplies.item[turn],
        left=order.left,
        arrives=supplies.arrives[turn],
        last_day=supplies.last_day[turn],
        lot_place=supplies.lot_place[turn],
        order_place=supplies.order_place[turn],
        overdue=supplies.overdue[turn],
        owner=tuple(supplies.owner[supply] for supply in turn.tolist()),
        opened=supplies.opened[turn],
        first=np.searchsorted(supplies.item[turn], np.arange(supplies.first.size)).astype(np.int64),
    )


def _free_lots(plan: Plan, beside_jobs: bool) -> Ints:
    """What is left on each supply row before wear, or before everything; nothing of the order lines."""
    supplies, pieces, draws = plan.supplies, plan.netting.pieces, plan.netting.draws
    given_back = draws.supply >= 0
    if beside_jobs:
        given_back &= pieces.wear[draws.piece]
    free = supplies.left.copy()
    np.add.at(free, draws.supply[given_back], draws.quantity[given_back])
    free[supplies.lot_place < 0] = 0
    return free


def _say(pump: str, scope: str, pumps: int | None, limits: Sequence[Limit], beside_jobs: bool) -> str:
    if pumps is None:
        return f"{scope} of {pump} needs nothing for sure, so the shelf sets no limit."
    beside = " beside the running jobs" if beside_jobs else ""
    count = f"{pumps} {pump}" if pumps else f"No {pump}"
    named = [_say_limit(limit) for limit in limits[:NAMED_AT_MOST]]
    if len(limits) > NAMED_AT_MOST:
        named.append(f"{len(limits) - NAMED_AT_MOST} more")
    lacks = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
    return f"{count} can be rebuilt to '{scope}' from the shelf{beside}; one more would lack {lacks}."


def _say_limit(limit: Limit) -> str:
    inside = " and ".join(_say_limit(part) for part in limit.inside)
    return f"{limit.short / ONE:g} {limit.part_number}" + (f" (packing lacks {inside})" if inside else "")

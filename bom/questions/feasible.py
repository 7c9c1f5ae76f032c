"""From when each job could be built, and which purchases set most jobs free.

Both read one plan as it stands: what another job would take or give back when a job is moved or a part is bought is
found by planning again (`bom.questions.what_if`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np

from bom.answers.shortage import holding_items
from bom.buying.order_size import NEVER
from bom.buying.purchases import BuyRow
from bom.plan import Plan
from bom.structure.arrays import LAST_DAY, as_date
from bom.supply.matching import UNCOVERED

Held = Mapping[int, frozenset[int]]
"""The items that hold each job, by job number."""
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


@dataclass(frozen=True, slots=True)
class FreeingPurchase:
    """What has to be done for one part: ``buy``, ``hurry`` an order that comes too late, or ``pack`` a kit sooner.

    ``packs``, ``order_quantity`` (millionths) and ``price`` are those of its row on the purchase list, so they serve
    all jobs that lack it; 0 and None when nothing has to be bought. ``here_on`` is when a purchase of today is here.
    """

    part_number: str
    means: str
    packs: int
    order_quantity: int
    price: Decimal | None
    here_on: date | None


@dataclass(frozen=True, slots=True)
class Release:
    """One part, or two together, and the jobs that lack, or wait too long for, nothing else.

    ``only_together`` are the jobs that need both. ``in_time`` are those whose parts would be here by their need date
    if bought today. ``price`` is the sum of the purchases, None when one of them has to be bought and has no price.
    """

    part_numbers: tuple[str, ...]
    jobs: tuple[str, ...]
    only_together: tuple[str, ...]
    in_time: tuple[str, ...]
    purchases: tuple[FreeingPurchase, ...]
    price: Decimal | None


@dataclass(frozen=True, slots=True)
class Freeing:
    """What frees most jobs: single parts, pairs that free more together than apart, and one step after another.

    ``steps`` are greedy: each takes the part that frees most of the jobs still held once all steps before it are
    done, or the pair if no single part frees any. A step's jobs are those that it adds.
    """

    singles: tuple[Release, ...]
    pairs: tuple[Release, ...]
    steps: tuple[Release, ...]


def earliest_builds(plan: Plan) -> tuple[EarliestBuild, ...]:
    """From when each job could be built, by job: the first day whose need date all its parts meet.

    A job that is in time is not told a later day than its own.
    """
    taken = _dying_draws(plan)
    rows = []
    for place, (asker, answer) in enumerate(zip(plan.demand.askers, plan.answers, strict=True)):
        if asker.job is None:
            continue
        build_on, blocking = as_date(asker.build_day), answer.blocking_item
        parts_on = None if answer.parts_on is None else as_date(answer.parts_on)
        earliest = None if parts_on is None else plan.calendar.forward(parts_on, plan.shop.staging_days)
        if earliest is not None and answer.days_late == 0:
            earliest = min(earliest, build_on)
        rows.append(
            EarliestBuild(
                job=asker.name,
                build_on=build_on,
                status=answer.status,
                parts_on=parts_on,
                earliest_on=earliest,
                days_to_spare=None if earliest is None else _days_between(plan, earliest, build_on),
                blocking_part=None if blocking is None else plan.demand.structure.items[blocking].part_number,
                leans_on_overdue=answer.leans_on_overdue,
                dying=tuple(dying for dying in taken.get(place, ()) if earliest and dying.last_use < earliest),
            )
        )
    return tuple(sorted(rows, key=lambda row: row.job))


def what_frees(plan: Plan, *, most_steps: int = 10) -> Freeing:
    """Which parts hold the jobs that are late or short, alone and in pairs.

    Parameters
    ----------
    most_steps : how many greedy steps are worked out at most
    """
    release = _Releases(plan)
    singles = [release(parts, jobs) for parts, jobs in _by_parts(release.held, 1).items()]
    pairs = [
        release(pair, [job for job, parts in release.held.items() if parts <= pair])
        for pair in _by_parts(release.held, TWO)
    ]
    return Freeing(
        tuple(sorted(singles, key=lambda row: (-len(row.jobs), row.part_numbers))),
        tuple(sorted(pairs, key=_best_first)),
        tuple(release.steps(most_steps)),
    )


class _Releases:
    """Makes the rows of what frees jobs."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.held = {
            job: parts
            for job, parts in holding_items(plan.netting, plan.found, plan.demand).items()
            if plan.demand.askers[job].job is not None
        }
        self.bought: dict[int, BuyRow] = {row.item: row for row in plan.buy}
        self.needed, self.lacked = _own_needs(plan)

    def __call__(self, parts: frozenset[int], jobs: Iterable[int]) -> Release:
        items, askers = self.plan.demand.structure.items, self.plan.demand.askers
        jobs = sorted(jobs, key=lambda job: askers[job].name)
        purchases = sorted((self._purchase(item) for item in parts), key=lambda row: row.part_number)
        prices = [row.price for row in purchases if row.means == "buy"]
        known = [price for price in prices if price is not None]
        return Release(
            part_numbers=tuple(sorted(items[item].part_number for item in parts)),
            jobs=tuple(askers[job].name for job in jobs),
            only_together=tuple(askers[job].name for job in jobs if len(parts) > 1 and len(self.held[job] & parts) > 1),
            in_time=tuple(askers[job].name for job in jobs if self._in_time(job)),
            purchases=tuple(purchases),
            price=sum(known, Decimal(0)) if known and len(known) == len(prices) else None,
        )

    def steps(self, most: int) -> Iterator[Release]:
        """Greedy steps, each freeing what it can of the jobs still held."""
        left: dict[int, frozenset[int]] = dict(self.held)
        for _ in range(most):
            choices = _by_parts(left, 1) or _by_parts(left, TWO)
            if not choices:
                return
            best = min((self(parts, jobs) for parts, jobs in choices.items()), key=_best_first)
            index = self.plan.demand.structure.index
            chosen = frozenset(index[part] for part in best.part_numbers)
            left = {job: parts - chosen for job, parts in left.items()}
            yield best

    def _purchase(self, item: int) -> FreeingPurchase:
        part_number, row = self.plan.demand.structure.items[item].part_number, self.bought.get(item)
        if row is not None and row.short:
            here, purchase = row.purchase.arrives_on, row.purchase
            return FreeingPurchase(
                part_number, "buy", purchase.packs, purchase.order_quantity, purchase.price, _day(here)
            )
        if item not in self.lacked:
            return FreeingPurchase(part_number, "pack", 0, 0, None, None)
        return FreeingPurchase(part_number, "hurry", 0, 0, None, _day(self._arrival(item)))

    def _arrival(self, item: int) -> int | None:
        """When a purchase of today would be here of what now comes too late."""
        row = self.bought.get(item)
        if row is not None:
            return row.purchase.arrives_on
        if self.plan.demand.structure.items[item].source in MADE_HERE:
            return None
        quantity, need = self.lacked[item]
        return self.plan.book.choose(item, quantity, need).arrives_on

    def _in_time(self, job: int) -> bool:
        """Whether a purchase of today would be here for everything that holds the job."""
        for item in self.held[job]:
            need, here = self.needed.get((job, item)), None
            if need is not None:
                here = self._arrival(item)
            if need is None or here is None or here > need:
                return False
        return True


def _own_needs(plan: Plan) -> tuple[dict[tuple[int, int], int], dict[int, tuple[int, int]]]:
    """What sure pieces lack or wait too long for: the first day that would do by job and item, and by item the
    quantity with its first need day.
    """
    pieces, draws = plan.netting.pieces, plan.netting.draws
    needed: dict[tuple[int, int], int] = {}
    lacked: dict[int, tuple[int, int]] = {}
    late = ((draws.supply == UNCOVERED) | plan.found.late_draw) & ~pieces.wear[draws.piece]
    for row in np.flatnonzero(late).tolist():
        piece, quantity = int(draws.piece[row]), int(draws.quantity[row])
        item, need = int(pieces.item[piece]), int(pieces.need_day[piece])
        key = (int(pieces.job[piece]), item)
        needed[key] = min(needed.get(key, NEVER), _day_that_would_do(plan, piece))
        sofar, first = lacked.get(item, (0, NEVER))
        lacked[item] = (sofar + quantity, min(first, need))
    return needed, lacked


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


def _by_parts(held: Held, size: int) -> dict[frozenset[int], list[int]]:
    """The jobs held by exactly so many items, gathered by those items."""
    gathered: dict[frozenset[int], list[int]] = defaultdict(list)
    for job, parts in held.items():
        if len(parts) == size:
            gathered[parts].append(job)
    return dict(gathered)


def _best_first(row: Release) -> tuple[int, bool, Decimal, tuple[str, ...]]:
    """Most jobs first, then the lowest price, what has none after that, then by part number."""
    return -len(row.jobs), row.price is None, row.price or Decimal(0), row.part_numbers


def _dying_draws(plan: Plan) -> dict[int, list[Dying]]:
    """What each job takes from lots that die some day, by job number."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    rows = np.flatnonzero((draws.supply >= 0) & ~pieces.wear[draws.piece])
    rows = rows[supplies.last_day[draws.supply[rows]] < LAST_DAY]
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

"""What may be found worn, for the whole batch: what is covered, what is weakest, and which pump to open first.

Everything here is pooled over all jobs of the plan, as the planned wear is. The planned quantities take the positions
as independent; those of one dirty pump are not, so more may be found at once than the figures say (`FLOOR`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

import numpy as np

from bom.answers.shelf_chance import shelf_chance
from bom.buying.leads import Lead
from bom.plan import Plan
from bom.structure.arrays import as_date, day_number
from bom.structure.tables import Ints
from bom.supply.matching import UNCOVERED, need_days
from bom.values import ONE
from bom.wear.overhaul_rate import pieces_for

FLOOR = (
    "The positions of one dirty pump do not wear independently, so read each planned quantity as a floor: what is "
    "found together may be more."
)
WEAKEST = 3
PRICE_DECIMALS = 4
CLOSED_STAGES = frozenset({"expected", "here"})
"""Stages of a pump that nobody has opened."""


@dataclass(frozen=True, slots=True)
class WearItem:
    """One item that may be found worn. Quantities in millionths of the stock unit.

    Parameters
    ----------
    positions : inspected positions without a verdict, over all jobs
    expected : stock units expected to be renewed
    cover : planned demand: enough with ``how_sure_percent``
    published : what a table of "quantity per 100 overhauls" plans for as many positions; None for measured items
    free : what the sure pieces leave on lots that live to the last build day of wear
    sure_lacks : what of the sure pieces is not on the shelf; with any of it there is no chance
    chance : chance that what is free is enough; None for measured items
    chance_with_one_more : the same with one piece more on the shelf
    price_of_one : price per pack of the chosen offer over the pack size; None when no offer has a price
    is_covered : nothing of the planned demand is left uncovered by shelf and orders
    """

    part_number: str
    positions: int
    expected: float
    cover: int
    how_sure_percent: float
    published: int | None
    free: int
    sure_lacks: int
    chance: float | None
    chance_with_one_more: float | None
    price_of_one: Decimal | None
    is_covered: bool

    @property
    def added_by_one_more(self) -> float | None:
        """What one piece more adds to the chance; nothing where pieces are renewed in groups and one is too few."""
        if self.chance is None or self.chance_with_one_more is None:
            return None
        return self.chance_with_one_more - self.chance


@dataclass(frozen=True, slots=True)
class OpenFirst:
    """A job that nobody has stripped, and what its strip-down decides.

    ``parts`` are the items with uncovered wear that it has positions of; ``wear_cost`` is what is expected of them,
    less the spares of its kits, at the price of one, to four decimals; ``unpriced`` of them have no price.
    ``order_by`` is the first day by which one of them, ``most_urgent``, should have been ordered for this job,
    ``days_late`` the working days since; None when no lead time is known.
    """

    job: str
    stage: str
    strip_on: date | None
    build_on: date
    positions: int
    parts: tuple[str, ...]
    wear_cost: Decimal
    unpriced: int
    most_urgent: str | None
    order_by: date | None
    days_late: int | None


@dataclass(frozen=True, slots=True)
class WearOutlook:
    """Items with wear by part number, how many of them are ``covered``, and the jobs to open first.

    ``weakest`` are the three, as far as they are counted in pieces, for which the shelf is least likely to be enough;
    those that shelf and orders cover stand behind the rest. ``says`` is one sentence.
    """

    items: tuple[WearItem, ...]
    covered: int
    weakest: tuple[WearItem, ...]
    open_first: tuple[OpenFirst, ...]
    says: str
    floor: str = FLOOR


def look_at_wear(plan: Plan, jobs: Collection[str] | None = None) -> WearOutlook:
    """The outlook on wear, as the shelf and the orders stand.

    Parameters
    ----------
    plan : the finished plan
    jobs : show only items that may be found worn in these jobs, and only these jobs; the figures stay those of all
    """
    shown = [
        place
        for place, asker in enumerate(plan.demand.askers)
        if asker.job is not None and (jobs is None or asker.name in jobs)
    ]
    items = _shown_items(plan, shown)
    undecided = _undecided(plan).intersection(items)
    prices, published = _prices_of_one(plan, items), published_rounding(plan)
    rows = [
        WearItem(
            part_number=plan.demand.structure.items[item].part_number,
            positions=plan.netting.covers[item].positions,
            expected=plan.netting.covers[item].expected,
            cover=sum(plan.netting.covers[item].planned),
            how_sure_percent=plan.demand.structure.items[item].how_sure_percent,
            published=published.get(item),
            free=shelf.left,
            sure_lacks=shelf.sure_lacks,
            chance=shelf.chance,
            chance_with_one_more=shelf.with_one_more,
            price_of_one=prices[item],
            is_covered=item not in undecided,
        )
        for item in items
        if (shelf := shelf_chance(plan, item)) is not None
    ]
    counted = [row for row in rows if row.chance is not None]
    weakest = sorted(counted, key=lambda row: (row.is_covered, row.chance, row.part_number))[:WEAKEST]
    first = sorted(
        _closed_pumps(plan, shown, undecided, prices),
        key=lambda row: (-row.wear_cost, -(row.days_late or 0), row.build_on, row.job),
    )
    covered = sum(row.is_covered for row in rows)
    return WearOutlook(tuple(rows), covered, tuple(weakest), tuple(first), _say(rows, covered, weakest))


def _shown_items(plan: Plan, shown: Sequence[int]) -> list[int]:
    """Items with open positions in one of the jobs, by part number."""
    found = [item for item in plan.demand.wear.items_of(shown) if plan.netting.covers[item].positions]
    return sorted(found, key=lambda item: plan.demand.structure.items[item].part_number)


def _undecided(plan: Plan) -> frozenset[int]:
    """Items of whose planned wear something is uncovered, be it in what a kit or a made assembly asks for."""
    pieces, draws = plan.netting.pieces, plan.netting.draws
    top = np.unique(draws.piece[(draws.supply == UNCOVERED) & pieces.wear[draws.piece]])
    while (below := pieces.parent[top] >= 0).any():
        top = np.where(below, pieces.parent[top], top)
    return frozenset(pieces.item[top].tolist())


def _prices_of_one(plan: Plan, items: Sequence[int]) -> dict[int, Decimal | None]:
    """Price of one stock unit of each item by the offer chosen for what is to buy of it, or for one."""
    bought = {row.item: row.purchase for row in plan.buy}
    prices: dict[int, Decimal | None] = {}
    for item in items:
        purchase = bought.get(item) or plan.book.choose(item, ONE, None)
        prices[item] = None if purchase.price is None else purchase.price * ONE / purchase.order_quantity
    return prices


def published_rounding(plan: Plan) -> dict[int, int]:
    """The published rounding for all open positions of each item that is counted, at their mean chance.

    Parameters
    ----------
    plan : the finished plan
    """
    wear, countable = plan.demand.wear, plan.demand.structure.countable
    width = len(wear.chances)
    kinds, of_row = np.unique(wear.item * width + wear.kind, return_inverse=True)
    pieces = np.zeros(kinds.size, np.int64)
    np.add.at(pieces, of_row, wear.weight * wear.count)
    positions: dict[int, int] = defaultdict(int)
    expected: dict[int, Fraction] = defaultdict(Fraction)
    for kind, count in zip(kinds.tolist(), pieces.tolist(), strict=True):
        item = kind // width
        if countable[item]:
            positions[item] += count
            expected[item] += count * wear.chances[kind % width]
    return {item: pieces_for(count, 100 * expected[item] / count) for item, count in positions.items()}


def _closed_pumps(
    plan: Plan, shown: Sequence[int], undecided: Collection[int], prices: Mapping[int, Decimal | None]
) -> Iterator[OpenFirst]:
    """The jobs that nobody has stripped, with what their strip-down decides."""
    items, leads = plan.demand.structure.items, {row.item: row.purchase.lead for row in plan.buy}
    expected, positions = _expected_of_jobs(plan, undecided), _positions_of_jobs(plan)
    urgent: dict[tuple[int, frozenset[int]], tuple[int, str] | None] = {}
    for place in shown:
        job = plan.demand.askers[place].job
        if job is None or job.stage not in CLOSED_STAGES or place not in expected:
            continue
        parts = expected[place]
        cost = sum(float(price) * units for item, units in parts.items() if (price := prices[item]) is not None)
        key = _need_day(plan, place), frozenset(parts)
        if key not in urgent:
            urgent[key] = _most_urgent(plan, *key, leads)
        day, part = urgent[key] or (None, None)
        order_by = None if day is None else as_date(day)
        yield OpenFirst(
            job=job.job,
            stage=job.stage,
            strip_on=job.strip_on,
            build_on=job.build_on,
            positions=int(positions[place]),
            parts=tuple(sorted(items[item].part_number for item in parts)),
            wear_cost=round(Decimal(cost), PRICE_DECIMALS),
            unpriced=sum(prices[item] is None for item in parts),
            most_urgent=part,
            order_by=order_by,
            days_late=None if order_by is None else plan.calendar.between(order_by, plan.shop.as_of),
        )


def _expected_of_jobs(plan: Plan, items: Collection[int]) -> dict[int, dict[int, float]]:
    """Stock units that each job is expected to renew of these items, less the spares of its kits; by job and item."""
    wear, countable = plan.demand.wear, plan.demand.structure.countable
    width = len(plan.demand.structure.items)
    mine = np.isin(wear.item, list(items))
    pairs, of_row = np.unique(wear.job[mine] * width + wear.item[mine], return_inverse=True)
    asked = (wear.weight * wear.count)[mine] * wear.likely[wear.kind[mine]]
    totals = np.bincount(of_row, asked, minlength=pairs.size)
    found: dict[int, dict[int, float]] = defaultdict(dict)
    for pair, total in zip(pairs.tolist(), totals.tolist(), strict=True):
        job, item = divmod(pair, width)
        units = max(0.0, total - wear.spares.get((item, job), 0))
        found[job][item] = units if countable[item] else units / ONE
    return found


def _positions_of_jobs(plan: Plan) -> Ints:
    """Open positions of each job, those of measured items left out."""
    wear = plan.demand.wear
    counted = plan.demand.structure.countable[wear.item]
    positions = np.zeros(len(plan.demand.askers), np.int64)
    np.add.at(positions, wear.job[counted], (wear.weight * wear.count)[counted])
    return positions


def _most_urgent(
    plan: Plan, need: int, items: Iterable[int], leads: Mapping[int, Lead | None]
) -> tuple[int, str] | None:
    """The first day by which one of the items has to be ordered for a day of need, and which; None if unknown."""
    names, known = plan.demand.structure.items, [item for item in items if leads.get(item) is not None]
    days = plan.book.leads.order_days(np.full(len(known), need, np.int64), [leads[item] for item in known])
    parts = (names[item].part_number for item in known)
    return min(zip(days.tolist(), parts, strict=True), default=None)


def _need_day(plan: Plan, place: int) -> int:
    """The day on which the parts of a job are needed."""
    build = np.array([plan.demand.askers[place].build_day], np.int64)
    today = day_number(plan.calendar.on_or_after(plan.shop.as_of))
    return int(need_days(plan.calendar, build, np.array([plan.shop.staging_days], np.int64), today)[0])


def _say(rows: Sequence[WearItem], covered: int, weakest: Sequence[WearItem]) -> str:
    if not rows:
        return "Nothing is open to inspection, so no wear is planned."
    of = f"{covered} of {len(rows)} parts that may be found worn {'is' if covered == 1 else 'are'} covered"
    if len(rows) == 1:
        of = f"The one part that may be found worn is {'' if covered else 'not '}covered"
    if not weakest:
        return f"{of}."
    named = [f"{row.part_number} ({_percent(row.chance or 0.0)}, {row.free // ONE} left for it)" for row in weakest]
    most = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
    return f"{of}; the shelf is least likely to be enough for {most}."


def _percent(chance: float) -> str:
    """A chance in whole per cent, never 0 or 100 unless it is."""
    if 0 < chance < 0.01:
        return "below 1 %"
    if 0.99 < chance < 1:
        return "above 99 %"
    return f"{chance * 100:.0f} %"

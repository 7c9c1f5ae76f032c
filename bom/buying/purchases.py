"""The purchase list: what stays uncovered, what wear adds, what tops up the safety stock, and by when to order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from bom.buying.leads import NEVER
from bom.buying.order_size import OfferBook, Purchase
from bom.demand.requirements import Demand
from bom.errors import ShelfLifeError
from bom.structure.arrays import as_date, day_number
from bom.structure.calendar import ShopCalendar
from bom.structure.shelf_life import Cure, MinimumLife, oldest_cure_quarter
from bom.structure.tables import Bools, Ints, as_shared, distinct, sum_up
from bom.supply.matching import NOBODY, UNCOVERED
from bom.supply.netting import Netting
from bom.supply.supplies import Supplies
from bom.values import OrderLine

NEVER_TOPPED_UP = ("pack", "make")
DAY_SPAN = 10**7
"""More days than any calendar has: keeps the days of different items apart."""


@dataclass(frozen=True, slots=True)
class BuyRow:
    """One thing to buy. Quantities in millionths, days as day numbers, None when unknown or nothing applies.

    ``minimum_met`` is False where no lot can have the minimum life at receipt that the item asks for.
    """

    item: int
    short: int
    short_wear: int
    top_up: int
    net: int
    purchase: Purchase
    need_on: int | None
    order_by: int | None
    days_late: int | None
    wear_advice: str | None
    jobs: tuple[int, ...]
    oldest_cure: Cure | None
    minimum_met: bool = True


@dataclass(frozen=True)
class Uncovered:
    """What nothing covers: one row an item, by item number; quantities in millionths, days ``NEVER`` where none is.

    ``need`` is the first need day of the sure pieces, ``wear_need`` that of planned wear, ``strip`` the first strip day
    of the jobs behind it, ``latest_build`` the last build day of both. ``jobs`` wait for the sure pieces.
    """

    item: Ints
    short: Ints
    short_wear: Ints
    need: Ints
    wear_need: Ints
    latest_build: Ints
    strip: Ints
    jobs: tuple[tuple[int, ...], ...]


def uncovered_by_item(demand: Demand, netting: Netting) -> Uncovered:
    """Gather the uncovered draws by item.

    Parameters
    ----------
    demand : what is asked for
    netting : the pieces and what serves them
    """
    pieces, draws = netting.pieces, netting.draws
    rows = np.flatnonzero(draws.supply == UNCOVERED)
    rows = rows[np.argsort(pieces.item[draws.piece[rows]], kind="stable")]
    piece, quantity = draws.piece[rows], draws.quantity[rows]
    item, wear, need = pieces.item[piece], pieces.wear[piece], pieces.need_day[piece]
    first = np.flatnonzero(np.diff(item, prepend=-1))

    def least(day: Ints, counted: Bools) -> Ints:
        return np.minimum.reduceat(np.where(counted, day, NEVER), first) if first.size else first

    def total(counted: Bools) -> Ints:
        return np.add.reduceat(np.where(counted, quantity, 0), first) if first.size else first

    strip = np.full(piece.size, NEVER, np.int64)
    strip[wear] = _strip_days(demand, netting, piece[wear])
    latest = np.maximum.reduceat(pieces.build_day[piece], first) if first.size else first
    waiting = ~wear & (pieces.job[piece] != NOBODY)
    jobs = _jobs_by_item(item[first], item[waiting], pieces.job[piece[waiting]])
    return Uncovered(
        item[first], total(~wear), total(wear), least(need, ~wear), least(need, wear), latest, least(strip, wear), jobs
    )


def _jobs_by_item(listed: Ints, item: Ints, job: Ints) -> tuple[tuple[int, ...], ...]:
    """The jobs of each listed item, each once, in their order; both columns of items are sorted."""
    width = int(job.max(initial=0)) + 1
    pairs = distinct(item * width + job)
    ends = np.searchsorted(pairs, (listed + 1) * width).tolist()
    jobs = as_shared(pairs % width)
    return tuple(tuple(jobs[begin:end]) for begin, end in zip([0, *ends[:-1]], ends, strict=True)) if ends else ()


def _strip_days(demand: Demand, netting: Netting, piece: Ints) -> Ints:
    """For pieces of planned wear, the first strip day of the jobs on that build day in which the item may be worn."""
    pieces, wear = netting.pieces, demand.wear
    top = piece.copy()
    while (below := pieces.parent[top] >= 0).any():
        top[below] = pieces.parent[top[below]]
    if not wear.item.size:
        return np.full(piece.size, NEVER, np.int64)
    stripped = np.array(
        [day_number(asker.job.strip_on or asker.job.build_on) if asker.job else 0 for asker in demand.askers], np.int64
    )
    first = np.flatnonzero((np.diff(wear.item, prepend=-1) != 0) | (np.diff(wear.day, prepend=0) != 0))
    earliest = np.minimum.reduceat(stripped[wear.job], first)
    keys = wear.item[first] * DAY_SPAN + wear.day[first]
    wanted = pieces.item[top] * DAY_SPAN + pieces.build_day[piece]
    place = np.minimum(np.searchsorted(keys, wanted), keys.size - 1)
    return np.where(keys[place] == wanted, earliest[place], NEVER)


class Wanted(NamedTuple):
    """What one row of the purchase list is made for: millionths, days (``NEVER`` where there is none), waiting jobs."""

    item: int
    short: int
    short_wear: int
    top_up: int
    net: int
    need: int
    wear_need: int
    strip: int
    latest_build: int
    jobs: tuple[int, ...]


@dataclass(frozen=True)
class BuyList:
    """The purchase list, one row for each item with something to buy, by part number; and what each is made for."""

    rows: tuple[BuyRow, ...]
    wanted: tuple[Wanted, ...]


class Purchasing:
    """Works out the rows of the purchase list."""

    def __init__(
        self,
        demand: Demand,
        supplies: Supplies,
        netting: Netting,
        book: OfferBook,
        calendar: ShopCalendar,
        orders: Sequence[OrderLine],
    ) -> None:
        """``orders`` are the open order lines of the shop."""
        self.demand, self.supplies, self.netting = demand, supplies, netting
        self.book, self.calendar, self.orders = book, calendar, orders
        self._cures: dict[tuple[int, int, int | None, int | None, int | None], tuple[Cure | None, bool]] = {}

    def list_all(self, before: BuyList | None = None) -> BuyList:
        """Work out the whole list; rows of ``before``, made on the same day, stay where the same is wanted.

        Parameters
        ----------
        before : the list of a plan made before, of which rows are kept that are wanted for the same
        """
        wanted = self._wanted()
        known = {} if before is None else {one.item: place for place, one in enumerate(before.wanted)}
        kept = [
            before.rows[known[one.item]]
            if before is not None and one.item in known and before.wanted[known[one.item]] == one
            else None
            for one in wanted
        ]
        made = iter(self._rows([one for one, row in zip(wanted, kept, strict=True) if row is None]))
        return BuyList(tuple(row or next(made) for row in kept), wanted)

    def _wanted(self) -> tuple[Wanted, ...]:
        """What is to be bought, and for when."""
        structure = self.demand.structure
        missing, top_up = uncovered_by_item(self.demand, self.netting), self._top_ups()
        items = np.union1d(missing.item, np.flatnonzero(top_up))
        items = items[np.argsort(structure.name_rank[items])]
        place = np.searchsorted(missing.item, items)
        place[~np.isin(items, missing.item)] = -1
        wear_need = self._wear_needs(missing)
        short, short_wear = _of(missing.short, place, 0), _of(missing.short_wear, place, 0)
        columns = (
            items,
            short,
            short_wear,
            top_up[items],
            short + np.maximum(short_wear, top_up[items]),
            _of(np.where(missing.need < NEVER, missing.need, wear_need), place, NEVER),
            _of(wear_need, place, NEVER),
            _of(missing.strip, place, NEVER),
            _of(missing.latest_build, place, NEVER),
        )
        jobs = [missing.jobs[row] if row >= 0 else () for row in place.tolist()]
        return tuple(map(Wanted._make, zip(*map(as_shared, columns), jobs, strict=True)))

    def _rows(self, wanted: Sequence[Wanted]) -> list[BuyRow]:
        purchases = [self.book.choose(one.item, one.net, None if one.need == NEVER else one.need) for one in wanted]
        leads = [one.lead for one in purchases]
        order_by = self.book.leads.order_days(np.array([one.need for one in wanted], np.int64), leads)
        wear_by = self.book.leads.order_days(np.array([one.wear_need for one in wanted], np.int64), leads)
        late = self._late_days(order_by)
        rows = []
        for one, purchase, order, wear_order, days in zip(
            wanted, purchases, order_by.tolist(), wear_by.tolist(), late.tolist(), strict=True
        ):
            cure, met = self._oldest_cure(one.item, one.latest_build, purchase)
            rows.append(
                BuyRow(
                    item=one.item,
                    short=one.short,
                    short_wear=one.short_wear,
                    top_up=one.top_up,
                    net=one.net,
                    purchase=purchase,
                    need_on=_known(one.need),
                    order_by=_known(order),
                    days_late=None if order == NEVER else days,
                    wear_advice=_advise(one.wear_need, one.strip, wear_order, purchase),
                    jobs=one.jobs,
                    oldest_cure=cure,
                    minimum_met=met,
                )
            )
        return rows

    def _top_ups(self) -> Ints:
        """What the safety stock of each item lacks."""
        structure, left = self.demand.structure, self.netting.supply_left_for_stock
        found = np.zeros(len(structure.items), np.int64)
        for number, item in enumerate(structure.items):
            if item.safety_stock and item.source not in NEVER_TOPPED_UP and not item.bench:
                found[number] = max(0, item.safety_stock - int(left[number]))
        return found

    def _late_days(self, order_by: Ints) -> Ints:
        """Working days from the day by which to order to today."""
        today = np.full(order_by.size, self.book.as_of, np.int64)
        known = np.where(order_by < NEVER, order_by, today)
        return self.calendar.between_all(known.astype("datetime64[D]"), today.astype("datetime64[D]"))

    def _wear_needs(self, missing: Uncovered) -> Ints:
        """The first day on which sure need and planned wear exceed the usable lots and the orders come by then.

        ``NEVER`` for items of which no planned wear is uncovered.
        """
        pieces = self.netting.pieces
        wanted = np.zeros(len(self.demand.structure.items), bool)
        wanted[missing.item[missing.short_wear > 0]] = True
        mine = np.flatnonzero(wanted[pieces.item])
        key, quantity = sum_up((pieces.item[mine] * DAY_SPAN + pieces.need_day[mine],), pieces.quantity[mine])
        item = key // DAY_SPAN
        asked = _running(quantity, item)
        index = self.demand.structure.index
        come_item = np.array([index[line.part_number] for line in self.orders], np.int64)
        day = np.array([max(day_number(line.promised), self.book.as_of) for line in self.orders], np.int64)
        coming = np.array([line.quantity for line in self.orders], np.int64)
        come, coming = sum_up((come_item * DAY_SPAN + day,), coming)
        total = np.concatenate((np.zeros(1, np.int64), np.cumsum(coming)))
        in_time = total[np.searchsorted(come, key, side="right")] - total[np.searchsorted(come, item * DAY_SPAN)]
        short = np.flatnonzero(self.supplies.on_hand[item] + in_time < asked)
        listed, first = np.unique(item[short], return_index=True)
        found = missing.wear_need.copy()
        found[np.searchsorted(missing.item, listed)] = (key % DAY_SPAN)[short[first]]
        return found

    def _oldest_cure(self, item: int, latest_build: int, purchase: Purchase) -> tuple[Cure | None, bool]:
        """The oldest cure quarter that serves the latest build day and has the minimum life; whether there is one."""
        held = self.demand.structure.items[item]
        if held.life_months is None or latest_build == NEVER:
            return None, True
        received = None
        if held.min_life_months is not None or held.min_life_percent is not None:
            received = self.book.as_of if purchase.arrives_on is None else purchase.arrives_on
        key = (latest_build, held.life_months, held.min_life_percent, held.min_life_months, received)
        if key not in self._cures:
            self._cures[key] = _oldest_cure(*key)
        return self._cures[key]


def _oldest_cure(
    latest_build: int, life_months: int, percent: int | None, months: int | None, received: int | None
) -> tuple[Cure | None, bool]:
    latest = as_date(latest_build)
    minimum = None if received is None else MinimumLife(percent=percent, months=months)
    try:
        return oldest_cure_quarter(latest, life_months, minimum, None if received is None else as_date(received)), True
    except ShelfLifeError:  # a minimum that no lot can meet: the build day alone decides, and a flag says so
        return oldest_cure_quarter(latest, life_months), False


def _advise(need: int, strip: int, order_by: int, purchase: Purchase) -> str | None:
    """What to do with what wear adds; nothing where no wear is to buy, or no lead time is known."""
    if need == NEVER or purchase.arrives_on is None:
        return None
    if purchase.arrives_on > need:
        return "only_if_found"
    return "decide_after_strip" if strip < NEVER and order_by >= strip else None


def _known(day: int) -> int | None:
    return None if day == NEVER else day


def _of(column: Ints, place: Ints, otherwise: int) -> Ints:
    """The values at the places, ``otherwise`` where the place is -1."""
    return np.append(column, otherwise)[place]


def _running(quantity: Ints, item: Ints) -> Ints:
    """Quantities added up over the rows of one item; items are sorted."""
    total = np.cumsum(quantity)
    return total - np.concatenate((np.zeros(1, np.int64), total))[np.searchsorted(item, item)]

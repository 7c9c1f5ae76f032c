"""The purchase list: what stays uncovered, what wear adds, what tops up the safety stock, and by when to order."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from bom.calendar import ShopCalendar
from bom.errors import ShelfLifeError
from bom.matching import NOBODY, UNCOVERED, Supplies
from bom.netting import Netting
from bom.order_size import OfferBook, Purchase
from bom.requirements import Demand
from bom.shelf_life import Cure, MinimumLife, oldest_cure_quarter
from bom.structure import Ints, as_date, day_number

NEVER_TOPPED_UP = ("pack", "make")


@dataclass(frozen=True, slots=True)
class BuyRow:
    """One thing to buy. Quantities in millionths, days as day numbers, None when unknown or nothing applies."""

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


@dataclass(frozen=True, slots=True)
class Uncovered:
    """What nothing covers of one item: piece numbers with millionths, sure and wear apart."""

    sure: tuple[tuple[int, int], ...]
    wear: tuple[tuple[int, int], ...]


def uncovered_by_item(netting: Netting) -> dict[int, Uncovered]:
    """Gather the uncovered draws by item."""
    pieces, draws = netting.pieces, netting.draws
    sure: dict[int, list[tuple[int, int]]] = defaultdict(list)
    wear: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for row in np.flatnonzero(draws.supply == UNCOVERED).tolist():
        piece = int(draws.piece[row])
        target = wear if pieces.wear[piece] else sure
        target[int(pieces.item[piece])].append((piece, int(draws.quantity[row])))
    return {item: Uncovered(tuple(sure[item]), tuple(wear[item])) for item in sorted({*sure, *wear})}


class Purchasing:
    """Works out the rows of the purchase list."""

    def __init__(
        self,
        demand: Demand,
        supplies: Supplies,
        netting: Netting,
        book: OfferBook,
        calendar: ShopCalendar,
        order_days: dict[int, list[tuple[int, int]]],
    ) -> None:
        """``order_days`` lists, by item, the day each open order line comes and its millionths."""
        self.demand, self.supplies, self.netting = demand, supplies, netting
        self.book, self.calendar, self.order_days = book, calendar, order_days
        self.by_item = _PiecesByItem(netting, len(demand.structure.items))
        self.strip_days = _strip_days(demand)
        self._back: dict[tuple[int, int], int] = {}

    def rows(self, uncovered: dict[int, Uncovered]) -> list[BuyRow]:
        """One row for each item with something to buy, by part number."""
        structure = self.demand.structure
        top_ups = {
            number: max(0, item.safety_stock - int(self.netting.supply_left_for_stock[number]))
            for number, item in enumerate(structure.items)
            if item.safety_stock and item.source not in NEVER_TOPPED_UP and not item.bench
        }
        wanted = {*uncovered, *(item for item, quantity in top_ups.items() if quantity)}
        nothing = Uncovered((), ())
        return [
            self._row(item, uncovered.get(item, nothing), top_ups.get(item, 0))
            for item in sorted(wanted, key=lambda number: structure.items[number].part_number)
        ]

    def _row(self, item: int, missing: Uncovered, top_up: int) -> BuyRow:
        pieces = self.netting.pieces
        short = sum(quantity for _, quantity in missing.sure)
        short_wear = sum(quantity for _, quantity in missing.wear)
        net = short + max(short_wear, top_up)
        wear_need = self._wear_need(item, missing) if missing.wear else None
        need = min((int(pieces.need_day[piece]) for piece, _ in missing.sure), default=wear_need)
        purchase = self.book.choose(item, net, need)
        order_by = self._order_by(need, purchase)
        return BuyRow(
            item=item,
            short=short,
            short_wear=short_wear,
            top_up=top_up,
            net=net,
            purchase=purchase,
            need_on=need,
            order_by=order_by,
            days_late=None if order_by is None else self.between(order_by, self.book.as_of),
            wear_advice=self._advice(missing, wear_need, purchase),
            jobs=tuple(sorted({int(pieces.job[piece]) for piece, _ in missing.sure if pieces.job[piece] != NOBODY})),
            oldest_cure=self._oldest_cure(item, [piece for piece, _ in (*missing.sure, *missing.wear)], purchase),
        )

    def between(self, first: int, last: int) -> int:
        """Working days from one day number to a later one."""
        return self.calendar.between(as_date(first), as_date(last))

    def _order_by(self, need: int | None, purchase: Purchase) -> int | None:
        if need is None or purchase.lead_days is None:
            return None
        key = (need, purchase.lead_days)
        if key not in self._back:
            self._back[key] = day_number(self.calendar.back(as_date(need), purchase.lead_days))
        return self._back[key]

    def _wear_need(self, item: int, missing: Uncovered) -> int:
        """The first day on which sure need and planned wear exceed the usable lots and the orders come by then."""
        pieces = self.netting.pieces
        mine = self.by_item(item)
        asked: dict[int, int] = defaultdict(int)
        for day, quantity in zip(pieces.need_day[mine].tolist(), pieces.quantity[mine].tolist(), strict=True):
            asked[day] += quantity
        balance = int(self.supplies.on_hand[item])
        coming = sorted(self.order_days.get(item, ()), reverse=True)
        for day in sorted(asked):
            while coming and coming[-1][0] <= day:
                balance += coming.pop()[1]
            balance -= asked[day]
            if balance < 0:
                return day
        return min(int(pieces.need_day[piece]) for piece, _ in missing.wear)

    def _advice(self, missing: Uncovered, wear_need: int | None, purchase: Purchase) -> str | None:
        if wear_need is None or purchase.lead_days is None or purchase.arrives_on is None:
            return None
        if purchase.arrives_on > wear_need:
            return "only_if_found"
        order_by = self._order_by(wear_need, purchase)
        strip = self._earliest_strip(missing)
        return "decide_after_strip" if order_by is not None and strip is not None and order_by >= strip else None

    def _earliest_strip(self, missing: Uncovered) -> int | None:
        pieces = self.netting.pieces
        days = []
        for piece, _ in missing.wear:
            day, top = int(pieces.build_day[piece]), piece
            while pieces.parent[top] >= 0:
                top = int(pieces.parent[top])
            days.append(self.strip_days.get((int(pieces.item[top]), day)))
        return min((day for day in days if day is not None), default=None)

    def _oldest_cure(self, item: int, uncovered: list[int], purchase: Purchase) -> Cure | None:
        """The oldest cure quarter that serves the latest build day and still has the minimum life when it comes."""
        held = self.demand.structure.items[item]
        if held.life_months is None or not uncovered:
            return None
        latest = as_date(int(self.netting.pieces.build_day[uncovered].max()))
        minimum, received = None, None
        if held.min_life_months is not None or held.min_life_percent is not None:
            minimum = MinimumLife(percent=held.min_life_percent, months=held.min_life_months)
            received = as_date(self.book.as_of if purchase.arrives_on is None else purchase.arrives_on)
        try:
            return oldest_cure_quarter(latest, held.life_months, minimum, received)
        except ShelfLifeError:  # a minimum that no lot can meet: the build day alone decides
            return oldest_cure_quarter(latest, held.life_months)


def _strip_days(demand: Demand) -> dict[tuple[int, int], int]:
    """The earliest strip day of the jobs in which an item may be found worn, by item and build day."""
    stripped = np.array(
        [day_number(asker.job.strip_on or asker.job.build_on) if asker.job else 0 for asker in demand.askers], np.int64
    )
    wear = demand.wear
    if not wear.item.size:
        return {}
    first = np.flatnonzero((np.diff(wear.item, prepend=-1) != 0) | (np.diff(wear.day, prepend=0) != 0))
    earliest = np.minimum.reduceat(stripped[wear.job], first)
    keys = zip(wear.item[first].tolist(), wear.day[first].tolist(), strict=True)
    return dict(zip(keys, earliest.tolist(), strict=True))


class _PiecesByItem:
    """Piece numbers by item, from one sort."""

    def __init__(self, netting: Netting, items: int) -> None:
        self.order = np.argsort(netting.pieces.item, kind="stable")
        self.first = np.searchsorted(netting.pieces.item[self.order], np.arange(items + 1))

    def __call__(self, item: int) -> Ints:
        return self.order[self.first[item] : self.first[item + 1]]

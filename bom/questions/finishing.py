"""Which jobs can be finished from today's shelf: needs against free lots and the jobs' own bags, without any order.

Here nothing is promised and nothing is bought. A job is finished when every sure piece of it comes from a lot that
lives to its build day, from what is set aside for it, or from a kit or made assembly that is put together from such
pieces; the days that packing takes are not counted. A kit is what was recorded of its bag: what it is without, the job
takes beside it.

Lots are *apart* if it matters which job they go to beyond their last day and their owner: kits that lack something for
somebody. Which job takes how much of them has to be said; all others of an item are alike.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bom.demand.kit_cover import contents
from bom.plan import Plan
from bom.questions.shelf_stock import ItemQueue, Stock
from bom.supply.bags import Bags
from bom.supply.matching import PACKED, UNCOVERED
from bom.supply.supplies import gather_supplies
from bom.values import ONE, PACKED_SOURCES

Packed = Mapping[tuple[int, int], int]
"""Millionths put together here, by asker and item number."""

Apart = Mapping[tuple[int, int], Mapping[int, int]]
"""Millionths from lots that are apart, by asker and item number, and by the place of the lot among the shop's lots."""


@dataclass(frozen=True, slots=True)
class Taking:
    """One taking: asker and item number, millionths, and the place among the shop's lots, -1 from the job's bag.

    ``own`` says that it was set aside for the job.
    """

    asker: int
    item: int
    quantity: int
    lot_place: int
    own: bool


@dataclass(frozen=True, slots=True)
class Finished:
    """Jobs that are finished together, with what each takes and what is put together for it."""

    askers: tuple[int, ...]
    draws: tuple[Taking, ...]
    packed: Packed


class FreeShelf:
    """Today's free lots and set-aside pieces, and what each asker wants of them.

    Attributes
    ----------
    wants : millionths by item number, for each asker of the plan
    in_turn : asker numbers in the order in which the plan serves them
    apart : places, among the shop's lots, of those that are apart
    """

    def __init__(self, plan: Plan) -> None:
        self.plan, self.structure = plan, plan.demand.structure
        self.askers = plan.demand.askers
        numbers = {asker.name: number for number, asker in enumerate(self.askers) if asker.job}
        shop = plan.shop
        self.supplies = gather_supplies(self.structure, plan.as_of, shop.lots, (), shop.issues, numbers)
        self.wants: list[dict[int, int]] = [{} for _ in self.askers]
        pieces = plan.netting.pieces
        need_day = {number: asker.build_day for number, asker in enumerate(self.askers)}
        direct = (pieces.way < 0) & ~pieces.wear
        columns = (pieces.job[direct], pieces.item[direct], pieces.need_day[direct], pieces.quantity[direct])
        for asker, item, need, quantity in zip(*map(np.ndarray.tolist, columns), strict=True):
            need_day[asker] = need
            self.wants[asker][item] = quantity
        self.in_turn = sorted(need_day, key=lambda asker: (need_day[asker], asker))
        self.turn = {asker: place for place, asker in enumerate(self.in_turn)}
        order = np.lexsort((self.structure.name_rank, self.structure.level))
        self._place: list[int] = np.argsort(order).tolist()
        self._contents: dict[tuple[int, int], dict[int, list[int]]] = {}
        self._bags = Bags(plan.demand, plan.netting.recorded, self.supplies)
        self._first: list[int] = self.supplies.first.tolist()
        self._last_day: list[int] = self.supplies.last_day.tolist()
        self._lot_place: list[int] = self.supplies.lot_place.tolist()
        self.apart = frozenset(self._without_something())

    def full(self) -> Stock:
        """Everything that lies there now."""
        own = {key: [aside.left for aside in held] for key, held in self.supplies.set_aside.items()}
        return Stock(self.supplies.left.tolist(), own)

    def inside(self, item: int, asker: int) -> dict[int, list[int]]:
        """What one of ``item`` is put together from for this asker: quantities of its lines, by part; else nothing.

        Parameters
        ----------
        item : number of the item
        asker : number of the job or other need
        """
        condition = self.askers[asker].condition
        key = (item, condition)
        if key not in self._contents:
            found: dict[int, list[int]] = defaultdict(list)
            if self.structure.items[item].source in PACKED_SOURCES:
                held = contents(self.structure, self.plan.demand.conditions, np.array([item]), np.array([condition]))
                for number in held.line.tolist():
                    found[int(self.structure.child[number])].append(int(self.structure.quantity[number]))
            self._contents[key] = dict(found)
        return self._contents[key]

    def without(self, asker: int, item: int, lot_place: int) -> dict[int, int]:
        """What one kit of a lot is without for this asker: millionths by part; nothing of what is no kit.

        Parameters
        ----------
        asker : number of the job or other need
        item : number of the item
        lot_place : place among the shop's lots
        """
        if lot_place not in self._bags.recorded:
            return {}
        return self._bags.without(item, self.askers[asker].condition, lot_place)

    def own(self, asker: int, item: int) -> list[tuple[int, int]]:
        """What is set aside for the asker and may serve it: place in the list, place among the lots.

        Parameters
        ----------
        asker : number of the job or other need
        item : number of the item
        """
        held = self.supplies.set_aside.get((asker, item), ())
        build_day = self.askers[asker].build_day
        return [(place, aside.lot_place) for place, aside in enumerate(held) if aside.last_day >= build_day]

    def lots(self, asker: int, item: int) -> list[int]:
        """Supply numbers of the free lots that may serve the asker: its customer's first, earliest last use first.

        Parameters
        ----------
        asker : number of the job or other need
        item : number of the item
        """
        owner, build_day, customer = self.supplies.owner, self.askers[asker].build_day, self.askers[asker].customer
        living = [n for n in range(self._first[item], self._first[item + 1]) if self._last_day[n] >= build_day]
        ours = [supply for supply in living if not owner[supply]]
        if len(ours) == len(living):
            return ours
        return [supply for supply in living if owner[supply] and owner[supply] == customer] + ours

    def take(self, stock: Stock, asker: int, item: int, wanted: int) -> Iterator[Taking]:
        """Take up to ``wanted`` for one asker: its own pieces, its customer's lots, the shop's; of no lot apart.

        Parameters
        ----------
        stock : what is left on the shelf; it is lowered
        asker : number of the job or other need
        item : number of the item
        wanted : millionths
        """
        yield from self._take(stock, asker, item, wanted, lambda place: place not in self.apart)

    def take_apart(
        self, stock: Stock, asker: int, item: int, wanted: int, told: Mapping[int, int] | None = None
    ) -> Iterator[Taking]:
        """Take up to ``wanted`` of the lots that are apart, of each as much as it is ``told``; else as they stand.

        Parameters
        ----------
        stock : what is left on the shelf; it is lowered
        asker : number of the job or other need
        item : number of the item
        wanted : millionths
        told : millionths by place of the lot; None to take them as they stand
        """
        if told is None:
            yield from self._take(stock, asker, item, wanted, self.apart.__contains__)
            return
        for place in sorted(told):
            for draw in self._take(stock, asker, item, min(wanted, told[place]), place.__eq__):
                wanted -= draw.quantity
                yield draw

    def _take(self, stock: Stock, asker: int, item: int, wanted: int, takes: Callable[[int], bool]) -> Iterator[Taking]:
        for place, lot_place in self.own(asker, item):
            taken = stock.take_own(asker, item, place, wanted) if takes(lot_place) else 0
            if taken:
                wanted -= taken
                yield Taking(asker, item, taken, lot_place, True)
        for supply in self.lots(asker, item) if wanted else ():
            lot_place = self._lot_place[supply]
            taken = stock.take(supply, wanted) if takes(lot_place) else 0
            if taken:
                wanted -= taken
                yield Taking(asker, item, taken, lot_place, False)
                if not wanted:
                    break

    def _without_something(self) -> Iterator[int]:
        """Lots of kits that lack something for somebody."""
        conditions = sorted({asker.condition for asker in self.askers})
        for place in self._bags.recorded:
            kit = self.structure.index[self.plan.shop.lots[place].part_number]
            if any(self._bags.without(kit, condition, place) for condition in conditions):
                yield place

    def queue(self, items: Iterable[int]) -> ItemQueue:
        """Items in their turn: kits before what is inside them, then by part number.

        Parameters
        ----------
        items : item numbers
        """
        return ItemQueue(self._place, items)


def made_from(quantity: int, in_one: int) -> int:
    """Millionths of a part in ``quantity`` millionths of what holds ``in_one`` of it, up to the next millionth.

    Parameters
    ----------
    quantity : millionths of what is put together
    in_one : millionths of the part in one of it
    """
    return -(-quantity * in_one // ONE)


def finish_one(shelf: FreeShelf, stock: Stock, asker: int, *, whole_kits: bool = False) -> Finished | None:
    """Finish one job from what is left, putting together what no lot holds; None when that is not found.

    All pieces of a job have the same build day and the same customer, so taking ready kits first and putting together
    only the rest finishes the job whenever anything does, but for kits that lack something: these come after whole
    ones, as they stand. With ``whole_kits`` they count as whole, so that None means that nothing finishes the job.
    What is taken is taken off ``stock``, on success only.

    Parameters
    ----------
    shelf : today's free lots and what is set aside
    stock : what is left on the shelf; it is lowered
    asker : number of the job or other need
    whole_kits : count kits that lack something as whole
    """
    mark = stock.mark()
    wanted = dict(shelf.wants[asker])
    waiting = shelf.queue(wanted)
    draws: list[Taking] = []
    packed: dict[tuple[int, int], int] = {}
    while wanted:
        item = waiting.take()
        quantity = wanted.pop(item)
        taken = list(shelf.take(stock, asker, item, quantity))
        rest = quantity - sum(draw.quantity for draw in taken)
        if rest:
            apart = list(shelf.take_apart(stock, asker, item, rest))
            rest -= sum(draw.quantity for draw in apart)
            taken += apart
            for part, more in () if whole_kits else missed(shelf, apart):
                wanted[part] = wanted.get(part, 0) + more
                waiting.add(part)
        draws += taken
        if not rest:
            continue
        inside = shelf.inside(item, asker)
        if not inside:
            stock.give_back(mark)
            return None
        packed[asker, item] = rest
        for part, lines in inside.items():
            wanted[part] = wanted.get(part, 0) + sum(made_from(rest, each) for each in lines)
            waiting.add(part)
    return Finished((asker,), tuple(draws), packed)


def missed(shelf: FreeShelf, draws: Iterable[Taking]) -> Iterator[tuple[int, int]]:
    """What the kits of these takings are without: part and millionths.

    Parameters
    ----------
    shelf : today's free lots and what is set aside
    draws : takings
    """
    for draw in draws:
        for part, each in shelf.without(draw.asker, draw.item, draw.lot_place).items():
            yield part, made_from(draw.quantity, each)


def finish_in_turn(shelf: FreeShelf, candidates: Iterable[int]) -> Finished:
    """Finish what can be finished, in the order of serving; what cannot be finished takes nothing.

    Parameters
    ----------
    shelf : today's free lots and what is set aside
    candidates : numbers of jobs and other needs
    """
    wanted = set(candidates)
    stock = shelf.full()
    done: list[Finished] = []
    for asker in shelf.in_turn:
        finished = finish_one(shelf, stock, asker) if asker in wanted else None
        if finished:
            done.append(finished)
    return Finished(
        tuple(one.askers[0] for one in done),
        tuple(draw for one in done for draw in one.draws),
        {key: quantity for one in done for key, quantity in one.packed.items()},
    )


def finish_together(shelf: FreeShelf, askers: Sequence[int], packed: Packed, apart: Apart) -> Finished | None:
    """Give every piece of these jobs its lots, with ``packed`` put together; None when the shelf does not suffice.

    From lots that are apart each job takes what ``apart`` says. Of the others, item by item, the piece with the latest
    build day chooses first: every lot that lives to its build day lives to the earlier ones too, and what only one job
    or one customer may take is taken first. So an assignment is found whenever there is one. Where lots are left, less
    is put together than ``packed`` says.

    Parameters
    ----------
    shelf : today's free lots and what is set aside
    askers : numbers of jobs and other needs
    packed : what is put together for them
    apart : what each takes of lots that are apart
    """
    stock = shelf.full()
    wanted: dict[int, dict[int, int]] = defaultdict(dict)
    for asker in askers:
        for item, quantity in shelf.wants[asker].items():
            wanted[item][asker] = quantity
    draws: list[Taking] = []
    made: dict[tuple[int, int], int] = {}
    waiting = shelf.queue(wanted)
    while wanted:
        item = waiting.take()
        by_asker = wanted.pop(item)
        rest = {asker: min(packed.get((asker, item), 0), quantity) for asker, quantity in by_asker.items()}
        for asker in sorted(by_asker, key=lambda number: (-shelf.askers[number].build_day, shelf.turn[number])):
            from_lots = by_asker[asker] - rest[asker]
            taken = list(shelf.take_apart(stock, asker, item, from_lots, apart.get((asker, item), {})))
            _ask_besides(wanted, waiting, asker, missed(shelf, taken))
            taken += shelf.take(stock, asker, item, from_lots - sum(draw.quantity for draw in taken))
            if sum(draw.quantity for draw in taken) < from_lots:
                return None
            draws += taken
        for asker in sorted((number for number, quantity in rest.items() if quantity), key=shelf.turn.__getitem__):
            taken = list(shelf.take(stock, asker, item, rest[asker]))
            draws += taken
            quantity = rest[asker] - sum(draw.quantity for draw in taken)
            if not quantity:
                continue
            made[asker, item] = quantity
            inside = shelf.inside(item, asker)
            if not inside:
                return None
            holds = ((part, sum(made_from(quantity, each) for each in lines)) for part, lines in inside.items())
            _ask_besides(wanted, waiting, asker, holds)
    return Finished(tuple(sorted(askers, key=shelf.turn.__getitem__)), tuple(draws), made)


def _ask_besides(
    wanted: dict[int, dict[int, int]], waiting: ItemQueue, asker: int, parts: Iterable[tuple[int, int]]
) -> None:
    """Let one asker want so many millionths of some parts besides."""
    for part, more in parts:
        wanted[part][asker] = wanted[part].get(asker, 0) + more
        waiting.add(part)


def free_after_sure(plan: Plan) -> list[int]:
    """What the sure pieces of a plan leave of each of its supplies, in millionths; planned wear holds nothing back.

    Parameters
    ----------
    plan : the finished plan
    """
    pieces, draws = plan.netting.pieces, plan.netting.draws
    left = plan.supplies.left.copy()
    by_wear = (draws.supply >= 0) & pieces.wear[draws.piece]
    np.add.at(left, draws.supply[by_wear], draws.quantity[by_wear])
    return [int(quantity) for quantity in left]


def lots_of_plan(plan: Plan, asker: int, item: int) -> list[int]:
    """Numbers, among the supplies of a plan, of the lots that may serve the asker: earliest last use first.

    Parameters
    ----------
    plan : the finished plan
    asker : number of the job or other need
    item : number of the item
    """
    supplies, who = plan.supplies, plan.demand.askers[asker]
    return [
        supply
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1]))
        if supplies.lot_place[supply] >= 0
        and supplies.last_day[supply] >= who.build_day
        and supplies.owner[supply] in ("", who.customer)
    ]


def finished_in_order(shelf: FreeShelf) -> tuple[tuple[int, ...], Packed, Apart]:
    """What the plan finishes from the shelf: askers whose every piece is on lots, set aside or put together from such.

    In the order of serving, with what the plan puts together for them, and what it gives them of lots that are apart.

    Parameters
    ----------
    shelf : today's free lots and what is set aside
    """
    pieces, draws, supplies = shelf.plan.netting.pieces, shelf.plan.netting.draws, shelf.plan.supplies
    sure = ~pieces.wear[draws.piece]
    ordered = np.zeros(draws.piece.size, bool)
    from_supply = draws.supply >= 0
    ordered[from_supply] = supplies.order_place[draws.supply[from_supply]] >= 0
    waiting = set(pieces.job[draws.piece[sure & (ordered | (draws.supply == UNCOVERED))]].tolist())
    packed: dict[tuple[int, int], int] = defaultdict(int)
    apart: dict[tuple[int, int], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    matters = sure & ((draws.supply == PACKED) | from_supply)
    matters &= ~np.isin(pieces.job[draws.piece], list(waiting))
    piece, supplied = draws.piece[matters], draws.supply[matters]
    lots = supplied.copy()
    lots[supplied >= 0] = supplies.lot_place[supplied[supplied >= 0]]
    columns = (pieces.job[piece], pieces.item[piece], lots, draws.quantity[matters])
    for asker, item, lot_place, quantity in zip(*map(np.ndarray.tolist, columns), strict=True):
        if lot_place == PACKED:
            packed[asker, item] += quantity
        elif lot_place in shelf.apart:
            apart[asker, item][lot_place] += quantity
    for key, held in shelf.supplies.set_aside.items():
        # Both shelves were sorted by the same rules, so that what is set aside stands in the same places.
        for before, after in zip(held, supplies.set_aside[key], strict=True):
            if before.lot_place in shelf.apart:
                apart[key][before.lot_place] += before.left - after.left
    return tuple(asker for asker in shelf.in_turn if asker not in waiting), dict(packed), dict(apart)

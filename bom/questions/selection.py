"""Choose the jobs: which jobs of greatest weight can be completed from today's shelf.

Serving in order gives every job its share and may complete nobody: a kit that lies in the bag of a job that waits for
something else could have finished another. This is a multidimensional knapsack with whole jobs, solved as an integer
program (HiGHS through ``scipy.optimize.milp``), and set beside the answer in order.

The program. A job is 0 or 1; kits put together for it are whole numbers; what it takes of an item is what it asks for
itself, and for the kits put together for it, less those put together of the item. A lot that lives to a late build day
lives to the earlier ones, so that lots can serve all pieces when, for each day, the pieces with that build day or a
later one do not ask for more than the lots that live so long hold (the condition of P. Hall, 1935, for nested sets of
neighbours); lots of a customer, what is set aside for a job, and lots that are apart (kits that lack something, opened
packets that clean work may not take) are variables of their own. A kit that lacks something asks for that piece.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bom.errors import QuantityError
from bom.plan import Plan
from bom.questions.finishing import (
    Finished,
    FreeShelf,
    Packed,
    Taking,
    finish_in_turn,
    finish_one,
    finish_together,
    finished_in_order,
    free_after_sure,
    lots_of_plan,
)
from bom.questions.integer_program import IntegerProgram, RowUnit, Solution, unit_of
from bom.structure.arrays import LAST_DAY
from bom.values import ONE

LARGEST_WEIGHT = 10**9
"""Weights may add up to this: beyond it floating point no longer tells two neighbouring sums apart."""


@dataclass(frozen=True, slots=True)
class TakenFrom:
    """What a chosen job takes that the plan gives to others.

    ``quantity`` in millionths; ``holders`` are those who hold the part in the plan and have less of it, or nothing, in
    the choice: name and millionths given up, which may be more than one job's worth.
    """

    part_number: str
    quantity: int
    holders: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class ShelfDraw:
    """One taking of a chosen job, in millionths; ``lot`` and ``place`` are None when it lies in the job's bag.

    ``own`` says that it was set aside for the job.
    """

    part_number: str
    quantity: int
    lot: str | None
    place: str | None
    own: bool


@dataclass(frozen=True, slots=True)
class ChosenJob:
    """A job, or another need, that the choice completes.

    ``in_order`` says that the plan finishes it from the shelf too. ``packed`` are the kits and made assemblies to put
    together for it, in millionths.
    """

    name: str
    weight: int
    in_order: bool
    draws: tuple[ShelfDraw, ...]
    packed: tuple[tuple[str, int], ...]
    takes: tuple[TakenFrom, ...]


@dataclass(frozen=True, slots=True)
class JobChoice:
    """What today's shelf can finish. All jobs stand in the order in which the plan serves them.

    Attributes
    ----------
    chosen : the jobs that are completed
    weight : what they weigh together
    bound : no choice weighs more than this, as far as it is known
    in_order : names of the jobs that the plan finishes from the shelf, at once or after packing
    in_order_weight : what those weigh together
    given_up : names of the jobs that are finished in order, but not in the choice
    """

    chosen: tuple[ChosenJob, ...]
    weight: int
    bound: int
    in_order: tuple[str, ...]
    in_order_weight: int
    given_up: tuple[str, ...]

    @property
    def gap(self) -> int:
        """By how much a better choice could weigh more, at most."""
        return self.bound - self.weight

    @property
    def proved_best(self) -> bool:
        """Whether nothing weighs more."""
        return self.bound <= self.weight

    @property
    def says(self) -> str:
        """The verdict in words.

        >>> JobChoice((), 6, 8, (), 0, ()).says
        'not proved best: a better choice could weigh up to 8'
        """
        if self.proved_best:
            return "proved best"
        return f"not proved best: a better choice could weigh up to {self.bound}"


def weights_by_priority(plan: Plan) -> dict[str, int]:
    """Weigh each job 10 less its priority, 1 at least: priority 1 weighs 9, 5 weighs 5, 9 weighs 1.

    Parameters
    ----------
    plan : the finished plan
    """
    return {asker.name: max(1, 10 - asker.priority) for asker in plan.demand.askers}


def choose_jobs(plan: Plan, weights: Mapping[str, int] | None = None, time_limit: float = 10.0) -> JobChoice:
    """Choose the jobs of greatest weight that today's shelf can complete.

    Parameters
    ----------
    plan : the plan whose jobs and shelf are looked at
    weights : whole weight of each job and other need, by name; who has none, or 0, takes no part and holds nothing.
        Without weights their priorities decide, as in ``weights_by_priority``.
    time_limit : seconds for the solver; when they are over, the best answer so far stands, with what is known about
        better ones

    Returns
    -------
    JobChoice
        Never of less weight than the jobs that the plan finishes in order. Of choices that weigh the same, one that
        keeps as many of those as it can, unless time ran out.

    Raises
    ------
    QuantityError
        When a weight is below zero or not whole, when the weights add up to too much, or the time limit is no number
        of seconds.
    """
    shelf = FreeShelf(plan)
    weighed = _weighed(plan, weights_by_priority(plan) if weights is None else weights)
    in_order, packed_in_order, apart_in_order = finished_in_order(shelf)
    in_order = tuple(asker for asker in in_order if asker in weighed)
    candidates = _possible(shelf, weighed)
    found, at_most = _search(shelf, candidates, weighed, frozenset(in_order), time_limit)
    answers = [finish_together(shelf, in_order, packed_in_order, apart_in_order), *found]
    best = max(
        (answer for answer in answers if answer),
        key=lambda answer: sum(weighed[asker] for asker in answer.askers),
        default=Finished((), (), {}),
    )
    weight = sum(weighed[asker] for asker in best.askers)
    bound = min(_whole_bound(at_most), sum(weighed[asker] for asker in candidates))
    return JobChoice(
        chosen=_tell(shelf, best, weighed, in_order),
        weight=weight,
        bound=max(bound, weight),
        in_order=tuple(shelf.askers[asker].name for asker in in_order),
        in_order_weight=sum(weighed[asker] for asker in in_order),
        given_up=tuple(shelf.askers[asker].name for asker in in_order if asker not in best.askers),
    )


def _search(
    shelf: FreeShelf, candidates: Sequence[int], weighed: Mapping[int, int], in_order: frozenset[int], time_limit: float
) -> tuple[list[Finished | None], float]:
    """Answers that hold, and the weight that none exceeds; jobs in turn as well where the solver proved nothing."""
    program = _Program(shelf, candidates, weighed, in_order)
    solution = program.solve(time_limit if program.is_exact else time_limit / 2)
    answers = [program.read(solution)]
    if not (solution.proved and answers[0]):
        answers.append(finish_in_turn(shelf, candidates))
    if not program.is_exact:
        generous = _Program(shelf, candidates, weighed, in_order, generous=True)
        solution = generous.solve(time_limit / 2)
        answers.append(generous.read(solution))  # None unless its lots suffice to the last millionth
    return answers, solution.bound


def _possible(shelf: FreeShelf, weighed: Mapping[int, int]) -> list[int]:
    """Who can be finished at all, with the whole shelf to itself; in the order of serving."""
    stock = shelf.full()
    possible = []
    for asker in shelf.in_turn:
        if asker in weighed and finish_one(shelf, stock, asker, whole_kits=True):
            possible.append(asker)
        stock.give_back(0)
    return possible


def _weighed(plan: Plan, weights: Mapping[str, int]) -> dict[int, int]:
    """Weights above zero by asker number."""
    for name, weight in weights.items():
        if weight != int(weight) or weight < 0:
            raise QuantityError(f"{name} is to weigh {weight}: a weight is a whole number from 0 up.")
    weighed = {
        number: int(weights[asker.name])
        for number, asker in enumerate(plan.demand.askers)
        if weights.get(asker.name, 0) > 0
    }
    total = sum(weighed.values())
    if total > LARGEST_WEIGHT:
        raise QuantityError(
            f"The weights add up to {total}, which is more than {LARGEST_WEIGHT}: weigh in larger units."
        )
    return weighed


def _whole_bound(bound: float) -> int:
    """The largest whole weight within a bound that carries the solver's small error."""
    return 2 * LARGEST_WEIGHT if math.isinf(bound) else math.floor(bound + 1e-6 * max(1.0, abs(bound) * 1e-3))


class _Program:
    """The integer program over the candidates.

    Where quantities are too unlike for the solver (``is_exact`` is False) it is strict, and what it finds holds; a
    ``generous`` one finds a bound that holds.
    """

    def __init__(
        self,
        shelf: FreeShelf,
        candidates: Sequence[int],
        weighed: Mapping[int, int],
        in_order: frozenset[int],
        generous: bool = False,
    ) -> None:
        self.shelf, self.candidates = shelf, candidates
        self.generous, self.is_exact = generous, True
        self.program = IntegerProgram()
        bonus = 1 / (len(candidates) + 1)  # all of them together weigh less than 1
        self.chosen = {
            asker: self.program.variable(1, gain=weighed[asker] + bonus * (asker in in_order)) for asker in candidates
        }
        self.packed: dict[tuple[int, int], int] = {}
        self.apart: list[tuple[tuple[int, int], int, int, int]] = []  # asker and item, place of the lot, variable, unit
        self._asked: dict[int, dict[int, list[tuple[int, int]]]] = defaultdict(lambda: defaultdict(list))
        self._waiting = shelf.queue(())
        self._most: dict[tuple[int, int], int] = defaultdict(int)
        for asker in candidates:
            for item, quantity in shelf.wants[asker].items():
                self._ask(item, asker, self.chosen[asker], quantity, quantity)
        while self._asked:
            item = self._waiting.take()
            self._serve(item, self._asked.pop(item))

    def solve(self, time_limit: float) -> Solution:
        """Hand it to the solver."""
        return self.program.solve(time_limit)

    def read(self, solution: Solution) -> Finished | None:
        """The chosen jobs with lots for every piece, in whole numbers; None when there is none that holds."""
        if solution.values is None:
            return None
        values = solution.values
        chosen = [asker for asker, variable in self.chosen.items() if values[variable] > 0.5]
        packed: Packed = {key: round(values[variable] * ONE) for key, variable in self.packed.items()}
        apart: dict[tuple[int, int], dict[int, int]] = defaultdict(lambda: defaultdict(int))
        for key, lot_place, variable, size in self.apart:
            apart[key][lot_place] += round(values[variable]) * size
        return finish_together(self.shelf, chosen, packed, apart)

    def _ask(self, item: int, asker: int, variable: int, each: int, most: int) -> None:
        """One unit of ``variable`` asks for ``each`` millionths, ``most`` in all."""
        self._asked[item][asker].append((variable, each))
        self._waiting.add(item)
        self._most[asker, item] += most

    def _serve(self, item: int, asked: Mapping[int, list[tuple[int, int]]]) -> None:
        """Rows that keep the pieces of one item within its lots; nothing where the lots suffice for everybody."""
        shelf = self.shelf
        first, stop = int(shelf.supplies.first[item]), int(shelf.supplies.first[item + 1])
        lots = range(first, stop)
        ours = [supply for supply in lots if not shelf.supplies.owner[supply] and not self._is_apart(supply)]
        by_day = self._by_day(asked, ours)
        if all(sum(self._most[asker, item] for asker in askers) <= held for askers, held in by_day):
            return
        takes: dict[int, list[tuple[int, float]]] = {}
        unit = self._unit(item, asked)
        from_apart = self._lots_apart(item, asked, unit)
        self.is_exact &= unit.is_exact
        for asker, terms in asked.items():
            takes[asker] = [(variable, unit.asked(each)) for variable, each in terms]
            less = self._not_from_free_lots(item, asker, unit) + from_apart[asker]
            if less:
                takes[asker] += less
                self._not_below_zero(takes[asker], unit)
        self._lots_of_customers(item, asked, takes, unit)
        for askers, held in by_day:
            self.program.at_most((term for asker in askers for term in takes[asker]), unit.held(held))

    def _not_below_zero(self, terms: Sequence[tuple[int, float]], unit: RowUnit) -> None:
        self.program.at_least(terms, -len(terms) if self.generous and not unit.is_exact else 0)

    def _not_from_free_lots(self, item: int, asker: int, unit: RowUnit) -> list[tuple[int, float]]:
        """Variables for what is set aside for the asker, and for what is put together for it, to be taken off."""
        shelf = self.shelf
        less: list[tuple[int, float]] = []
        held = shelf.supplies.set_aside.get((asker, item), ())
        own = sum(held[place].left for place, lot_place in shelf.own(asker, item) if lot_place not in shelf.apart)
        if own:
            less.append((self.program.variable(unit.held(own), whole=False), -1.0))
        inside = shelf.inside(item, asker)
        if inside:
            countable = bool(shelf.structure.countable[item])
            most = self._most[asker, item]
            packed = self.program.variable(most / ONE, whole=countable)
            self.packed[asker, item] = packed
            less.append((packed, -unit.held(ONE)))
            for part, lines in inside.items():
                for each in lines:
                    self._ask(part, asker, packed, each, -(-most * each // ONE))
        return less

    def _is_apart(self, supply: int) -> bool:
        return int(self.shelf.supplies.lot_place[supply]) in self.shelf.apart

    def _lots_apart(self, item: int, asked: Iterable[int], unit: RowUnit) -> dict[int, list[tuple[int, float]]]:
        """Variables for what comes from each lot that is apart, to be taken off; what its kits lack is asked for."""
        shelf, supplies = self.shelf, self.shelf.supplies
        countable = bool(shelf.structure.countable[item])
        size = ONE if countable else unit.size
        less: dict[int, list[tuple[int, float]]] = {asker: [] for asker in asked}
        by_supply: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for asker, terms in less.items():
            held = supplies.set_aside.get((asker, item), ())
            own = [(lot_place, held[place].left, -1) for place, lot_place in shelf.own(asker, item)]
            free = [(int(supplies.lot_place[s]), int(supplies.left[s]), s) for s in shelf.lots(asker, item)]
            for lot_place, left, supply in own + free:
                if lot_place not in shelf.apart:
                    continue
                variable = self.program.variable(left // ONE if countable else unit.held(left))
                self.apart.append(((asker, item), lot_place, variable, size))
                terms.append((variable, -float(unit.held(size))))
                by_supply[supply].append((variable, 1.0))
                for part, each in shelf.without(asker, item, lot_place).items():
                    self._ask(part, asker, variable, each, left // ONE * each)
        for supply, variables in by_supply.items():
            if supply >= 0:
                left = int(supplies.left[supply])
                self.program.at_most(variables, left // ONE if countable else unit.held(left))
        return less

    def _lots_of_customers(
        self,
        item: int,
        asked: Mapping[int, list[tuple[int, int]]],
        takes: dict[int, list[tuple[int, float]]],
        unit: RowUnit,
    ) -> None:
        """Take off what comes from lots that belong to the asker's customer."""
        supplies = self.shelf.supplies
        lots: dict[str, list[int]] = defaultdict(list)
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
            if supplies.owner[supply] and not self._is_apart(supply):
                lots[supplies.owner[supply]].append(supply)
        for customer, theirs in lots.items():
            mine = {asker: terms for asker, terms in asked.items() if self.shelf.askers[asker].customer == customer}
            held = unit.held(sum(int(supplies.left[supply]) for supply in theirs))
            variables = {asker: self.program.variable(held, whole=False) for asker in mine}
            for asker, variable in variables.items():
                takes[asker] = [*takes[asker], (variable, -1.0)]
                self._not_below_zero(takes[asker], unit)
            for askers, held in self._by_day(mine, theirs):
                self.program.at_most(((variables[asker], 1.0) for asker in askers), unit.held(held))

    def _by_day(self, asked: Iterable[int], lots: Sequence[int]) -> list[tuple[list[int], int]]:
        """For each last day of use: who builds after the one before, and what lies on lots that live so long or longer.

        The last of them are those who build after every lot has died, with nothing.
        """
        supplies, askers = self.shelf.supplies, self.shelf.askers
        alive = [supply for supply in lots if supplies.left[supply] > 0]
        ends = sorted({int(supplies.last_day[supply]) for supply in alive})
        rows: list[tuple[list[int], int]] = []
        before = -LAST_DAY
        for end in [*ends, LAST_DAY + 1]:
            later = [asker for asker in asked if askers[asker].build_day > before]
            held = sum(int(supplies.left[supply]) for supply in alive if supplies.last_day[supply] >= end)
            if later:
                rows.append((later, held))
            before = end
        return rows

    def _unit(self, item: int, asked: Mapping[int, list[tuple[int, int]]]) -> RowUnit:
        """The unit of the rows of one item."""
        supplies = self.shelf.supplies
        lots = range(int(supplies.first[item]), int(supplies.first[item + 1]))
        own = (aside.left for asker in asked for aside in supplies.set_aside.get((asker, item), ()))
        coefficients = [each for terms in asked.values() for _, each in terms]
        in_ones = bool(self.shelf.apart) and bool(self.shelf.structure.countable[item])
        if in_ones or any(self.shelf.inside(item, asker) for asker in asked):
            coefficients.append(ONE)
        return unit_of(coefficients, (*(int(supplies.left[supply]) for supply in lots), *own), self.generous)


def _tell(
    shelf: FreeShelf, best: Finished, weighed: Mapping[int, int], in_order: Iterable[int]
) -> tuple[ChosenJob, ...]:
    """The choice in the words of the shop."""
    draws: dict[int, list[Taking]] = defaultdict(list)
    for draw in best.draws:
        draws[draw.asker].append(draw)
    takes = _takes(shelf, best, frozenset(in_order))
    parts = [item.part_number for item in shelf.structure.items]
    return tuple(
        ChosenJob(
            name=shelf.askers[asker].name,
            weight=weighed[asker],
            in_order=asker in in_order,
            draws=tuple(_told_draw(shelf, draw) for draw in draws[asker]),
            packed=tuple(sorted((parts[item], q) for (who, item), q in best.packed.items() if who == asker)),
            takes=takes.get(asker, ()),
        )
        for asker in best.askers
    )


def _told_draw(shelf: FreeShelf, draw: Taking) -> ShelfDraw:
    lot = shelf.plan.shop.lots[draw.lot_place] if draw.lot_place >= 0 else None
    part = shelf.structure.items[draw.item].part_number
    return ShelfDraw(part, draw.quantity, lot.lot if lot else None, lot.place if lot else None, draw.own)


def _takes(shelf: FreeShelf, best: Finished, in_order: frozenset[int]) -> dict[int, tuple[TakenFrom, ...]]:
    """What each job that the plan does not finish takes beyond what the plan gives it and what the plan leaves free."""
    free = free_after_sure(shelf.plan)
    held = _held_in_plan(shelf)
    taken: dict[tuple[int, int], int] = defaultdict(int)
    for draw in best.draws:
        if not draw.own:
            taken[draw.asker, draw.item] += draw.quantity
    found: dict[int, list[TakenFrom]] = defaultdict(list)
    rank = shelf.structure.name_rank
    for _, _, asker, item in sorted((shelf.turn[asker], int(rank[item]), asker, item) for asker, item in taken):
        if asker in in_order:
            continue
        more = max(0, taken[asker, item] - sum(held[item][asker].values()))
        lots = lots_of_plan(shelf.plan, asker, item)
        for supply in lots:
            spare = min(more, free[supply])
            free[supply] -= spare
            more -= spare
        if not more:
            continue
        holders = []
        for holder in sorted(held[item], key=shelf.turn.__getitem__):
            has = sum(quantity for supply, quantity in held[item][holder].items() if supply in lots)
            gives = min(has, sum(held[item][holder].values()) - taken.get((holder, item), 0))
            if holder != asker and gives > 0:
                holders.append((shelf.askers[holder].name, gives))
        found[asker].append(TakenFrom(shelf.structure.items[item].part_number, more, tuple(holders)))
    return {asker: tuple(rows) for asker, rows in found.items()}


def _held_in_plan(shelf: FreeShelf) -> dict[int, dict[int, dict[int, int]]]:
    """Millionths that the plan gives from free lots: by item, asker and supply."""
    pieces, draws, supplies = shelf.plan.netting.pieces, shelf.plan.netting.draws, shelf.plan.supplies
    held: dict[int, dict[int, dict[int, int]]] = defaultdict(lambda: defaultdict(lambda: defaultdict(int)))
    sure = (draws.supply >= 0) & ~pieces.wear[draws.piece]
    sure[sure] = supplies.lot_place[draws.supply[sure]] >= 0
    piece, supply = draws.piece[sure], draws.supply[sure]
    columns = (pieces.item[piece], pieces.job[piece], supply, draws.quantity[sure])
    for item, asker, lot, quantity in zip(*map(np.ndarray.tolist, columns), strict=True):
        held[item][asker][lot] += quantity
    return held

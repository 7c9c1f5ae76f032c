"""The integer program behind `kit_or_loose`: which missing kits are put together, which are opened, what is bought.

For each item, what is bought of it, in packs of one offer, and what comes out of opened kits covers what the plan
lists, less the kits that are put together, more what those kits hold and what does not come off the shelf.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from bom.buying.leads import NEVER
from bom.buying.order_size import PackOffer
from bom.questions.integer_program import IntegerProgram, RowUnit, unit_of
from bom.questions.kits.market import Market, MissingKit, price_steps
from bom.values import ONE

LESS_CHANGE, MORE_SHELF = 0.004, 0.002
"""Money, less than a penny over everything, that prefers of equal mixes the one that changes less and buys less."""


@dataclass(frozen=True)
class Way:
    """One way to put a missing kit together: the variable that counts kits, and the last day of its parts."""

    missing: MissingKit
    variable: int
    limit: int
    is_rescue: bool


@dataclass(frozen=True)
class PackStep:
    """Packs of one quote between two price breaks: ``taken`` is 0 or 1, ``multiples`` counts them."""

    quote: PackOffer
    arrives_on: int
    taken: int
    multiples: int


@dataclass(frozen=True)
class Found:
    """The solver's answer: values, what no mix gains more than (money, below zero), and how many kits can be in time.

    ``bound`` is infinite when no bound is known.
    """

    values: NDArray[np.float64] | None
    bound: float
    most_rescued: int


class MixProgram:
    """The integer program; money as gain below zero.

    Where quantities are too unlike for the solver (``is_exact`` is False) it is strict, and what it finds holds; a
    ``generous`` one finds a bound that holds.
    """

    def __init__(
        self,
        market: Market,
        missing: Sequence[MissingKit],
        openable: Mapping[int, dict[int, int]],
        at_least: Decimal,
        generous: bool = False,
    ) -> None:
        self.market, self.at_least = market, at_least
        self.generous, self.is_exact = generous, True
        self.program = IntegerProgram()
        self.costs: list[tuple[int, float]] = []
        self.changes: dict[tuple[str, int], int] = {}
        self.ways: list[Way] = []
        self.from_shelf: dict[tuple[int, int], int] = {}
        self.steps: dict[int, list[PackStep]] = {}
        self.opened: dict[tuple[int, int], int] = {}
        self.used: dict[tuple[int, int], int] = {}
        self.openable = openable
        self._count = sum(row.count for row in missing) + 1
        for row in missing:
            self._add_ways(row)
        self.with_part: dict[int, list[tuple[int, Way]]] = defaultdict(list)
        self.of_kit: dict[int, list[tuple[int, Way]]] = defaultdict(list)
        for number, way in enumerate(self.ways):
            self.of_kit[way.missing.kit].append((number, way))
            for part in way.missing.inside:
                self.with_part[part].append((number, way))
        kits = set(self.of_kit)
        parts = {part for way in self.ways for part in way.missing.inside}
        wanted = {part for inside in openable.values() for part in inside}
        self.items = sorted(kits | parts | wanted | set(openable), key=market.structure.name_rank.__getitem__)
        for item in self.items:
            self._add_steps(item)
        for kit in openable:
            self._add_opened(kit)
        for item in self.items:
            self._balance(item)

    # --- what may be changed

    def _add_ways(self, row: MissingKit) -> None:
        """A kit may be put together in time; or, where buying it is late, no later than that."""
        kit = self.market.row(row.kit)
        bought_late = kit.limit > row.need_day
        limits = [(row.need_day, bought_late)]
        if bought_late and kit.limit < NEVER:
            limits.append((kit.limit, False))
        used = self._change("put together", row.kit)
        variables = []
        for limit, is_rescue in limits:
            variable = self.program.variable(row.count)
            self.costs.append((variable, LESS_CHANGE / self._count))  # of equal mixes the one that changes less
            variables.append(variable)
            self.ways.append(Way(row, variable, limit, is_rescue))
        self.program.at_most([*((variable, 1.0) for variable in variables), (used, -float(row.count))], 0)

    def _change(self, what: str, kit: int) -> int:
        """Whether a kit number changes, which has to save more than the set sum."""
        if (what, kit) not in self.changes:
            self.changes[what, kit] = self.program.variable(1)
            self.costs.append((self.changes[what, kit], float(self.at_least)))
        return self.changes[what, kit]

    def _add_steps(self, item: int) -> None:
        """What can be ordered of an item: whole packs of one quote, between two of its price breaks."""
        row = self.market.row(item)
        most = row.net + sum(way.missing.inside[item] * way.missing.count for _, way in self.with_part[item])
        most += sum(ONE * -(-self.market.row(part).short // each) for part, each in self.openable.get(item, {}).items())
        steps = []
        for step in (step for quote in row.quotes for step in price_steps(quote, most)):
            multiple = step.quote.multiple_packs
            taken, multiples = self.program.variable(1), self.program.variable(step.high // multiple)
            self.program.at_least([(multiples, multiple), (taken, -step.low)], 0)
            self.program.at_most([(multiples, multiple), (taken, -step.high)], 0)
            self.costs.append((multiples, float(step.price * multiple)))
            steps.append(PackStep(step.quote, self.market.arrival(step.quote), taken, multiples))
        self.program.at_most(((step.taken, 1.0) for step in steps), 1)
        self.steps[item] = steps

    def _add_opened(self, kit: int) -> None:
        """Kits that are bought to be opened, apart for each day on which they could be here."""
        parts = self.openable[kit]
        most = max(-(-self.market.row(part).short // each) for part, each in parts.items())
        change = self._change("open", kit)
        days = {step.arrives_on for step in self.steps[kit]}
        for day in sorted(days):
            variable = self.program.variable(most)
            self.costs.append((variable, LESS_CHANGE / (self._count + most)))
            here = [(step.taken, -float(most)) for step in self.steps[kit] if step.arrives_on == day]
            self.program.at_most([(variable, 1.0), *here], 0)
            self.program.at_most([(variable, 1.0), (change, -float(most))], 0)
            self.opened[kit, day] = variable
        for part, each in parts.items():
            row, unit = self.market.row(part), self.unit(part)
            used = self.used[kit, part] = self.program.variable(unit.held(row.short))
            in_time = [(self.opened[kit, day], -unit.held(each)) for day in sorted(days) if day <= row.limit]
            self.program.at_most([(used, 1.0), *in_time], 0)

    # --- rows of an item

    def _balance(self, item: int) -> None:
        """What is bought of an item covers what the plan lists, less what changes save, and what changes add."""
        row, unit = self.market.row(item), self.unit(item)
        terms: list[tuple[int, float]] = []
        for step in self.steps[item]:
            terms.append((step.multiples, unit.held(step.quote.multiple_packs * step.quote.pack_size)))
        terms += [(way.variable, unit.held(ONE)) for _, way in self.of_kit[item]]
        terms += [(variable, -unit.asked(ONE)) for (kit, _), variable in self.opened.items() if kit == item]
        out_of_kits = [(variable, 1.0) for (_, part), variable in self.used.items() if part == item]
        if out_of_kits:
            self.program.at_most(out_of_kits, unit.held(row.short))
        terms += out_of_kits
        for bought in self._content(item, unit):
            terms += [(variable, -coefficient) for variable, coefficient in bought]
        stands = 0 if row.quotes else unit.held(row.net + row.over)
        self.program.at_least(terms, unit.asked(row.net) - stands)

    def _content(self, item: int, unit: RowUnit) -> list[list[tuple[int, float]]]:
        """For each way that needs the item, what it takes from purchases: all of it less what comes off the shelf."""
        row = self.market.row(item)
        found = []
        for number, way in self.with_part[item]:
            each = way.missing.inside[item]
            count = way.missing.count
            most = each * count
            shelf = self.from_shelf[number, item] = self.program.variable(unit.asked(most))
            self.costs.append(
                (shelf, -MORE_SHELF * unit.size / (most * (len(self.ways) + 1) * (len(way.missing.inside) + 1)))
            )
            bought: list[tuple[int, float]] = [(way.variable, unit.asked(each)), (shelf, -1.0)]
            self.program.at_least(bought, 0)
            if row.quotes:
                here = [
                    (step.taken, -unit.asked(each) * count)
                    for step in self.steps[item]
                    if self.in_time(way, step.arrives_on)
                ]
                self.program.at_most([*bought, *here], 0)
            elif not self.in_time(way, row.arrives_on):
                self.program.at_most(bought, 0)
            found.append(bought)
        self._keep_to_shelf(item, unit)
        return found

    def _keep_to_shelf(self, item: int, unit: RowUnit) -> None:
        """For each last day of use: who builds later than the one before gets no more than lies on later lots."""
        supplies = self.market.plan.supplies
        lots = self.market.free_lots(item)
        mine = [(way.missing.build_day, self.from_shelf[number, item]) for number, way in self.with_part[item]]
        before = -NEVER
        for end in [*sorted({int(supplies.last_day[supply]) for supply in lots}), None]:
            held = sum(int(supplies.left[s]) for s in lots if end is not None and supplies.last_day[s] >= end)
            later = [(variable, 1.0) for build_day, variable in mine if build_day > before]
            if later:
                self.program.at_most(later, unit.held(held))
            before = end if end is not None else before
        may_take = self.market.may_take(item)
        if may_take is not None:
            self.program.at_most(((variable, 1.0) for _, variable in mine), unit.held(may_take))

    def in_time(self, way: Way, arrives_on: int) -> bool:
        """Whether parts that come on a day are put together by the limit of the way.

        Parameters
        ----------
        way : a way to put a kit together
        arrives_on : day number
        """
        return self.market.packed_on(arrives_on, way.missing.packing) <= way.limit < NEVER

    def unit(self, item: int) -> RowUnit:
        """The unit of the rows of one item.

        Parameters
        ----------
        item : number of the item
        """
        row, supplies = self.market.row(item), self.market.plan.supplies
        coefficients = [quote.pack_size * quote.multiple_packs for quote in row.quotes]
        for _, way in self.with_part[item]:
            coefficients += [way.missing.inside[item], way.missing.inside[item] * way.missing.count]
        coefficients += [parts[item] for parts in self.openable.values() if item in parts]
        if item in self.openable or self.of_kit[item]:
            coefficients.append(ONE)
        free = (int(supplies.left[supply]) for supply in self.market.free_lots(item))
        found = unit_of(coefficients, (row.net, row.short, row.over, *free), self.generous)
        self.is_exact &= found.is_exact
        return found

    def solve(self, time_limit: float) -> Found:
        """Look for a mix: first as many kits in time as can be, then for the least money.

        Parameters
        ----------
        time_limit : seconds for the solver
        """
        rescues = [(way.variable, 1.0) for way in self.ways if way.is_rescue]
        most_rescued = 0
        if rescues:
            time_limit /= 2
            self.program.gain_by(rescues)
            first = self.program.solve(time_limit)
            most = sum(way.missing.count for way in self.ways if way.is_rescue)
            most_rescued = most if math.isinf(first.bound) else math.floor(first.bound + 1e-6)
            if first.values is not None:
                self.program.at_least(rescues, sum(first.values[variable] for variable, _ in rescues))
        self.program.gain_by((variable, -cost) for variable, cost in self.costs)
        solution = self.program.solve(time_limit)
        return Found(solution.values, solution.bound, most_rescued)

"""The integer program behind `cheapest_set`: so many packs of which bids, which kits are put together or taken apart.

For each part, what is bought of it, what comes out of wholes that are taken apart, what lies on the shelf for it and
what nothing covers is as much as is wanted and as the wholes hold that are put together. Money is in cents.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from bom.buying.charges import ChargeRules
from bom.questions.bids.costs import lateness
from bom.questions.bids.values import UNKNOWN_LATE, Bid, Bidding, Whole
from bom.questions.integer_program import IntegerProgram, RowUnit, Solution, unit_of
from bom.structure.calendar import ShopCalendar
from bom.values import ONE

CENTS = 100
TINY = 1e-7
"""What the solver counts in floating point may be off by."""
LESS_CHANGE = 0.01
"""Cents that prefer, of equal choices, the one that puts together and takes apart less."""


class Slack(NamedTuple):
    """The variable that counts what nothing covers of a part, and the unit of its row."""

    variable: int
    unit: RowUnit


@dataclass(frozen=True)
class BidStep:
    """Packs of one bid at one price and with one day: ``taken`` is 0 or 1, ``multiples`` counts them."""

    bid: Bid
    price: Decimal
    arrives_on: date | None
    taken: int
    multiples: int


def _ranges(bid: Bid, most: int, rules: ChargeRules) -> list[tuple[int, int, date | None]]:
    """From how many to how many packs price and day stay the same.

    Nothing beyond what could be needed, the last price break, and what fills an order up to its minimum.
    """
    multiple = bid.multiple_packs
    enough = max(-(-most // bid.pack_size), bid.minimum_packs, bid.prices[-1].from_packs)
    lowest = min(one.price for one in bid.prices)
    if rules.order_minimum and lowest:
        enough = max(enough, math.ceil(rules.order_minimum / lowest))
    enough = -(-enough // multiple) * multiple
    last = bid.deliveries[-1].up_to_packs
    enough = enough if last is None else min(enough, last // multiple * multiple)
    starts = {1, *(one.from_packs for one in bid.prices)}
    starts |= {one.up_to_packs + 1 for one in bid.deliveries[:-1] if one.up_to_packs is not None}
    found = []
    for start, end in zip(sorted(starts), [*sorted(starts)[1:], enough + 1], strict=True):
        low = -(-max(start, bid.minimum_packs) // multiple) * multiple
        high = min(end - 1, enough) // multiple * multiple
        if low <= high:
            found.append((low, high, bid.arrives_on(high)))
    return found


class SetProgram:
    """The integer program. ``is_exact`` is False where quantities are too unlike for the solver to be exact."""

    def __init__(self, bidding: Bidding, calendar: ShopCalendar, *, late_forbidden: bool) -> None:
        self.bidding, self.calendar, self.late_forbidden = bidding, calendar, late_forbidden
        self.program, self.is_exact = IntegerProgram(), True
        self.costs: list[tuple[int, float]] = []
        self.wants = {want.part_number: want for want in bidding.wants}
        self.steps: dict[str, list[BidStep]] = {}
        self.made: dict[str, int] = {}
        self.opened: dict[str, int] = {}
        self.out_of: dict[tuple[str, str], int] = {}
        self.uncovered: dict[str, Slack] = {}
        self.late: dict[str, int] = {}
        self.wholes = {one.whole: one for one in bidding.wholes}
        for held in bidding.wholes:
            self._add_whole(held)
        self.parts = sorted({*self.wants, *self.wholes, *(part for one in bidding.wholes for part in one.inside)})
        for part in self.parts:
            self._add_steps(part)
        for part in self.parts:
            self._balance(part)
        for want in bidding.wants:
            self._mind_day(want.part_number)
        self._charge()

    # --- what may be done

    def _add_whole(self, held: Whole) -> None:
        if held.most_made:
            self.made[held.whole] = self.program.variable(held.most_made)
            self.costs.append((self.made[held.whole], LESS_CHANGE))
        if held.may_open:
            wanted = [-(-self.wants[part].quantity // each) for part, each in held.inside.items() if part in self.wants]
            if wanted:
                self.opened[held.whole] = self.program.variable(max(wanted))
                self.costs.append((self.opened[held.whole], LESS_CHANGE))

    def most_of(self, part: str) -> int:
        """Millionths of a part that could be needed at most.

        Parameters
        ----------
        part : its number
        """
        most = self.wants[part].quantity if part in self.wants else 0
        for whole in self.made:
            held = self.wholes[whole]
            most += held.inside.get(part, 0) * held.most_made
        if part in self.opened:
            held = self.wholes[part]
            most += ONE * max(
                -(-self.wants[one].quantity // each) for one, each in held.inside.items() if one in self.wants
            )
        return most

    def _add_steps(self, part: str) -> None:
        steps, most = [], self.most_of(part)
        for bid in (one for one in self.bidding.bids if one.part_number == part and most):
            mine = []
            for low, high, day in _ranges(bid, most, self.bidding.terms.get(bid.supplier, ChargeRules())):
                multiple = bid.multiple_packs
                taken, multiples = self.program.variable(1), self.program.variable(high // multiple)
                self.program.at_least([(multiples, multiple), (taken, -low)], 0)
                self.program.at_most([(multiples, multiple), (taken, -high)], 0)
                price = bid.price_for(low)
                self.costs.append((multiples, float(price * multiple * CENTS)))
                mine.append(BidStep(bid, price, day, taken, multiples))
            self.program.at_most(((step.taken, 1.0) for step in mine), 1)
            steps += mine
        self.steps[part] = steps

    # --- rows of a part

    def _balance(self, part: str) -> None:
        unit, want = self._unit(part), self.wants.get(part)
        asked = want.quantity if want else 0
        terms: list[tuple[int, float]] = [
            (step.multiples, unit.held(step.bid.multiple_packs * step.bid.pack_size)) for step in self.steps[part]
        ]
        if want is not None:
            slack = self.program.variable(unit.asked(asked))
            self.uncovered[part] = Slack(slack, unit)
            terms.append((slack, 1.0))
        if part in self.made:
            terms.append((self.made[part], unit.held(ONE)))
        if part in self.opened:
            terms.append((self.opened[part], -unit.asked(ONE)))
        for whole, opened in self.opened.items():
            each = self.wholes[whole].inside.get(part)
            if each and want is not None:
                used = self.out_of[whole, part] = self.program.variable(unit.held(asked))
                self.program.at_most([(used, 1.0), (opened, -unit.held(each))], 0)
                terms.append((used, 1.0))
        content = [
            (made, -float(unit.asked(self.wholes[whole].inside[part])))
            for whole, made in self.made.items()
            if part in self.wholes[whole].inside
        ]
        if content:
            shelf = self.program.variable(unit.held(self.bidding.shelf.get(part, 0)))
            # What lies on the shelf goes into what is put together, and nowhere else.
            self.program.at_most([(shelf, 1.0), *content], 0)
            terms += [(shelf, 1.0), *content]
        self.program.at_least(terms, unit.asked(asked))

    def _unit(self, part: str) -> RowUnit:
        coefficients = [one.pack_size * one.multiple_packs for one in self.bidding.bids if one.part_number == part]
        coefficients += [one.inside[part] for one in self.bidding.wholes if part in one.inside]
        if part in self.wholes:
            coefficients.append(ONE)
        want = self.wants.get(part)
        found = unit_of(coefficients, (want.quantity if want else 0, self.bidding.shelf.get(part, 0)), False)
        self.is_exact &= found.is_exact
        return found

    # --- days

    def _mind_day(self, part: str) -> None:
        """Whoever takes a late delivery for a part, or for what goes into it, has it late, or may not take it."""
        need_on = self.wants[part].need_on
        if need_on is None:
            return
        rows: list[tuple[int, list[tuple[int, float]]]] = [
            (lateness(need_on, step.arrives_on, self.calendar), [(step.taken, 1.0)]) for step in self.steps[part]
        ]
        for whole in self.opened:
            if (whole, part) in self.out_of:
                most = self.program.variable(1)
                unit = self.uncovered[part].unit
                self.program.at_most(
                    [(self.out_of[whole, part], 1.0), (most, -float(unit.asked(self.wants[part].quantity)))], 0
                )
                rows += self._indirect(need_on, self.steps[whole], most, 0)
        if part in self.made:
            held, most = self.wholes[part], self.program.variable(1)
            self.program.at_most([(self.made[part], 1.0), (most, -float(held.most_made))], 0)
            for inner in held.inside:
                rows += self._indirect(need_on, self.steps.get(inner, ()), most, held.packing_days)
        late = self.late[part] = self.program.variable(UNKNOWN_LATE)
        for days, terms in rows:
            if days:
                count = len(terms) - 1
                self.program.at_least([(late, 1.0), *((one, -days * held) for one, held in terms)], -days * count)
        if self.late_forbidden:
            self.program.at_most([(late, 1.0)], 0)

    def _indirect(
        self, need_on: date, steps: Iterable[BidStep], used: int, packing: int
    ) -> list[tuple[int, list[tuple[int, float]]]]:
        found = []
        for step in steps:
            day = step.arrives_on
            if day is not None and packing:
                day = self.calendar.forward(day, packing)
            found.append((lateness(need_on, day, self.calendar), [(step.taken, 1.0), (used, 1.0)]))
        return found

    # --- charges

    def _charge(self) -> None:
        by_supplier: dict[str, list[BidStep]] = defaultdict(list)
        for steps in self.steps.values():
            for step in steps:
                by_supplier[step.bid.supplier].append(step)
        for supplier, steps in by_supplier.items():
            rules = self.bidding.terms.get(supplier, ChargeRules())
            self._charge_small(rules, steps)
            if rules.certificate:
                self._charge_certificates(rules.certificate, steps)

    def _charge_small(self, rules: ChargeRules, steps: list[BidStep]) -> None:
        if not rules.order_minimum:
            return
        least = float(rules.order_minimum * CENTS)
        used = self.program.variable(1)
        for step in steps:
            self.program.at_most([(step.taken, 1.0), (used, -1.0)], 0)
        value = [(step.multiples, float(step.price * step.bid.multiple_packs * CENTS)) for step in steps]
        if rules.small_order is None:
            self.program.at_least([*value, (used, -least)], 0)
            return
        below = self.program.variable(1)
        self.costs.append((below, float(rules.small_order * CENTS)))
        self.program.at_least([*value, (used, -least), (below, least)], 0)

    def _charge_certificates(self, charge: Decimal, steps: list[BidStep]) -> None:
        parts: dict[str, list[BidStep]] = defaultdict(list)
        for step in steps:
            if step.bid.with_certificate:
                parts[step.bid.part_number].append(step)
        for mine in parts.values():
            line = self.program.variable(1)
            self.costs.append((line, float(charge * CENTS)))
            for step in mine:
                self.program.at_most([(step.taken, 1.0), (line, -1.0)], 0)

    # --- answers

    def solve(self, time_limit: float) -> Solution:
        """Cover what can be covered, then as little late as can be, by jobs that wait, then for the least money.

        Parameters
        ----------
        time_limit : seconds for the solver
        """
        stages = [
            [
                (slack, -1.0 / max(1, unit.asked(self.wants[part].quantity)))
                for part, (slack, unit) in self.uncovered.items()
            ]
        ]
        if not self.late_forbidden:
            stages.append([(late, -float(max(1, self.wants[part].jobs))) for part, late in self.late.items()])
        is_proved = True
        for stage in stages:
            self.program.gain_by(stage)
            found = self.program.solve(time_limit / 4)
            if found.values is None:
                return found
            reached = sum(float(found.values[variable]) * gain for variable, gain in stage)
            self.program.at_least(stage, reached - TINY)
            is_proved &= found.proved
        self.program.gain_by((variable, -cost) for variable, cost in self.costs)
        last = self.program.solve(time_limit / 2)
        return replace(last, proved=last.proved and is_proved)

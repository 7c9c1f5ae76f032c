"""What a job is told, explained: its state, the day its parts are here, the piece that holds it, by when to order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from bom.explain.lead_time import why_order_by
from bom.explain.served import ServedPieces
from bom.explain.tree import Fact, Rule, Unit, Why, day, day_of, given
from bom.plan import Plan
from bom.status.arrivals import FROM_LOTS
from bom.supply.matching import UNCOVERED


class AskerAnswer:
    """What one job, or another need, is told."""

    def __init__(self, plan: Plan, number: int) -> None:
        self.plan, self.number = plan, number
        self.answer = plan.answers[number]
        netted = plan.netting.pieces
        tops = np.flatnonzero((netted.job == number) & ~netted.wear & (netted.parent < 0))
        self.served = ServedPieces(plan, tops.tolist())

    def status(self) -> Why:
        """The worst state of its pieces, each by the lots and orders it leans on."""
        parts = tuple(self.served.state(number) for number in self.served.numbers)
        return Why("status", self.answer.status, Unit.WORD, Rule.WORST, parts)

    def parts_on(self) -> Why:
        """The day on which the last of its pieces is here."""
        parts = tuple(self.served.here_on(number) for number in self.served.numbers) or (day("today", self.plan.as_of),)
        return day("parts here", self.answer.parts_on, Rule.LARGEST, parts)

    def days_late(self) -> Why:
        """Working days from the day of need to the day on which all is here."""
        needs = self.plan.netting.pieces.need_day[self.served.numbers]
        need = int(needs[-1]) if len(self.served.numbers) else self.plan.as_of
        parts = (day("needed", need), self.parts_on())
        return Why("days late", self.answer.days_late, Unit.DAYS, Rule.WORKING_DAYS, parts)

    def blocking_part(self) -> Why:
        """The piece that holds the job, and those in the same state that come earlier."""
        if self.answer.blocking_item is None:
            return given("holding", None, Unit.WORD)
        parts = tuple(self._in_turn(self.served.numbers))
        return Why("holding", self._name(self.answer.blocking_item), Unit.WORD, Rule.FIRST, parts)

    def _in_turn(self, numbers: list[int]) -> Iterator[Why]:
        """The pieces that are not on the shelf, the one that holds the job first: worst, last to come, part number."""
        found, netted = self.plan.found, self.plan.netting.pieces
        rank = self.plan.demand.structure.name_rank
        lacking = [n for n in numbers if found.state[n] > FROM_LOTS]
        order = sorted(lacking, key=lambda n: (-int(found.state[n]), -int(found.day[n]), int(rank[netted.item[n]])))
        for number in order:
            inside = tuple(self._in_turn(list(self.served.inside(number))))
            name = inside[0].value if inside else self._name(int(netted.item[number]))
            facts: list[tuple[str, Fact]] = [("item", self._name(int(netted.item[number])))]
            comes = day_of(int(found.day[number]))
            facts += [("here_on", comes)] if comes else []
            state = self.served.state(number)
            rule = Rule.FIRST if inside else Rule.GIVEN
            yield Why("waits for", name, Unit.WORD, rule, inside, tuple(facts), beside=(state,))

    def order_by(self) -> Why:
        """The earliest day by which one of the missing pieces has to be ordered."""
        parts = tuple(self._order_days(self.served.numbers))
        return day("order by", self.answer.order_by, Rule.SMALLEST, parts)

    def _order_days(self, numbers: list[int]) -> Iterator[Why]:
        leads = {row.item: row.purchase.lead for row in self.plan.buy}
        netted = self.plan.netting.pieces
        for number in numbers:
            if self.served.amount(number, UNCOVERED):
                lead, need = leads[int(netted.item[number])], day("needed", int(netted.need_day[number]))
                facts = [(name, fact) for name, fact in self.served.facts(number).items() if fact is not None]
                ordered = why_order_by(self.plan, need, lead)
                yield replace(ordered, facts=(*facts, *ordered.facts))
            yield from self._order_days(list(self.served.inside(number)))

    def leans_on_overdue(self) -> Why:
        """The pieces that take from an order that should have come before today."""
        leaning = (number for number in self.served.numbers if self.served.leans_on_overdue(number))
        parts = tuple(self.served.sources(number) for number in leaning)
        return Why("leans on overdue", self.answer.leans_on_overdue, Unit.WORD, Rule.ANY, parts)

    def _name(self, item: int) -> str:
        return self.plan.demand.structure.items[item].part_number

"""A plan read for pages: who lacks how much of what, from where each need is served, which jobs lean on which order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from bom.answers.leaning import awaited_from_overdue
from bom.buying.leads import NEVER
from bom.explain import Why, balances, needs_of, shortfalls
from bom.plan import Plan
from bom.structure.arrays import as_date
from kits.catalog.folding import fold


class PlanReading:
    """One plan, with the questions that several sheets ask of it."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.structure = plan.demand.structure
        self.askers = plan.demand.askers
        self.answers = plan.answers
        self.shortfalls = shortfalls(plan)
        self.awaited = self._read_awaited()
        self.overdue_orders = {job: tuple(orders) for job, orders in self.awaited.items()}
        self.to_inspect = self._read_positions()

    def jobs_of_batch(self, batch: str) -> tuple[int, ...]:
        """Numbers of the jobs of a batch that ask for parts, in the order in which they are built."""
        wanted = fold(batch)
        found = [n for n, asker in enumerate(self.askers) if asker.job and fold(asker.job.batch) == wanted]
        return tuple(sorted(found, key=lambda n: (self.askers[n].build_day, self.askers[n].priority, n)))

    def part_number(self, item: int) -> str:
        """The part number of an item."""
        return self.structure.items[item].part_number

    def balances(self, items: Iterable[int]) -> dict[int, Why]:
        """What is short of each item: what is needed less what serves it."""
        return balances(self.plan, items)

    def needs_of(self, item: int) -> dict[int, int]:
        """Millionths of one item that each job or other need is sure to ask for, by its number."""
        return needs_of(self.plan, item)

    def _read_awaited(self) -> dict[int, dict[str, dict[int, int]]]:
        """What each job awaits from which overdue order: millionths by item."""
        awaited: dict[int, dict[str, dict[int, int]]] = defaultdict(dict)
        for one in awaited_from_overdue(self.plan):
            awaited[one.job].setdefault(one.order, {})[one.item] = one.quantity
        return dict(awaited)

    def _read_positions(self) -> dict[int, int]:
        """How many positions of each job are still to be looked at."""
        still: dict[int, int] = defaultdict(int)
        for item, jobs in self.plan.demand.wear.items():
            countable = bool(self.structure.countable[item])
            for wear in jobs:
                still[wear.job] += sum(chance.count * (chance.weight if countable else 1) for chance in wear.chances)
        return dict(still)


def day_of(number: int | None) -> date | None:
    """The day of a day number of the plan; nothing where it is not known."""
    return None if number is None or number >= NEVER else as_date(number)

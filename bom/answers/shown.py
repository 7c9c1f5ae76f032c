"""Which rows of a plan a reader wants to see."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np

from bom.plan import Plan
from bom.structure.keys import fold
from bom.values import OtherNeed


class Shown:
    """Which jobs and items the reader wants to see.

    Attributes
    ----------
    numbers, names : jobs that are shown, by number and by name
    waiting : names of the jobs and other needs that are shown
    """

    def __init__(self, plan: Plan, batch: str | None, through: date | None) -> None:
        self.all = batch is None and through is None
        self.batch, self.through = batch, through
        wanted = None if batch is None else fold(batch)
        self.numbers = {
            place
            for place, asker in enumerate(plan.demand.askers)
            if asker.job
            and (wanted is None or fold(asker.job.batch) == wanted)
            and (through is None or asker.job.build_on <= through)
        }
        self.names = {plan.demand.askers[place].name for place in self.numbers}
        needs = {place for place, asker in enumerate(plan.demand.askers) if asker.need and self.need(asker.need)}
        self.waiting = self.names | {plan.demand.askers[place].name for place in needs}
        self.items: set[int] = set()
        if not self.all:
            pieces = plan.netting.pieces
            self.items = set(np.unique(pieces.item[np.isin(pieces.job, list(self.numbers | needs))]).tolist())
            self.items |= plan.demand.wear.items_of(self.numbers)

    def item(self, item: int) -> bool:
        """Whether an item is shown.

        Parameters
        ----------
        item : its number
        """
        return self.all or item in self.items

    def touches(self, names: Iterable[str]) -> bool:
        """Whether a row is shown that concerns these jobs and other needs.

        Parameters
        ----------
        names : theirs
        """
        return self.all or any(name in self.waiting for name in names)

    def need(self, need: OtherNeed) -> bool:
        """Whether another need is shown: by its day, and not where a batch is named.

        Parameters
        ----------
        need : as the shop has it
        """
        return self.batch is None and (self.through is None or need.need_on <= self.through)

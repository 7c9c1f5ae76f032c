"""A plan read for pages: who lacks how much of what, from where each need is served, which jobs lean on which order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.matching import OWN, PACKED, UNCOVERED
from bom.order_size import NEVER
from bom.plan import Plan
from bom.shortage import LATE
from bom.structure import as_date
from kits.catalog.folding import fold


@dataclass(slots=True)
class Shortfall:
    """What one job (or other need) lacks of one item: on no order, or on an order that comes late; millionths."""

    missing: int = 0
    late: int = 0


@dataclass(slots=True)
class Served:
    """Where the sure pieces of one item come from, millionths."""

    needed: int = 0
    shelf: int = 0
    set_aside: int = 0
    in_time: int = 0
    late: int = 0
    packed: int = 0
    missing: int = 0

    def add(self, source: str, quantity: int) -> None:
        """Count one draw."""
        setattr(self, source, getattr(self, source) + quantity)


class PlanReading:
    """One plan, with the questions that several sheets ask of it."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.structure = plan.demand.structure
        self.askers = plan.demand.askers
        self.answers = plan.answers
        self.shortfalls = self._read_shortfalls()
        self.overdue_orders = self._read_overdue()
        self.to_inspect = self._read_positions()

    def jobs_of_batch(self, batch: str) -> tuple[int, ...]:
        """Numbers of the jobs of a batch that ask for parts, in the order in which they are built."""
        wanted = fold(batch)
        found = [n for n, asker in enumerate(self.askers) if asker.job and fold(asker.job.batch) == wanted]
        return tuple(sorted(found, key=lambda n: (self.askers[n].build_day, self.askers[n].priority, n)))

    def part_number(self, item: int) -> str:
        """The part number of an item."""
        return self.structure.items[item].part_number

    def served(self, items: Iterable[int]) -> dict[int, Served]:
        """Where the sure pieces of these items come from."""
        pieces, draws = self.plan.netting.pieces, self.plan.netting.draws
        wanted = np.zeros(len(self.structure.items), bool)
        wanted[list(items)] = True
        found: dict[int, Served] = defaultdict(Served)
        for piece in np.flatnonzero(wanted[pieces.item] & ~pieces.wear).tolist():
            found[int(pieces.item[piece])].needed += int(pieces.quantity[piece])
        mine = np.flatnonzero(wanted[pieces.item[draws.piece]] & ~pieces.wear[draws.piece])
        for row in mine.tolist():
            item = int(pieces.item[draws.piece[row]])
            found[item].add(self._source(row), int(draws.quantity[row]))
        return found

    def needs_of(self, item: int) -> dict[int, int]:
        """Millionths of one item that each job or other need is sure to ask for, by its number."""
        pieces = self.plan.netting.pieces
        needs: dict[int, int] = defaultdict(int)
        for piece in np.flatnonzero((pieces.item == item) & ~pieces.wear).tolist():
            needs[int(pieces.job[piece])] += int(pieces.quantity[piece])
        return dict(needs)

    def _source(self, row: int) -> str:
        supplies, supply = self.plan.supplies, int(self.plan.netting.draws.supply[row])
        if supply < 0:
            return {UNCOVERED: "missing", OWN: "set_aside", PACKED: "packed"}[supply]
        if supplies.order_place[supply] < 0:
            return "shelf"
        return "late" if self.plan.found.late_draw[row] else "in_time"

    def _read_shortfalls(self) -> dict[int, dict[int, Shortfall]]:
        """By job number, then item: only where something is missing or late."""
        pieces, draws, found = self.plan.netting.pieces, self.plan.netting.draws, self.plan.found
        lacking: dict[int, dict[int, Shortfall]] = defaultdict(lambda: defaultdict(Shortfall))
        bad = ((draws.supply == UNCOVERED) | found.late_draw) & ~pieces.wear[draws.piece]
        for row in np.flatnonzero(bad).tolist():
            piece = int(draws.piece[row])
            shortfall = lacking[int(pieces.job[piece])][int(pieces.item[piece])]
            if draws.supply[row] == UNCOVERED:
                shortfall.missing += int(draws.quantity[row])
            else:
                shortfall.late += int(draws.quantity[row])
        self._add_late_packing(lacking)
        return {job: dict(items) for job, items in lacking.items()}

    def _add_late_packing(self, lacking: dict[int, dict[int, Shortfall]]) -> None:
        """A packed kit whose parts are all in time, but which cannot be packed in time, is late itself."""
        pieces, draws, state = self.plan.netting.pieces, self.plan.netting.draws, self.plan.found.state
        packed = (draws.supply == PACKED) & ~pieces.wear[draws.piece] & (state[draws.piece] == LATE)
        inside_bad = set(pieces.parent[(pieces.parent >= 0) & (state >= LATE)].tolist())
        for row in np.flatnonzero(packed).tolist():
            piece = int(draws.piece[row])
            if piece not in inside_bad:
                lacking[int(pieces.job[piece])][int(pieces.item[piece])].late += int(draws.quantity[row])

    def _read_overdue(self) -> dict[int, tuple[str, ...]]:
        """The overdue orders that each job leans on."""
        pieces, draws, supplies = self.plan.netting.pieces, self.plan.netting.draws, self.plan.supplies
        leaning: dict[int, set[str]] = defaultdict(set)
        ordered = np.flatnonzero((draws.supply >= 0) & ~pieces.wear[draws.piece])
        for row in ordered[supplies.overdue[draws.supply[ordered]]].tolist():
            line = self.plan.shop.orders[int(supplies.order_place[draws.supply[row]])]
            leaning[int(pieces.job[draws.piece[row]])].add(line.order)
        return {job: tuple(sorted(orders)) for job, orders in leaning.items()}

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

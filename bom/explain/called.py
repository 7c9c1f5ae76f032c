"""Orders to hurry and to chase, kits to pack, and what one purchase frees, explained."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np

from bom.explain.asked import asker_name
from bom.explain.bought import named
from bom.explain.lead_time import why_arrival
from bom.explain.served import ServedPieces
from bom.explain.shelf import order_part
from bom.explain.tree import Rule, Unit, Why, added, day, day_of, whole
from bom.plan import Plan
from bom.structure.arrays import day_number
from bom.structure.tables import Ints
from bom.supply.matching import NOBODY, PACKED


class Called:
    """One open order line, and the sure pieces, or those of planned wear, that draw on it."""

    def __init__(self, plan: Plan, order: str, line: str, *, wear: bool = False) -> None:
        self.plan, self.wear = plan, wear
        self.place = next(
            place for place, held in enumerate(plan.shop.orders) if (held.order, held.line) == (order, line)
        )
        self.line = plan.shop.orders[self.place]
        self.item = plan.demand.structure.index[self.line.part_number]

    def _rows(self, *, late: bool) -> Ints:
        """The draws on this line; only those that come late, or all of an overdue line."""
        draws, supplies = self.plan.netting.draws, self.plan.supplies
        mine = np.flatnonzero((draws.supply >= 0) & (self.plan.netting.pieces.wear[draws.piece] == self.wear))
        mine = mine[supplies.order_place[draws.supply[mine]] == self.place]
        late_only: Ints = mine[self.plan.found.late_draw[mine]]
        return late_only if late else mine

    def drawn(self) -> Why:
        """What is drawn on the line beyond its day of need."""
        return added("to hurry", _drawn(self.plan, self._rows(late=True)))

    def open_quantity(self) -> Why:
        """What is still to come on the line."""
        return order_part(self.line)

    def promised(self) -> Why:
        """The day promised."""
        return day("promised", day_number(self.line.promised), Rule.GIVEN, (), order=self.line.order)

    def need_on(self) -> Why:
        """The first day on which one of the late pieces is needed."""
        return _first_need(self.plan, self._rows(late=True))

    def days_late(self) -> Why:
        """Working days from the day of need to the day promised."""
        need, promised = self.need_on(), self.promised()
        days = _between(self.plan, need, promised)
        return Why("days late", days, Unit.DAYS, Rule.WORKING_DAYS, (need, promised))

    def days_overdue(self) -> Why:
        """Working days from the day promised to today."""
        today = day("today", self.plan.as_of)
        days = _between(self.plan, self.promised(), today)
        return Why("days overdue", days, Unit.DAYS, Rule.WORKING_DAYS, (self.promised(), today))

    def bought_today_on(self) -> Why:
        """The day on which a purchase of today would be here; unknown for what is packed or made here."""
        if self.plan.demand.structure.items[self.item].source in ("pack", "make"):
            return day("bought today", None)
        rows = self._rows(late=True)
        leads = {row.item: row.purchase.lead for row in self.plan.buy}
        if self.item in leads:
            lead = leads[self.item]
        else:
            draws, netted = self.plan.netting.draws, self.plan.netting.pieces
            quantity, need = int(draws.quantity[rows].sum()), int(netted.need_day[draws.piece[rows]].min())
            lead = self.plan.book.choose(self.item, quantity, need).lead
        return why_arrival(self.plan, "bought today", lead)

    def jobs(self, *, late: bool) -> Why:
        """The jobs behind the line.

        Parameters
        ----------
        late : whether the orders come too late for them, or should have come before today
        """
        return named("jobs", _names(self.plan, self._rows(late=late)))


class PackedHere:
    """A kit to pack, or an assembly to make."""

    def __init__(self, plan: Plan, item: int) -> None:
        self.plan = plan
        draws, netted = plan.netting.draws, plan.netting.pieces
        self.rows = np.flatnonzero((draws.supply == PACKED) & (netted.item[draws.piece] == item))

    def quantity(self) -> Why:
        """How many, piece by piece."""
        return added("to pack", _drawn(self.plan, self.rows))

    def need_on(self) -> Why:
        """The first day on which one of them is needed."""
        return _first_need(self.plan, self.rows)

    def jobs(self) -> Why:
        """The jobs that they are packed for."""
        return named("jobs", _names(self.plan, self.rows))


def why_frees(plan: Plan, item: int) -> Why:
    """The jobs for which this is the only thing missing or late, with the pieces that lack it.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    parts = []
    for number, (asker, answer) in enumerate(zip(plan.demand.askers, plan.answers, strict=True)):
        if asker.job and answer.freed_by == item:
            netted = plan.netting.pieces
            tops = np.flatnonzero((netted.job == number) & ~netted.wear & (netted.parent < 0))
            served = ServedPieces(plan, tops.tolist())
            states = tuple(served.state(piece) for piece in served.numbers)
            beside = tuple(state for state in states if state.value in ("late", "short"))
            parts.append(Why("job", 1, Unit.COUNT, facts=(("job", asker.name),), beside=beside))
    return Why("frees", len(parts), Unit.COUNT, Rule.HOW_MANY, tuple(parts))


def _drawn(plan: Plan, rows: Ints) -> Iterable[Why]:
    draws, netted = plan.netting.draws, plan.netting.pieces
    for row in rows.tolist():
        job = int(netted.job[draws.piece[row]])
        says = "for wear" if job == NOBODY else "for job"
        need = day_of(int(netted.need_day[draws.piece[row]]))
        yield whole(says, int(draws.quantity[row]), job=asker_name(plan, job), need_on=need)


def _first_need(plan: Plan, rows: Ints) -> Why:
    draws, netted = plan.netting.draws, plan.netting.pieces
    needs = [
        day("needed", int(netted.need_day[piece]), Rule.GIVEN, (), job=asker_name(plan, int(netted.job[piece])))
        for piece in draws.piece[rows].tolist()
    ]
    first = min((int(netted.need_day[piece]) for piece in draws.piece[rows].tolist()), default=None)
    return day("needed", first, Rule.SMALLEST, needs)


def _names(plan: Plan, rows: Ints) -> list[str]:
    draws, netted = plan.netting.draws, plan.netting.pieces
    jobs = {int(netted.job[piece]) for piece in draws.piece[rows].tolist()} - {NOBODY}
    return sorted(plan.demand.askers[job].name for job in jobs)


def _between(plan: Plan, first: Why, last: Why) -> int | None:
    if isinstance(first.value, date) and isinstance(last.value, date):
        return plan.calendar.between(first.value, last.value)
    return None

"""One door to every number of a plan: name it by table, row and column, and get the tree behind it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from bom.explain.answered import AskerAnswer
from bom.explain.asked import why_count, why_kit_part, why_passed_down, why_sure
from bom.explain.bought import Bought
from bom.explain.called import Called, PackedHere, why_frees
from bom.explain.served import why_uncovered
from bom.explain.shelf import why_expiring, why_left_out, why_on_hand, why_on_order
from bom.explain.tree import Why, added
from bom.explain.worn import PositionGroups, Worn
from bom.plan import Plan


@dataclass(frozen=True, slots=True)
class Number:
    """A number of the plan: a table and a column as in `bom.answers.rows`, and what names the row.

    The row of demand, buy, frees and pack is a part number; of jobs a job, of other_needs a need; of expedite,
    late_wear and chase order and line; of expiring part and lot; of kits job, kit, assembly and, but for the count, the
    part.
    """

    table: str
    column: str
    row: tuple[str, ...]


def explain(plan: Plan, number: Number) -> Why:
    """Why a number of the plan is what it is; only what stands behind that number is looked at.

    Parameters
    ----------
    plan : the finished plan
    number : table, column and row

    Raises
    ------
    KeyError
        If the plan has no such table, column or row.
    """
    return Explanations(plan).why(number)


class Explanations:
    """Several numbers of one plan explained, what they share worked out once."""

    def __init__(self, plan: Plan, groups: PositionGroups | None = None) -> None:
        self.plan = plan
        self._groups = groups or PositionGroups(plan)
        self._known: dict[Number, Why] = {}
        self._worn: dict[int, Worn] = {}

    def why(self, number: Number) -> Why:
        """Do `explain` for one of them.

        Parameters
        ----------
        number : table, column and row
        """
        if number not in self._known:
            if number.table == "demand":
                self._known[number] = self._demand(number.column, number.row[0])
            else:
                self._known[number] = TABLES[number.table](self.plan, number.column, number.row)
        return self._known[number]

    def _demand(self, column: str, part: str) -> Why:
        plan, item = self.plan, self.plan.demand.structure.index[part]
        ways: Mapping[str, Callable[[], Why]] = {
            "sure": lambda: why_sure(plan, item),
            "passed_down": lambda: why_passed_down(plan, item),
            "positions": lambda: self._worn_of(item).positions(),
            "spares": lambda: self._worn_of(item).spares(),
            "expected": lambda: self._worn_of(item).expected(),
            "planned_wear": lambda: self._worn_of(item).planned(),
            "total": lambda: added("total", self._of(part, "sure", "passed_down", "planned_wear")),
            "on_hand": lambda: why_on_hand(plan, item),
            "left_out": lambda: why_left_out(plan, item),
            "on_order": lambda: why_on_order(plan, item),
            "uncovered": lambda: why_uncovered(plan, item, wear=False),
            "uncovered_wear": lambda: why_uncovered(plan, item, wear=True),
            "chance_enough": lambda: self._worn_of(item).enough(),
        }
        return ways[column]()

    def _worn_of(self, item: int) -> Worn:
        if item not in self._worn:
            self._worn[item] = Worn(self.plan, item, self._groups)
        return self._worn[item]

    def _of(self, part: str, *columns: str) -> tuple[Why, ...]:
        return tuple(self.why(Number("demand", column, (part,))) for column in columns)


def _buy(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    (part,) = row
    item = plan.demand.structure.index[part]
    bought = next((Bought(plan, held) for held in plan.buy if held.item == item), None)
    if bought is None:
        raise KeyError(part)
    ways: Mapping[str, Callable[[], Why]] = {
        "short": bought.short,
        "short_wear": bought.short_wear,
        "top_up": bought.top_up,
        "net": bought.net,
        "packs": bought.packs,
        "pack_size": bought.pack_size,
        "order_quantity": bought.order_quantity,
        "surplus": bought.surplus,
        "supplier": bought.supplier,
        "price": bought.price,
        "need_on": bought.need_on,
        "order_by": bought.order_by,
        "days_late": bought.days_late,
        "earliest_arrival": bought.earliest_arrival,
        "wear_advice": bought.wear_advice,
        "next_break": bought.next_break,
        "jobs": bought.jobs,
    }
    return ways[column]()


def _job(plan: Plan, column: str, row: tuple[str, ...], *, need: bool = False) -> Why:
    (name,), askers = row, plan.demand.askers
    place = next((n for n, a in enumerate(askers) if a.name == name and (a.need is not None) == need), None)
    if place is None:
        raise KeyError(name)
    answered = AskerAnswer(plan, place)
    ways: Mapping[str, Callable[[], Why]] = {
        "status": answered.status,
        "parts_on": answered.parts_on,
        "days_late": answered.days_late,
        "blocking_part": answered.blocking_part,
        "order_by": answered.order_by,
        "leans_on_overdue": answered.leans_on_overdue,
    }
    return ways[column]()


def _other_need(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    return _job(plan, column, row, need=True)


def _expedite(plan: Plan, column: str, row: tuple[str, ...], *, wear: bool = False) -> Why:
    called = Called(plan, *row, wear=wear)
    ways: Mapping[str, Callable[[], Why]] = {
        "quantity": called.drawn,
        "promised": called.promised,
        "need_on": called.need_on,
        "days_late": called.days_late,
        "bought_today_on": called.bought_today_on,
        "jobs": lambda: called.jobs(late=True),
    }
    return ways[column]()


def _late_wear(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    return _expedite(plan, column, row, wear=True)


def _chase(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    called = Called(plan, *row)
    ways: Mapping[str, Callable[[], Why]] = {
        "quantity": called.open_quantity,
        "promised": called.promised,
        "days_late": called.days_overdue,
        "jobs": lambda: called.jobs(late=False),
    }
    return ways[column]()


def _pack(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    (kit,) = row
    packed = PackedHere(plan, plan.demand.structure.index[kit])
    ways: Mapping[str, Callable[[], Why]] = {
        "quantity": packed.quantity,
        "need_on": packed.need_on,
        "jobs": packed.jobs,
    }
    return ways[column]()


def _expiring(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    if column not in ("quantity", "unused"):
        raise KeyError(column)
    part, lot = row
    return why_expiring(plan, part, lot, column)


def _frees(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    (part,) = row
    return {"jobs": why_frees}[column](plan, plan.demand.structure.index[part])


def _kit(plan: Plan, column: str, row: tuple[str, ...]) -> Why:
    index, kits = plan.demand.structure.index, plan.demand.requirements.kits
    job, kit, assembly, *part = row
    asker = next((asker for asker in plan.demand.askers if asker.job and asker.name == job), None)
    if asker is None:
        raise KeyError(job)
    mine = (kits.recipe == asker.recipe) & (kits.kit == index[kit]) & (kits.assembly == index[assembly])
    place = int(np.flatnonzero(mine)[0])
    if column == "count":
        return why_count(plan, place)
    return why_kit_part(plan, place, index[part[0]], column)


TABLES: Mapping[str, Callable[[Plan, str, tuple[str, ...]], Why]] = {
    "buy": _buy,
    "jobs": _job,
    "other_needs": _other_need,
    "expedite": _expedite,
    "late_wear": _late_wear,
    "chase": _chase,
    "pack": _pack,
    "expiring": _expiring,
    "frees": _frees,
    "kits": _kit,
}

"""How pieces are served: which lots and orders each leans on, what is packed, what nothing covers, when it is here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from bom.explain.asked import asker_name
from bom.explain.lead_time import why_arrival
from bom.explain.shelf import comes_on, supply_part
from bom.explain.tree import Fact, Rule, Unit, Why, added, day, day_of, given, pieces, whole
from bom.plan import Plan
from bom.status.jobs import STATUS
from bom.structure.arrays import as_date, day_number
from bom.supply.matching import OWN, PACKED, UNCOVERED


class Draw(NamedTuple):
    """What one source serves of a piece: the number of the supply, or what stands for it, and millionths."""

    supply: int
    quantity: int
    late: bool


class ServedPieces:
    """The draws of some pieces, gathered at once."""

    def __init__(self, plan: Plan, numbers: Iterable[int]) -> None:
        self.plan = plan
        self.numbers = sorted(numbers)
        self._draws: dict[int, list[Draw]] = defaultdict(list)
        self._inside: dict[int, list[int]] = defaultdict(list)
        draws, netted = plan.netting.draws, plan.netting.pieces
        layer, seen = np.array(self.numbers, np.int64), np.zeros(netted.size, bool)
        while layer.size:
            seen[layer] = True
            for row in np.flatnonzero(np.isin(draws.piece, layer)).tolist():
                drawn = Draw(int(draws.supply[row]), int(draws.quantity[row]), bool(plan.found.late_draw[row]))
                self._draws[int(draws.piece[row])].append(drawn)
            below = np.flatnonzero(np.isin(netted.parent, layer))
            for number in below.tolist():
                self._inside[int(netted.parent[number])].append(number)
            layer = below[~seen[below]]

    @classmethod
    def of_item(cls, plan: Plan, item: int, *, wear: bool) -> ServedPieces:
        """All pieces of one item, sure ones or those of planned wear.

        Parameters
        ----------
        plan : the finished plan
        item : number of the item
        wear : planned wear, not what is sure
        """
        netted = plan.netting.pieces
        return cls(plan, np.flatnonzero((netted.item == item) & (netted.wear == wear)).tolist())

    def facts(self, number: int) -> dict[str, Fact]:
        """Whose piece it is.

        Parameters
        ----------
        number : of the piece
        """
        netted = self.plan.netting.pieces
        items, way = self.plan.demand.structure.items, int(netted.way[number])
        return {
            "job": asker_name(self.plan, int(netted.job[number])),
            "item": items[netted.item[number]].part_number,
            "for_kit": items[way].part_number if way >= 0 else None,
            "need_on": as_date(int(netted.need_day[number])),
            "build_on": as_date(int(netted.build_day[number])),
        }

    def amount(self, number: int, supply: int) -> int:
        """How much of a piece is of this kind: nothing covers it, it is packed here, it is set aside.

        Parameters
        ----------
        number : of the piece
        supply : its number
        """
        return sum(draw.quantity for draw in self._draws[number] if draw.supply == supply)

    def not_from_shelf(self, number: int) -> int:
        """How much of a piece orders or packing serve, or nothing.

        Parameters
        ----------
        number : of the piece
        """
        order_place = self.plan.supplies.order_place
        return sum(
            draw.quantity
            for draw in self._draws[number]
            if draw.supply in (UNCOVERED, PACKED) or (draw.supply >= 0 and order_place[draw.supply] >= 0)
        )

    def uncovered(self) -> list[Why]:
        """The pieces of which something is missing: what is asked less everything that serves it."""
        missing = [number for number in self.numbers if self.amount(number, UNCOVERED)]
        return [self.left(number) for number in missing]

    def left(self, number: int) -> Why:
        """What nothing covers of one piece.

        Parameters
        ----------
        number : of the piece
        """
        asked = whole("asked", int(self.plan.netting.pieces.quantity[number]))
        drawn = [self._drawn(draw).taken_off() for draw in self._draws[number] if draw.supply != UNCOVERED]
        return added("piece", (asked, *drawn), **self.facts(number))

    def _drawn(self, draw: Draw) -> Why:
        supply, quantity, late = draw
        if supply >= 0:
            return supply_part(self.plan, supply, quantity, "late order" if late else "")
        return whole({OWN: "set aside for the job", PACKED: "packed here", UNCOVERED: "missing"}[supply], quantity)

    def sources(self, number: int) -> Why:
        """What one piece asks, by what serves it.

        Parameters
        ----------
        number : of the piece
        """
        drawn = [self._drawn(draw) for draw in self._draws[number]]
        return pieces("served", int(self.plan.netting.pieces.quantity[number]), Rule.SUM, drawn, **self.facts(number))

    def here_on(self, number: int) -> Why:
        """The day on which all of a piece is here.

        Parameters
        ----------
        number : of the piece
        """
        comes = [self._comes(number, draw) for draw in self._draws[number]]
        on = int(self.plan.found.day[number])
        return day("here", on, Rule.LARGEST, comes, **self.facts(number))

    def _comes(self, number: int, draw: Draw) -> Why:
        supply = draw.supply
        if supply >= 0:
            return comes_on(self.plan, supply)
        today = day("today", self.plan.as_of)
        if supply == OWN:
            return day("set aside for the job", self.plan.as_of, Rule.FIRST, (today,))
        if supply == UNCOVERED:
            return bought_today(self.plan, int(self.plan.netting.pieces.item[number]))
        return self._packed_on(number)

    def _packed_on(self, number: int) -> Why:
        item = self.plan.demand.structure.items[self.plan.netting.pieces.item[number]]
        inside = tuple(self.here_on(below) for below in self._inside[number])
        last = max((int(self.plan.found.day[below]) for below in self._inside[number]), default=0)
        contents = day("contents here", last, Rule.LARGEST, inside)
        on = moved_on(self.plan, last, item.lead_days or 0)
        lead = given("days to pack", item.lead_days or 0, Unit.DAYS)
        return day("packed", on, Rule.FORWARD, (contents, lead), item=item.part_number)

    def state(self, number: int) -> Why:
        """Ready, waiting, late or short: the worst of what serves one piece.

        Parameters
        ----------
        number : of the piece
        """
        states = [self._state(number, draw) for draw in self._draws[number]]
        word = STATUS[int(self.plan.found.state[number])]
        return Why("piece", word, Unit.WORD, Rule.WORST, tuple(states), tuple(self._known(number).items()))

    def _known(self, number: int) -> dict[str, Fact]:
        return {name: fact for name, fact in self.facts(number).items() if fact is not None}

    def _state(self, number: int, draw: Draw) -> Why:
        supply, _, late = draw
        drawn = self._drawn(draw)
        if supply == PACKED:
            inside = tuple(self.state(below) for below in self._inside[number])
            need = day("needed", int(self.plan.netting.pieces.need_day[number]))
            contents = Why("contents", _worst(inside), Unit.WORD, Rule.WORST, inside)
            packed_on = self._packed_on(number)
            word = packed_state(contents, packed_on, need)
            return Why("packed here", word, Unit.WORD, Rule.PACKED, (contents, packed_on, need), beside=(drawn,))
        if supply == UNCOVERED:
            word = "short"
        elif supply == OWN or self.plan.supplies.order_place[supply] < 0:
            word = "ready"
        else:
            word = "late" if late else "waiting"
        return Why(drawn.says, word, Unit.WORD, Rule.GIVEN, facts=drawn.facts, beside=(drawn,))

    def inside(self, number: int) -> tuple[int, ...]:
        """The pieces that packing this one asks for.

        Parameters
        ----------
        number : of the piece
        """
        return tuple(self._inside[number])

    def leans_on_overdue(self, number: int) -> bool:
        """Whether a piece, or what is packed for it, takes from an order that should have come before today.

        Parameters
        ----------
        number : of the piece
        """
        overdue = self.plan.supplies.overdue
        own = any(supply >= 0 and overdue[supply] for supply, _, _ in self._draws[number])
        return own or any(self.leans_on_overdue(below) for below in self._inside[number])


def packed_state(contents: Why, packed_on: Why, need: Why) -> str:
    """The state of what is packed here: short with its contents, else by the day on which it is packed.

    Parameters
    ----------
    contents : when the last of the contents is here
    packed_on : when the kit is put together
    need : the day of need
    """
    if contents.value == "short":
        return "short"
    late = packed_on.value is None or (str(packed_on.value) > str(need.value))
    return "late" if late else "waiting"


def _worst(states: Iterable[Why]) -> str:
    return STATUS[max((STATUS.index(str(state.value)) for state in states), default=0)]


def bought_today(plan: Plan, item: int) -> Why:
    """The day on which a purchase of today would be here.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    row = next(row for row in plan.buy if row.item == item)
    facts = {"supplier": row.purchase.supplier, "item": plan.demand.structure.items[item].part_number}
    return why_arrival(plan, "bought today", row.purchase.lead, **facts)


def moved_on(plan: Plan, number: int, days: int) -> int | None:
    """A day moved forward by working days; None when it is not known.

    Parameters
    ----------
    plan : the finished plan
    number : day number
    days : working days
    """
    on = day_of(number)
    return None if on is None else day_number(plan.calendar.forward(on, days))


def why_uncovered(plan: Plan, item: int, *, wear: bool) -> Why:
    """What nothing covers of an item, piece by piece.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    wear : planned wear, not what is sure
    """
    parts = ServedPieces.of_item(plan, item, wear=wear).uncovered()
    return added("uncovered wear" if wear else "uncovered", parts, item=plan.demand.structure.items[item].part_number)

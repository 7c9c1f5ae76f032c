"""Kit or loose: the cheapest mix of buying kits and buying the parts that they would bring.

A kit that is missing may be bought, or put together from what lies there free and from loose parts that are bought in
addition; parts that are missing may also come out of a kit that is bought and opened. Packs, minimums, multiples and
price breaks make this an integer program (HiGHS through ``scipy.optimize.milp``). Nothing of it is counted in the plan.

Rules of the mix. Each item is bought from one offer, as in the plan. Nothing comes later than the plan would have it,
unless it still comes in time; and where buying the kit is late and its parts are in time, the parts go first whatever
they cost. Only lots that live to the build day and that neither a sure piece, nor planned wear, nor the safety stock
needs count as free; orders that are already on their way do not. What a kit would leave over is bought with it.
A change that does not save more than a set sum, for each kit number, is not made.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_FLOOR, Decimal
from typing import NamedTuple

from bom.buying.leads import NEVER
from bom.buying.order_size import PackOffer
from bom.errors import QuantityError
from bom.plan import Plan
from bom.questions.kits.market import Market, cheapest, missing_kits, openable_kits
from bom.questions.kits.mix import Found, MixProgram, Way
from bom.structure.arrays import as_date
from bom.values import ONE

PENNY = Decimal("0.01")
TOLERANCE = Decimal("0.004")
"""What the solver's small preferences may shift the money by."""


@dataclass(frozen=True, slots=True)
class MixedPart:
    """A part of the kits that are put together, in millionths: from lots that lie there free, and from purchases."""

    part_number: str
    quantity: int
    from_shelf: int
    from_purchase: int


@dataclass(frozen=True, slots=True)
class PutTogether:
    """``count`` of ``kit`` are put together for ``jobs`` instead of being bought.

    ``not_bought`` is what those kits would have cost. ``in_time`` of them come in time only this way.
    """

    kit: str
    count: int
    jobs: tuple[str, ...]
    not_bought: Decimal
    in_time: int
    parts: tuple[MixedPart, ...]


@dataclass(frozen=True, slots=True)
class OpenedKit:
    """``count`` of ``kit`` are bought to be opened, for parts that are missing: part number and millionths used."""

    kit: str
    count: int
    parts: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class ChangedOrder:
    """An order as the plan has it, and as the mix has it; prices are totals. ``pack_size`` is in millionths."""

    part_number: str
    listed_packs: int
    listed_price: Decimal
    packs: int
    pack_size: int
    price: Decimal
    supplier: str
    supplier_part_number: str
    arrives_on: date | None


@dataclass(frozen=True, slots=True)
class Mix:
    """The cheapest mix, beside what the plan lists.

    Attributes
    ----------
    put_together, opened : the changes; none when the plan's list is as cheap
    orders : the orders that change, by part number
    listed : what the orders in question cost as the plan lists them, at their cheapest pack count
    costs : what they cost in the mix
    at_least : a change has to save more than this
    could_save : no mix saves more than this, as far as it is known
    proved_best : whether it is proved that no mix does better
    """

    put_together: tuple[PutTogether, ...]
    opened: tuple[OpenedKit, ...]
    orders: tuple[ChangedOrder, ...]
    listed: Decimal
    costs: Decimal
    at_least: Decimal
    could_save: Decimal
    proved_best: bool

    @property
    def saves(self) -> Decimal:
        """What the mix saves; below zero when it costs more and brings kits in time."""
        return self.listed - self.costs

    @property
    def is_shown(self) -> bool:
        """Whether it is worth a reader's time: it saves more than the set sum, or brings kits in time."""
        return self.saves > self.at_least or any(row.in_time for row in self.put_together)

    @property
    def says(self) -> str:
        """The verdict in words."""
        if self.proved_best:
            return "proved best"
        return f"not proved best: a better mix could save up to {self.could_save}"


def kit_or_loose(
    plan: Plan, at_least: Decimal = Decimal("25.00"), time_limit: float = 10.0, *, also_bought: bool = False
) -> Mix:
    """Look for the cheapest mix of kits and loose parts for what a plan lacks.

    Parameters
    ----------
    plan : the plan; its purchase list is what the mix is compared with
    at_least : what a change has to save, in the shop's currency, for each kit number
    time_limit : seconds for the solver; when they are over, the best mix so far stands
    also_bought : look at kits too that the shop buys as a rule (source ``buy``), not only at those that it packs itself
        when the pieces are there (``pack_else_buy``)

    Returns
    -------
    Mix
        Never dearer than the plan's list, unless it brings kits in time.

    Raises
    ------
    QuantityError
        When the set sum is below zero, or the time limit is no number of seconds.
    """
    if at_least < 0:
        raise QuantityError(f"A change is to save {at_least} at least: give 0 or more.")
    market = Market(plan)
    missing, openable = missing_kits(market, also_bought), openable_kits(market)
    program = MixProgram(market, missing, openable, at_least)
    if program.is_exact:
        found = program.solve(time_limit)
        return CheckedAnswer(program, found).mix(found)
    generous = MixProgram(market, missing, openable, at_least, generous=True)
    found, bound = program.solve(time_limit / 2), generous.solve(time_limit / 2)
    best = CheckedAnswer(generous, bound).mix(bound)
    return best if best.proved_best else CheckedAnswer(program, found).mix(bound)


class _Ordered(NamedTuple):
    """Packs that are ordered of one quote."""

    quote: PackOffer
    packs: int


class CheckedAnswer:
    """The solver's answer in whole numbers, checked against every rule anew."""

    def __init__(self, program: MixProgram, found: Found) -> None:
        self.program, self.market = program, program.market
        values = found.values if found.values is not None else [0.0] * program.program.size
        self.kits = [round(values[way.variable]) for way in program.ways]
        self.opened: dict[int, int] = defaultdict(int)
        for (kit, _), variable in program.opened.items():
            self.opened[kit] += round(values[variable])
        self.used = {
            (kit, part): round(values[number]) * program.unit(part).size for (kit, part), number in program.used.items()
        }
        self.shelf = {
            (way, part): round(values[number]) * program.unit(part).size
            for (way, part), number in program.from_shelf.items()
        }
        self.order: dict[int, _Ordered] = {}
        for item, steps in program.steps.items():
            for step in steps:
                if values[step.multiples] > 0.5:
                    packs = round(values[step.multiples]) * step.quote.multiple_packs
                    self.order[item] = _Ordered(step.quote, packs)

    def mix(self, bound: Found) -> Mix:
        """The mix; the plan's own list when the solver found nothing that holds and saves.

        Parameters
        ----------
        bound : the answer whose bound holds
        """
        items = [item for item in self.program.items if self.market.row(item).quotes]
        listed = sum((self._listed(item) for item in items), Decimal(0))
        costs = sum((self._price(item) for item in items), Decimal(0))
        taken = [(way, kits) for way, kits in zip(self.program.ways, self.kits, strict=True) if kits]
        rescued = sum(kits for way, kits in taken if way.is_rescue)
        changes = {way.missing.kit for way, _ in taken}
        charge = self.program.at_least * (len(changes) + sum(1 for kits in self.opened.values() if kits))
        if not self._holds() or (costs + charge > listed and not rescued):
            changes, rescued, charge, costs = set(), 0, Decimal(0), listed
            self.opened.clear()
        least = Decimal(0) if math.isinf(bound.bound) else max(Decimal(0), -Decimal(bound.bound)) - TOLERANCE
        proved = rescued == bound.most_rescued and costs + charge - least <= 2 * TOLERANCE
        could_save = max(listed - costs, (listed - least).quantize(PENNY, ROUND_FLOOR))
        changed = bool(changes) or any(self.opened.values())
        return Mix(
            put_together=tuple(self._put_together(kit) for kit in sorted(changes, key=self._name)),
            opened=tuple(self._opened(kit) for kit in sorted(self.opened, key=self._name) if self.opened[kit]),
            orders=tuple(row for item in sorted(items, key=self._name) for row in self._changed(item))
            if changed
            else (),
            listed=listed,
            costs=costs,
            at_least=self.program.at_least,
            could_save=listed - costs if proved else could_save,
            proved_best=proved,
        )

    def _name(self, item: int) -> str:
        return self.market.structure.items[item].part_number

    def _listed(self, item: int) -> Decimal:
        row = self.market.row(item)
        return (cheapest(row.quotes, row.net) or Decimal(0)) if row.net else Decimal(0)

    def _price(self, item: int) -> Decimal:
        quote, packs = self.order.get(item, (None, 0))
        return (quote.price_for(packs) if quote else None) or Decimal(0)

    def _content(self, item: int) -> tuple[int, int]:
        """What the kits that are put together hold of an item, and how much of that comes off the shelf."""
        ways = self.program.with_part[item]
        wanted = sum(self.kits[number] * way.missing.inside[item] for number, way in ways)
        return wanted, sum(self.shelf[number, item] for number, _ in ways)

    def _holds(self) -> bool:
        """Whether every item suffices, in whole numbers."""
        return all(
            self._suffices(item) and self._keeps_to_shelf(item) and self._comes_in_time(item)
            for item in self.program.items
        )

    def _comes_in_time(self, item: int) -> bool:
        """Whether what is bought for kits, or comes out of kits, is here when it is needed."""
        row = self.market.row(item)
        arrives_on = self.market.arrival(self.order[item].quote) if item in self.order else row.arrives_on
        for number, way in self.program.with_part[item]:
            bought = self.kits[number] * way.missing.inside[item] - self.shelf[number, item]
            if bought < 0 or (bought and not self.program.in_time(way, arrives_on)):
                return False
        opened = [kit for (kit, part), quantity in self.used.items() if part == item and quantity]
        return all(self.market.arrival(self.order[kit].quote) <= row.limit for kit in opened if kit in self.order)

    def _suffices(self, item: int) -> bool:
        row = self.market.row(item)
        wanted, from_shelf = self._content(item)
        instead = sum(self.kits[number] for number, _ in self.program.of_kit[item])
        used = sum(quantity for (_, part), quantity in self.used.items() if part == item)
        brought = sum(kits * self.program.openable[kit].get(item, 0) for kit, kits in self.opened.items() if kits)
        quote, packs = self.order.get(item, (None, 0))
        bought = packs * quote.pack_size if quote else 0 if row.quotes else row.net + row.over
        needed = row.net - instead * ONE - used + wanted - from_shelf + self.opened[item] * ONE
        return needed <= bought and used <= min(brought, row.short)

    def _keeps_to_shelf(self, item: int) -> bool:
        supplies = self.market.plan.supplies
        lots = self.market.free_lots(item)
        taken = [
            (way.missing.build_day, self.shelf[number, item])
            for number, way in self.program.with_part[item]
            if self.shelf[number, item]
        ]
        for day, _ in taken:
            held = sum(int(supplies.left[supply]) for supply in lots if supplies.last_day[supply] >= day)
            if sum(quantity for build_day, quantity in taken if build_day >= day) > held:
                return False
        may_take = self.market.may_take(item)
        return may_take is None or sum(quantity for _, quantity in taken) <= may_take

    def _put_together(self, kit: int) -> PutTogether:
        ways = [(number, way) for number, way in self.program.of_kit[kit] if self.kits[number]]
        wanted: dict[int, int] = defaultdict(int)
        shelf: dict[int, int] = defaultdict(int)
        for number, way in ways:
            for part, each in way.missing.inside.items():
                wanted[part] += self.kits[number] * each
                shelf[part] += self.shelf[number, part]
        return PutTogether(
            kit=self._name(kit),
            count=sum(self.kits[number] for number, _ in ways),
            jobs=self._jobs(ways),
            not_bought=self._listed(kit) - self._price(kit),
            in_time=sum(self.kits[number] for number, way in ways if way.is_rescue),
            parts=tuple(
                MixedPart(self._name(part), wanted[part], shelf[part], wanted[part] - shelf[part])
                for part in sorted(wanted, key=self._name)
            ),
        )

    def _jobs(self, ways: Sequence[tuple[int, Way]]) -> tuple[str, ...]:
        """Whose kits are put together: of those that are alike, the ones that are served first."""
        pieces, askers = self.market.plan.netting.pieces, self.market.plan.demand.askers
        served: dict[int, int] = defaultdict(int)
        alike = {id(way.missing): way.missing for _, way in ways}
        for number, way in ways:
            served[id(way.missing)] += self.kits[number]
        names = set()
        for key, missing in alike.items():
            for piece, count in missing.pieces:
                if served[key] > 0:
                    names.add(askers[int(pieces.job[piece])].name)
                served[key] -= count
        return tuple(sorted(names))

    def _opened(self, kit: int) -> OpenedKit:
        parts = {part: quantity for (of, part), quantity in self.used.items() if of == kit and quantity}
        told = tuple((self._name(part), parts[part]) for part in sorted(parts, key=self._name))
        return OpenedKit(self._name(kit), self.opened[kit], told)

    def _changed(self, item: int) -> list[ChangedOrder]:
        """The order of an item when it is not the listed one."""
        row = self.market.row(item)
        quote, packs = self.order.get(item, (None, 0))
        listed = row.listed
        packs_listed = listed.packs if listed else 0
        same = (
            listed is not None
            and quote is not None
            and (listed.supplier, listed.supplier_part_number or "", listed.pack_size)
            == (quote.supplier, quote.supplier_part_number, quote.pack_size)
        )
        if packs == packs_listed and (same or not packs):
            return []
        pack_size = quote.pack_size if quote else listed.pack_size if listed else 0
        arrives_on = self.market.arrival(quote) if quote else NEVER
        return [
            ChangedOrder(
                part_number=self._name(item),
                listed_packs=packs_listed,
                listed_price=(listed.price if listed else None) or Decimal(0),
                packs=packs,
                pack_size=pack_size,
                price=self._price(item),
                supplier=quote.supplier if quote else "",
                supplier_part_number=quote.supplier_part_number if quote else "",
                arrives_on=None if arrives_on >= NEVER else as_date(arrives_on),
            )
        ]

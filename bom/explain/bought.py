"""A row of the purchase list explained: how much, in which packs, from whom and why not from others, by when."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import numpy as np

from bom.buying.order_size import PackOffer
from bom.buying.purchases import BuyRow
from bom.explain.lead_time import why_arrival, why_order_by
from bom.explain.served import ServedPieces, why_uncovered
from bom.explain.shelf import why_left_for_stock
from bom.explain.tree import Fact, Rule, Unit, Why, added, day, given, pieces, whole
from bom.plan import Plan
from bom.structure.arrays import day_number
from bom.supply.matching import UNCOVERED


class Bought:
    """One row of the purchase list."""

    def __init__(self, plan: Plan, row: BuyRow) -> None:
        self.plan, self.row = plan, row
        self.item = plan.demand.structure.items[row.item]
        self.ranked = plan.book.ranked(row.item, row.net, row.need_on)
        self.chosen = self.ranked[0]

    def short(self) -> Why:
        """What is uncovered of the sure need."""
        return why_uncovered(self.plan, self.row.item, wear=False)

    def short_wear(self) -> Why:
        """What is uncovered of planned wear."""
        return why_uncovered(self.plan, self.row.item, wear=True)

    def top_up(self) -> Why:
        """What the safety stock lacks."""
        safety = whole("safety stock", self.item.safety_stock)
        parts = (safety, why_left_for_stock(self.plan, self.row.item).taken_off())
        if not self.row.top_up and not self.item.safety_stock:
            return whole("top-up", 0)
        return pieces("top-up", self.row.top_up, Rule.NOT_BELOW_ZERO, parts)

    def net(self) -> Why:
        """What is sure to be missing, and the larger of wear and top-up, which are not needed both."""
        besides = self.short_wear(), self.top_up()
        larger = pieces("wear or top-up", max(self.row.short_wear, self.row.top_up), Rule.LARGEST, besides)
        return pieces("net", self.row.net, Rule.SUM, (self.short(), larger))

    def packs(self) -> Why:
        """Whole packs that hold the net."""
        parts = (
            whole("net", self.row.net),
            self.pack_size(),
            given("fewest packs", self.chosen.minimum_packs, Unit.COUNT),
            given("packs in steps of", self.chosen.multiple_packs, Unit.COUNT),
        )
        return Why("packs", self.row.purchase.packs, Unit.COUNT, Rule.WHOLE_PACKS, parts)

    def pack_size(self) -> Why:
        """What one pack holds; of a part that only comes in another, what that other holds."""
        got_as = self.item.get_as if self.item.source in ("in_kit_only", "in_assembly_only") else None
        return whole("pack size", self.row.purchase.pack_size, get_as=got_as)

    def order_quantity(self) -> Why:
        """Packs times pack size."""
        return pieces(
            "order quantity", self.row.purchase.order_quantity, Rule.PRODUCT, (self.packs(), self.pack_size())
        )

    def surplus(self) -> Why:
        """What is ordered beyond the net."""
        return added("surplus", (self.order_quantity(), whole("net", self.row.net).taken_off()))

    def supplier(self) -> Why:
        """The offer that is chosen, and the others with what they would have cost and when they would have come."""
        offers = tuple(self._offer(quote) for quote in self.ranked)
        return Why("offer", self.row.purchase.supplier, Unit.WORD, Rule.FIRST, offers)

    def _offer(self, quote: PackOffer) -> Why:
        packs, arrives = quote.packs_for(self.row.net), self.plan.book.leads.arrival(quote.lead)
        total = quote.price_for(packs)
        facts: dict[str, Fact] = {
            "supplier_part_number": quote.supplier_part_number,
            "packs": packs,
            "pack_size": quote.pack_size,
            "total": None if total is None else str(total),
            "expired": "expired" if quote.expired else None,
            "late": "late" if self._late(arrives) else None,
        }
        known = tuple((name, fact) for name, fact in facts.items() if fact not in (None, ""))
        return Why("offer", quote.supplier or None, Unit.WORD, facts=known, beside=(day("here", arrives),))

    def _late(self, arrives: int | None) -> bool:
        return self.row.need_on is not None and (arrives is None or arrives > self.row.need_on)

    def price(self) -> Why:
        """Packs times the price of a pack at the break that they reach."""
        total, packs = self.row.purchase.price, self.row.purchase.packs
        if total is None:
            return given("price", None, Unit.MONEY)
        breaks = [step for step in self.chosen.breaks if step.from_packs <= packs] or [self.chosen.breaks[0]]
        start, each, _ = breaks[-1]
        parts = (self.packs(), given("price of a pack", each, Unit.MONEY, from_packs=start))
        beside = () if self.row.purchase.next_break is None else (self.next_break(),)
        return Why("price", Decimal(total), Unit.MONEY, Rule.PRODUCT, parts, beside=beside)

    def next_break(self) -> Why:
        """What an order up to the next price break would save; unknown where it would not."""
        found, total = self.row.purchase.next_break, self.row.purchase.price
        if found is None or total is None:
            return given("saved at the next price break", None, Unit.MONEY)
        more = given("price at the next break", found.price, Unit.MONEY, packs=found.packs)
        parts = (given("price", total, Unit.MONEY), more.taken_off())
        return Why("saved at the next price break", found.saving, Unit.MONEY, Rule.SUM, parts)

    def need_on(self) -> Why:
        """The first day on which a sure piece is missing; of wear alone, the first day on which too little is here."""
        if self.row.short:
            return day("needed", self.row.need_on, Rule.SMALLEST, tuple(self._need_days()))
        if self.row.short_wear:
            return self.wear_need()
        return day("needed", None)

    def _need_days(self) -> Iterator[Why]:
        served = ServedPieces.of_item(self.plan, self.row.item, wear=False)
        for number in served.numbers:
            if served.amount(number, UNCOVERED):
                yield why_need(self.plan, served, number)

    def wear_need(self) -> Why:
        """The first day on which sure need and planned wear exceed usable lots and the orders come by then."""
        netted, item = self.plan.netting.pieces, self.row.item
        mine = np.flatnonzero(netted.item == item)
        days = sorted(set(netted.need_day[mine].tolist()))
        on_hand = int(self.plan.supplies.on_hand[item])
        for place, on in enumerate(days):
            asked = int(netted.quantity[mine][netted.need_day[mine] <= on].sum())
            coming = self._coming_by(on)
            if asked > on_hand + coming:
                before = days[place - 1] if place else None
                parts = [
                    whole("asked for by then", asked),
                    whole("usable lots", on_hand),
                    whole("promised by then", coming),
                ]
                if before is not None:
                    earlier = int(netted.quantity[mine][netted.need_day[mine] <= before].sum())
                    parts.append(whole("asked for the day before", earlier))
                    parts.append(whole("promised the day before", self._coming_by(before)))
                return day("needed", on, Rule.FIRST_DAY_SHORT, parts)
        missing = ServedPieces.of_item(self.plan, item, wear=True)
        first = [why_need(self.plan, missing, n) for n in missing.numbers if missing.amount(n, UNCOVERED)]
        needs = [int(netted.need_day[n]) for n in missing.numbers if missing.amount(n, UNCOVERED)]
        return day("needed", min(needs, default=None), Rule.SMALLEST, first)

    def _coming_by(self, on: int) -> int:
        number, today = self.item.part_number, self.plan.as_of
        lines = (line for line in self.plan.shop.orders if line.part_number == number)
        return sum(line.quantity for line in lines if max(day_number(line.promised), today) <= on)

    def order_by(self) -> Why:
        """The day of need less the lead time."""
        return why_order_by(self.plan, self.need_on(), self.row.purchase.lead)

    def days_late(self) -> Why:
        """Working days from the day by which to order to today."""
        parts = (self.order_by(), day("today", self.plan.as_of))
        return Why("days late", self.row.days_late, Unit.DAYS, Rule.WORKING_DAYS, parts)

    def earliest_arrival(self) -> Why:
        """Today and the lead time."""
        return why_arrival(self.plan, "earliest arrival", self.row.purchase.lead)

    def wear_advice(self) -> Why:
        """What to do with a row of wear: order, decide after the strip-down, or ask first."""
        need = self.wear_need() if self.row.short_wear else day("needed", None)
        order_by = why_order_by(self.plan, need, self.row.purchase.lead)
        parts = (need, self.earliest_arrival(), order_by, self._first_strip())
        return Why("advice", self.row.wear_advice, Unit.WORD, Rule.ADVICE, parts)

    def _first_strip(self) -> Why:
        """The first strip day of the jobs behind what is missing for wear."""
        netted, wear = self.plan.netting.pieces, self.plan.demand.wear
        served = ServedPieces.of_item(self.plan, self.row.item, wear=True)
        days: dict[str, int] = {}
        for number in served.numbers:
            if not served.amount(number, UNCOVERED):
                continue
            top = number
            while netted.parent[top] >= 0:
                top = int(netted.parent[top])
            for job in wear.get(int(netted.item[top]), ()):
                asker = self.plan.demand.askers[job.job]
                if job.day == netted.build_day[number] and asker.job:
                    days[asker.name] = day_number(asker.job.strip_on or asker.job.build_on)
        parts = tuple(day("strip", on, job=name) for name, on in sorted(days.items()))
        return day("first strip", min(days.values(), default=None), Rule.SMALLEST, parts)

    def jobs(self) -> Why:
        """The jobs and other needs that wait for it."""
        names = sorted(self.plan.demand.askers[job].name for job in self.row.jobs)
        return named("jobs", names)


def why_need(plan: Plan, served: ServedPieces, number: int) -> Why:
    """The day on which a piece is needed.

    Parameters
    ----------
    plan : the finished plan
    served : the pieces of the item
    number : of the first piece that lacks something
    """
    return day("needed", int(plan.netting.pieces.need_day[number]), Rule.GIVEN, (), **served.facts(number))


def named(says: str, names: list[str]) -> Why:
    """How many there are, with the name of each.

    Parameters
    ----------
    says : what each of them is called in the tree
    names : of jobs and other needs
    """
    parts = tuple(given("job", 1, Unit.COUNT, job=name) for name in names)
    return Why(says, len(names), Unit.COUNT, Rule.HOW_MANY, parts)

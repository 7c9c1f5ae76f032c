"""Kit advice: one kit for the whole pump or kits for its sections, and which of them wastes least.

What a kit leaves over is paid for and lies about. Every way of covering a job with the kits that fit it is worked out
by the same rules as the plan: an assembly takes its own kits, one of each set, or is left to the kits of what lies
inside it. A kit that fits the pump is looked at too where the scope opens only sections of it. What a kit brings for
positions that are still to be inspected is no waste.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import product
from math import prod

import numpy as np

from bom.demand.kit_cover import inside_one_opened
from bom.demand.recipes import conditions_of, recipe_of
from bom.demand.requirements import Demand, gather_demand
from bom.errors import Fault, ShopError
from bom.plan import Plan
from bom.structure.arrays import OPEN, Structure
from bom.values import ONE, Job, KitFit

MOST_WAYS = 200

Amounts = tuple[tuple[str, int], ...]
"""Part numbers with millionths, by part number."""


@dataclass(frozen=True, slots=True)
class KitUse:
    """``count`` of ``kit`` for the assembly that it ``fits``: what they cover, spare for inspection and leave over."""

    kit: str
    fits: str
    count: int
    covered: Amounts
    spare: Amounts
    surplus: Amounts


@dataclass(frozen=True, slots=True)
class KitWay:
    """One way of covering the job with kits.

    Attributes
    ----------
    uses : the kits
    loose : what is still to be given loose
    surplus : what all kits leave over
    pieces : how many pieces that is; measured parts (cord, grease) are not counted
    value : what it is worth at the lowest price for one; None when a part has no price
    unpriced : parts among the surplus without a price
    kit_price : what the kits cost at the lowest price for one; None when one has no price
    is_planned : this is what the plan does
    beyond_scope : a kit for the whole pump, though the scope does not open the pump as a whole
    """

    uses: tuple[KitUse, ...]
    loose: Amounts
    surplus: Amounts
    pieces: int
    value: Decimal | None
    unpriced: tuple[str, ...]
    kit_price: Decimal | None
    is_planned: bool
    beyond_scope: bool


@dataclass(frozen=True, slots=True)
class KitAdvice:
    """All ways for one job, the one that wastes least first.

    ``ranked_by`` is ``value``, or ``pieces`` where the surplus of some way has no price. ``is_complete`` is False when
    there were too many ways, and only the preferred kits, or the outermost and the innermost ones, were looked at.
    """

    job: str
    ways: tuple[KitWay, ...]
    ranked_by: str
    is_complete: bool

    @property
    def best(self) -> KitWay | None:
        """The way that wastes least; None when no kit fits."""
        return self.ways[0] if self.ways else None


def kit_advice(plan: Plan, job: str, by: str = "value") -> KitAdvice:
    """Compare the kits that could serve one job of the plan, what it was issued and its strip report included.

    Parameters
    ----------
    plan : the plan
    job : the number of a job of its shop
    by : ``value`` or ``pieces``: what decides which way wastes least

    Raises
    ------
    ShopError
        When there is no such job, or an option that decides what is fitted is not answered.
    """
    found = next((row for row in plan.shop.jobs if row.job == job), None)
    if found is None:
        raise ShopError((Fault("Schedule", (job,), "job", f"There is no job {job}; give the number of one."),))
    return _advice(plan, found, by)


def _advice(plan: Plan, job: Job, by: str) -> KitAdvice:
    bench = _Bench(plan, job)
    ways, complete = bench.ways()
    priced = all(way.value is not None for way in ways)
    ranked_by = by if priced else "pieces"

    def waste(way: KitWay) -> tuple[Decimal, Decimal, int, bool, list[tuple[str, str]]]:
        value, pieces = way.value or Decimal(0), Decimal(way.pieces)
        first, second = (value, pieces) if ranked_by == "value" else (pieces, value)
        kits = sum(use.count for use in way.uses)
        return first, second, kits, not way.is_planned, [(use.fits, use.kit) for use in way.uses]

    return KitAdvice(job.job, tuple(sorted(ways, key=waste)), ranked_by, complete)


class _Bench:
    """One job, worked out again and again with other kits."""

    def __init__(self, plan: Plan, job: Job) -> None:
        shop = plan.shop
        self.plan, self.structure = plan, plan.demand.structure
        self.job = replace(job, use_kits=True, stage="expected")
        self.shop = replace(
            shop,
            jobs=(self.job,),
            needs=(),
            issues=tuple(issue for issue in shop.issues if issue.job == job.job),
            verdicts=tuple(verdict for verdict in shop.verdicts if verdict.job == job.job),
        )
        recipe = recipe_of(self.structure, self.job)
        self.conditions = conditions_of(self.structure, [recipe])
        self.without_kits = self.demand(())  # refuses what the job leaves open
        takes_kits = recipe_of(self.structure, job).use_kits
        self.planned = self._keys(self.demand(self.structure.fits)) if takes_kits else None

    def demand(self, fits: Sequence[KitFit]) -> Demand:
        """What the job asks for when only these kits fit."""
        return gather_demand(with_fits(self.structure, fits), self.shop)

    def ways(self) -> tuple[list[KitWay], bool]:
        """Every way that differs, and whether all were looked at."""
        found: dict[tuple[tuple[str, str, int], ...], KitWay] = {}
        chosen, complete = self._choices()
        for fits in chosen:
            try:
                demand = self.demand(fits)
            except ShopError:  # a kit asks a question that nobody answered: it cannot be chosen
                continue
            keys = self._keys(demand)
            if keys and keys not in found:
                found[keys] = self._way(self._uses(demand), self._loose(demand), keys == self.planned, False)
        return [*found.values(), *self._whole_pump()], complete

    def _choices(self) -> tuple[list[tuple[KitFit, ...]], bool]:
        """Which kits fit, for each way: every assembly takes its kits, or leaves it to what lies inside."""
        options = _options(self.structure, self.conditions.met[0], self._reached())
        if prod(len(choices) for choices in options) > MOST_WAYS:
            options = [[choices[0], *(choice for choice in choices if not choice)] for choices in options]
            if prod(len(choices) for choices in options) > MOST_WAYS:
                outer = tuple(fit for choices in options for fit in choices[0])
                inner = tuple(fit for choices in options for fit in choices[-1])
                return [outer, inner], False
            return [tuple(fit for fits in way for fit in fits) for way in product(*options)], False
        return [tuple(fit for fits in way for fit in fits) for way in product(*options)], True

    def _reached(self) -> dict[int, set[int]]:
        """Every assembly that the scope opens, with those opened directly inside it."""
        inside: dict[int, set[int]] = {}
        waiting = [
            self.structure.index[row.section] for row in self.structure.scopes.get((self.job.pump, self.job.scope), ())
        ]
        while waiting:
            assembly = waiting.pop()
            if assembly not in inside:
                inside[assembly] = {
                    int(self.structure.child[line])
                    for line in self.structure.lines_of(assembly)
                    if self.structure.action[line] == OPEN and self.conditions.meets(line, 0)
                }
                waiting += inside[assembly]
        return inside

    def _keys(self, demand: Demand) -> tuple[tuple[str, str, int], ...]:
        return tuple((use.kit, use.fits, use.count) for use in self._uses(demand))

    def _uses(self, demand: Demand) -> tuple[KitUse, ...]:
        kits = demand.requirements.kits
        uses = []
        for row in range(kits.kit.size):
            mine = np.flatnonzero(kits.part_row == row)
            columns = (kits.covered, kits.spare, kits.surplus)
            kit, assembly = int(kits.kit[row]), int(kits.assembly[row])
            told = [self._amounts(kits.part_item[mine].tolist(), column[mine].tolist()) for column in columns]
            uses.append(KitUse(self._name(kit), self._name(assembly), int(kits.count[row]), *told))
        return tuple(sorted(uses, key=lambda use: (use.fits, use.kit)))

    def _loose(self, demand: Demand) -> Amounts:
        """What is asked for beside the kits."""
        kits = demand.requirements.kits
        in_kits: dict[int, int] = defaultdict(int)
        for kit, count in zip(kits.kit.tolist(), kits.count.tolist(), strict=True):
            in_kits[kit] += count * ONE
        loose = demand.requirements.loose
        items, amounts = loose.item.tolist(), loose.quantity.tolist()
        return self._amounts(items, [amount - in_kits[item] for item, amount in zip(items, amounts, strict=True)])

    def _whole_pump(self) -> Iterator[KitWay]:
        """Kits for the pump, set against everything that the scope opens, where the scope opens only sections."""
        rows = self.structure.scopes.get((self.job.pump, self.job.scope), ())
        pump = self.structure.index[self.job.pump]
        if any(row.section == self.job.pump for row in rows):
            return
        loose = self.without_kits.requirements.loose
        need = dict(zip(loose.item.tolist(), loose.quantity.tolist(), strict=True))
        looks = _open_positions(self.without_kits, self.job)
        for options in _options(self.structure, self.conditions.met[0], {pump: set()}):
            for fits in options:
                try:
                    yield self._against_everything(fits, need, looks)
                except ShopError:
                    continue

    def _against_everything(
        self, fits: Sequence[KitFit], needed: Mapping[int, int], looked_at: Mapping[int, int]
    ) -> KitWay:
        uses, need, looks = [], dict(needed), dict(looked_at)
        for fit in fits:
            kit = self.structure.index[fit.kit]
            count = -(-self.job.quantity // fit.instances)
            covered, spare, surplus = {}, {}, {}
            for part, each in inside_one_opened(self.structure, self.conditions, kit, 0).items():
                amount = each * count
                covered[part] = min(amount, need.get(part, 0))
                spare[part] = min(amount - covered[part], looks.get(part, 0))
                surplus[part] = amount - covered[part] - spare[part]
                need[part] = need.get(part, 0) - covered[part]
                looks[part] = looks.get(part, 0) - spare[part]
            told = [self._amounts(column.keys(), column.values()) for column in (covered, spare, surplus)]
            uses.append(KitUse(fit.kit, fit.fits, count, *told))
        return self._way(tuple(uses), self._amounts(need.keys(), need.values()), False, True)

    def _way(self, uses: tuple[KitUse, ...], loose: Amounts, is_planned: bool, beyond_scope: bool) -> KitWay:
        total: dict[str, int] = defaultdict(int)
        for use in uses:
            for part, amount in use.surplus:
                total[part] += amount
        index, countable = self.structure.index, self.structure.countable
        prices = {part: self._unit_price(part) for part in total}
        unpriced = tuple(sorted(part for part, price in prices.items() if price is None))
        kit_prices = [self._unit_price(use.kit) for use in uses]
        return KitWay(
            uses=uses,
            loose=loose,
            surplus=tuple(sorted(total.items())),
            pieces=sum(amount // ONE for part, amount in total.items() if countable[index[part]]),
            value=None
            if unpriced
            else _money((prices[part] or Decimal(0)) * amount / ONE for part, amount in total.items()),
            unpriced=unpriced,
            kit_price=None
            if None in kit_prices
            else _money((price or Decimal(0)) * use.count for use, price in zip(uses, kit_prices, strict=True)),
            is_planned=is_planned,
            beyond_scope=beyond_scope,
        )

    def _unit_price(self, part: str) -> Decimal | None:
        """The lowest price of one stock unit, in whole packs of the smallest order; None when nobody quotes one."""
        prices = []
        for quote in self.plan.book.quotes(self.structure.index[part]):
            packs = quote.packs_for(1)
            total = None if quote.expired else quote.price_for(packs)
            if total is not None:
                prices.append(total * ONE / (packs * quote.pack_size))
        return min(prices, default=None)

    def _name(self, item: int) -> str:
        return self.structure.items[item].part_number

    def _amounts(self, items: Iterable[int], amounts: Iterable[int]) -> Amounts:
        return tuple(sorted((self._name(item), amount) for item, amount in zip(items, amounts, strict=True) if amount))


def with_fits(structure: Structure, fits: Iterable[KitFit]) -> Structure:
    """The same lists with only some of the kits that fit; ``fits`` are among those of ``structure``.

    Parameters
    ----------
    structure : the compiled catalog
    fits : those to keep
    """
    wanted = set(fits)
    keep = [number for number, fit in enumerate(structure.fits) if fit in wanted]
    kept = tuple(structure.fits[number] for number in keep)
    assemblies = np.array([structure.index[fit.fits] for fit in kept], np.int64)
    return replace(
        structure,
        fits=kept,
        fit_kit=structure.fit_kit[keep],
        fit_requirement=structure.fit_requirement[keep],
        fit_first=np.searchsorted(assemblies, np.arange(len(structure.items) + 1)).astype(np.int64),
    )


def _options(structure: Structure, met: Sequence[bool], reached: dict[int, set[int]]) -> list[list[tuple[KitFit, ...]]]:
    """For each assembly with fitting kits, what it may take: one kit of each set, the preferred one first, or none.

    None only where something inside it has kits of its own.
    """
    fitting: dict[int, dict[str, list[KitFit]]] = {}
    for assembly in reached:
        sets: dict[str, list[KitFit]] = defaultdict(list)
        for number in range(int(structure.fit_first[assembly]), int(structure.fit_first[assembly + 1])):
            if met[structure.fit_requirement[number]]:
                sets[structure.fits[number].set_name].append(structure.fits[number])
        if sets:
            fitting[assembly] = sets
    found = []
    for assembly in sorted(fitting, key=lambda item: int(structure.name_rank[item])):
        choices: list[tuple[KitFit, ...]] = list(product(*fitting[assembly].values()))
        if _has_kits_inside(assembly, reached, fitting):
            choices.append(())
        found.append(choices)
    return found


def _has_kits_inside(assembly: int, reached: dict[int, set[int]], fitting: Iterable[int]) -> bool:
    with_kits, waiting, seen = set(fitting), list(reached[assembly]), set()
    while waiting:
        inner = waiting.pop()
        if inner in with_kits:
            return True
        if inner not in seen:
            seen.add(inner)
            waiting += reached[inner]
    return False


def _open_positions(demand: Demand, job: Job) -> dict[int, int]:
    """Positions of each part that are still to be inspected, in millionths."""
    structure = demand.structure
    open_positions: dict[int, int] = defaultdict(int)
    report = demand.reports.get(job.job)
    if report is not None:
        for position in report.open:
            open_positions[int(structure.child[position.line])] += position.quantity
    else:
        looks = demand.explosion.looks
        for line, count in zip(looks.line.tolist(), looks.count.tolist(), strict=True):
            open_positions[int(structure.child[line])] += count * int(structure.quantity[line])
    return dict(open_positions)


def _money(amounts: Iterable[Decimal]) -> Decimal:
    return sum(amounts, Decimal(0)).quantize(Decimal("0.01"))

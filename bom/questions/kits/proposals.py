"""Plain proposals about kits and loose parts: shown beside the plan, never counted in it.

*Use loose*: a job is held only by a kit, and every piece that the kit would bring lies there loose. *Take from kit*: a
job is held only by a piece that a kit on the shelf holds, which then owes that piece. Each proposal is made as if it
were the only one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from bom.buying.leads import NEVER
from bom.demand.kit_cover import inside_one_opened
from bom.plan import Plan
from bom.questions.finishing import free_after_sure, lots_of_plan
from bom.structure.arrays import Structure, as_date
from bom.supply.matching import NOBODY, UNCOVERED
from bom.values import ONE, PACKED_SOURCES, Lot


@dataclass(frozen=True, slots=True)
class LotShare:
    """So much of one lot, in millionths."""

    lot: str
    place: str
    quantity: int


@dataclass(frozen=True, slots=True)
class LoosePart:
    """A part to give loose. ``for_wear`` is how much of it the plan would keep for wear that is only expected."""

    part_number: str
    quantity: int
    lots: tuple[LotShare, ...]
    for_wear: int


@dataclass(frozen=True, slots=True)
class UseLoose:
    """``job`` waits only for ``count`` of ``kit``; the pieces that it needs of them lie there loose."""

    job: str
    kit: str
    count: int
    parts: tuple[LoosePart, ...]


@dataclass(frozen=True, slots=True)
class Debt:
    """What a kit on the shelf owes once the piece is taken: ``kits`` bags of ``lot`` lack ``quantity`` millionths."""

    kit: str
    lot: str
    place: str
    kits: int
    part_number: str
    quantity: int


@dataclass(frozen=True, slots=True)
class TakeFromKit:
    """``job`` waits only for ``quantity`` of ``part_number``, which kits on the shelf hold.

    ``planned_for`` names the jobs that the plan gives these kits to; none when nobody waits for them. A piece ordered
    today is here on ``refill_on`` (None when that is not known), and the first of those jobs needs its kit
    on ``repay_by``.
    """

    job: str
    part_number: str
    quantity: int
    debts: tuple[Debt, ...]
    planned_for: tuple[str, ...]
    refill_on: date | None
    repay_by: date | None


def use_loose(plan: Plan) -> tuple[UseLoose, ...]:
    """The jobs that are held only by a kit whose pieces are all free loose, by job.

    A piece is free when no sure piece of the plan takes it, and it lies on a lot that lives to the build day and may
    go to the job's customer. Only the pieces that the job needs of the kit are asked for, not what the kit would leave
    over. The parts of a clean kit must be of its cleanliness themselves.

    Parameters
    ----------
    plan : the finished plan
    """
    shelf = _Shelf(plan)
    found = (_use_loose(shelf, asker, kit) for asker, kit in _held_by_one(plan, kits=True))
    return tuple(sorted((row for row in found if row), key=lambda row: row.job))


def take_from_kit(plan: Plan) -> tuple[TakeFromKit, ...]:
    """The jobs that are held only by a piece that a kit on the shelf holds, by job, with what the kit then owes.

    A kit that is reserved for a job is never opened, and one that the plan gives to a job only if a piece ordered today
    is here before that job needs its kit, and that job does not lack the same piece. A kit holds what was recorded of
    its bag; one without a record is taken to hold what its list says without options, serials or dates, as only that is
    surely in the bag. Clean kits are not opened, and clean jobs take nothing from an opened bag.

    Parameters
    ----------
    plan : the finished plan
    """
    shelf = _Shelf(plan)
    found = (_take_from_kit(shelf, asker, item) for asker, item in _held_by_one(plan, kits=False))
    return tuple(sorted((row for row in found if row), key=lambda row: row.job))


def kits_by_part(structure: Structure) -> dict[int, list[tuple[int, int]]]:
    """For each item, the kits that surely hold it, whatever pump they were put together for, and how much of it.

    Parameters
    ----------
    structure : the compiled catalog
    """
    return _by_part(structure, np.flatnonzero(structure.is_kit).tolist())


def assemblies_by_part(structure: Structure) -> dict[int, list[tuple[int, int]]]:
    """For each item, the assemblies that surely hold it right under them, whatever the pump, and how much of it.

    Parameters
    ----------
    structure : the compiled catalog
    """
    assemblies = [number for number, item in enumerate(structure.items) if item.kind == "assembly"]
    return _by_part(structure, assemblies)


def _by_part(structure: Structure, wholes: Iterable[int]) -> dict[int, list[tuple[int, int]]]:
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for whole in wholes:
        for part, each in _surely_inside(structure, whole).items():
            found[part].append((whole, each))
    return found


def _recorded_inside(structure: Structure, lot: Lot) -> dict[int, int]:
    """What one kit of a lot holds by its record; kits inside it as their lists have them."""
    inside: dict[int, int] = defaultdict(int)
    for part_number, quantity in lot.contents or ():
        part = structure.index.get(part_number)
        if part is not None and structure.is_kit[part]:
            for inner, each in _surely_inside(structure, part).items():
                inside[inner] += each * (quantity // ONE)
        elif part is not None:
            inside[part] += quantity
    return dict(inside)


def _surely_inside(structure: Structure, kit: int) -> dict[int, int]:
    inside: dict[int, int] = defaultdict(int)
    for number in structure.lines_of(kit):
        line, child = structure.lines[number], int(structure.child[number])
        if line.options or line.from_on or line.to_on or line.from_serial or line.to_serial or line.pump:
            continue
        if structure.is_kit[child]:
            for part, each in _surely_inside(structure, child).items():
                inside[part] += each * (int(structure.quantity[number]) // ONE)
        else:
            inside[child] += int(structure.quantity[number])
    return dict(inside)


class _Shelf:
    """What the plan leaves free, what it lacks for whom, and to whom it gives which lot; gathered once."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.items = plan, plan.demand.structure.items
        self.free = free_after_sure(plan)
        pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
        self.lacking: dict[tuple[int, int], dict[int, int]] = defaultdict(lambda: defaultdict(int))
        self.holding: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.kits_with: dict[int, set[int]] = defaultdict(set)
        self._listed: dict[tuple[int, int], int] = {}
        for item, kits in kits_by_part(plan.demand.structure).items():
            self.kits_with[item] |= {kit for kit, _ in kits}
            self._listed |= {(kit, item): each for kit, each in kits}
        self._recorded: dict[int, dict[int, int]] = {}
        for place in supplies.usable_lots:
            if plan.shop.lots[place].contents is not None:
                self._recorded[place] = _recorded_inside(plan.demand.structure, plan.shop.lots[place])
                for item in self._recorded[place]:
                    self.kits_with[item].add(plan.demand.structure.index[plan.shop.lots[place].part_number])
        sure = ~pieces.wear[draws.piece]
        for row in np.flatnonzero(sure & ((draws.supply == UNCOVERED) | plan.found.late_draw)).tolist():
            piece = int(draws.piece[row])
            self.lacking[int(pieces.job[piece]), int(pieces.item[piece])][piece] += int(draws.quantity[row])
        is_kit = plan.demand.structure.is_kit[pieces.item[draws.piece]]
        for row in np.flatnonzero(sure & is_kit & (draws.supply >= 0)).tolist():
            if supplies.lot_place[draws.supply[row]] >= 0:
                self.holding[int(draws.supply[row])].append((int(draws.piece[row]), int(draws.quantity[row])))

    def lot(self, supply: int) -> Lot:
        """The lot behind a supply number."""
        return self.plan.shop.lots[int(self.plan.supplies.lot_place[supply])]

    def in_one(self, supply: int, item: int) -> int:
        """How much of an item one kit of a lot holds, in millionths."""
        place = int(self.plan.supplies.lot_place[supply])
        if place in self._recorded:
            return self._recorded[place].get(item, 0)
        return self._listed.get((int(self.plan.supplies.item[supply]), item), 0)


def _held_by_one(plan: Plan, *, kits: bool) -> Iterator[tuple[int, int]]:
    """Jobs that one thing alone holds, missing or late, with that item."""
    for number, (asker, answer) in enumerate(zip(plan.demand.askers, plan.answers, strict=True)):
        item = answer.freed_by
        if asker.job and item is not None and bool(plan.demand.structure.is_kit[item]) is kits:
            yield number, item


def _use_loose(shelf: _Shelf, asker: int, kit: int) -> UseLoose | None:
    pieces = shelf.plan.netting.pieces
    lacking = shelf.lacking.get((asker, kit), {})
    if len(lacking) != 1 or any(pieces.way[piece] >= 0 for piece in lacking):
        return None
    ((piece, missing),) = lacking.items()
    wanted = _needed_of_kits(shelf.plan, asker, kit, int(pieces.quantity[piece]), missing)
    if not wanted or not clean_enough(shelf.plan.demand.structure, kit, wanted):
        return None
    parts = [_loose_part(shelf, asker, part, quantity) for part, quantity in wanted.items()]
    told = sorted((part for part in parts if part), key=lambda part: part.part_number)
    if len(told) < len(parts):
        return None
    return UseLoose(shelf.plan.demand.askers[asker].name, shelf.items[kit].part_number, missing // ONE, tuple(told))


def clean_enough(structure: Structure, kit: int, parts: Iterable[int]) -> bool:
    """Whether these parts may stand for a kit: those of a clean kit must be of its cleanliness.

    Parameters
    ----------
    structure : the compiled catalog
    kit : its item number
    parts : item numbers
    """
    asked = structure.items[kit].cleanliness
    return asked == "normal" or all(structure.items[part].cleanliness == asked for part in parts)


def _needed_of_kits(plan: Plan, asker: int, kit: int, asked: int, lacking: int) -> dict[int, int]:
    """What the job needs of the kits that are missing, the kits that are there used first; millionths by part."""
    demand = plan.demand
    recipe = demand.askers[asker].recipe
    each = inside_one_opened(demand.structure, demand.conditions, kit, recipe)
    kits = demand.requirements.kits
    rows = np.flatnonzero((kits.recipe == recipe) & (kits.kit == kit)).tolist()
    if sum(int(kits.count[row]) for row in rows) * ONE != asked:  # some are asked for themselves, not for an assembly
        return {part: amount * (lacking // ONE) for part, amount in each.items()}
    there = (asked - lacking) // ONE
    wanted: dict[int, int] = defaultdict(int)
    for row in rows:
        used = min(there, int(kits.count[row]))
        there -= used
        for place in np.flatnonzero((kits.part_row == row) & (kits.covered > 0)).tolist():
            part, covered = int(kits.part_item[place]), int(kits.covered[place])
            wanted[part] += max(0, covered - used * each[part])
    return {part: quantity for part, quantity in wanted.items() if quantity}


def _loose_part(shelf: _Shelf, asker: int, item: int, wanted: int) -> LoosePart | None:
    """Lots with so much of a part free; None when there is not enough."""
    lots = lots_of_plan(shelf.plan, asker, item)
    after_wear = sum(int(shelf.plan.supplies.left[supply]) for supply in lots)
    shares, rest = [], wanted
    for supply in lots:
        taken = min(rest, shelf.free[supply])
        if taken:
            rest -= taken
            shares.append(LotShare(shelf.lot(supply).lot, shelf.lot(supply).place, taken))
    if rest:
        return None
    return LoosePart(shelf.items[item].part_number, wanted, tuple(shares), max(0, wanted - after_wear))


@dataclass(frozen=True)
class _Bags:
    """Whole kits on one lot that ``holder`` needs on ``need_day``, or that nobody waits for (``NEVER``).

    Each holds ``each`` millionths of the piece.
    """

    supply: int
    kits: int
    each: int
    holder: int
    need_day: int


def _take_from_kit(shelf: _Shelf, asker: int, item: int) -> TakeFromKit | None:
    """The proposal that touches the fewest other jobs, then the fewest kits."""
    job = shelf.plan.demand.askers[asker].job
    wanted = sum(shelf.lacking.get((asker, item), {}).values())
    if not wanted or job is None or job.cleanliness != "normal":
        return None
    refill = _refill_day(shelf.plan, item, wanted)
    found = []
    for kit in shelf.kits_with.get(item, ()):
        bags = _bags(shelf, asker, item, kit, refill) if shelf.items[kit].cleanliness == "normal" else []
        chosen = _first(bags, wanted)
        if chosen:
            holders = {bag.holder for bag in chosen if bag.holder != NOBODY}
            kits = sum(bag.kits for bag in chosen)
            found.append((len(holders), kits, shelf.items[kit].part_number, kit, chosen))
    if not found:
        return None
    *_, kit, chosen = min(found, key=lambda row: row[:3])
    return _proposal(shelf, asker, item, wanted, kit, chosen, refill)


def _refill_day(plan: Plan, item: int, wanted: int) -> int:
    """The day on which a purchase of today would be here, the earliest of all offers; ``NEVER`` when not known."""
    if plan.demand.structure.items[item].source in PACKED_SOURCES:
        return NEVER
    arrives_on = plan.book.choose(item, wanted, plan.as_of).arrives_on
    return NEVER if arrives_on is None else arrives_on


def _bags(shelf: _Shelf, asker: int, item: int, kit: int, refill: int) -> list[_Bags]:
    """Kits that may be opened: first those that nobody waits for, then those that are needed last.

    Who lacks the piece, as the asker does, keeps its own kits closed.
    """
    pieces = shelf.plan.netting.pieces
    lots = {lot: shelf.in_one(lot, item) for lot in lots_of_plan(shelf.plan, asker, kit)}
    lots = {supply: each for supply, each in lots.items() if each}
    bags = [_Bags(supply, shelf.free[supply] // ONE, each, NOBODY, NEVER) for supply, each in lots.items()]
    for supply, each in lots.items():
        for piece, quantity in shelf.holding.get(supply, ()):
            holder, need_day = int(pieces.job[piece]), int(pieces.need_day[piece])
            if need_day >= refill and (holder, item) not in shelf.lacking:
                bags.append(_Bags(supply, quantity // ONE, each, holder, need_day))
    return sorted((bag for bag in bags if bag.kits), key=lambda bag: -bag.need_day)


def _first(bags: Sequence[_Bags], wanted: int) -> list[_Bags]:
    """The first kits that hold so much together; nothing when all of them hold less."""
    chosen = []
    for bag in bags:
        if wanted > 0:
            kits = min(-(-wanted // bag.each), bag.kits)
            wanted -= kits * bag.each
            chosen.append(replace(bag, kits=kits))
    return [] if wanted > 0 else chosen


def _proposal(
    shelf: _Shelf, asker: int, item: int, wanted: int, kit: int, chosen: Sequence[_Bags], refill: int
) -> TakeFromKit:
    debts, rest = [], wanted
    for bag in chosen:
        lot, taken = shelf.lot(bag.supply), min(rest, bag.kits * bag.each)
        rest -= taken
        names = (shelf.items[kit].part_number, lot.lot, lot.place, bag.kits)
        debts.append(Debt(*names, shelf.items[item].part_number, taken))
    askers = shelf.plan.demand.askers
    repay = min(bag.need_day for bag in chosen)
    return TakeFromKit(
        job=askers[asker].name,
        part_number=shelf.items[item].part_number,
        quantity=wanted,
        debts=tuple(debts),
        planned_for=tuple(sorted({askers[bag.holder].name for bag in chosen if bag.holder != NOBODY})),
        refill_on=None if refill == NEVER else as_date(refill),
        repay_by=None if repay == NEVER else as_date(repay),
    )

"""A finished plan, read: what pages, picking and workbooks may know of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from datetime import date
from functools import cached_property

import numpy as np

from bom.answers.leaning import awaited_from_overdue
from bom.answers.shelf_chance import ShelfChance, shelf_chance
from bom.buying.order_size import PackOffer
from bom.explain import AskedLine, Shortfall, Why, balances, needs_of, shortfalls, why_asked
from bom.plan import Plan
from bom.questions.wear_outlook import published_rounding
from bom.reading.askers import Asker, askers_of
from bom.reading.buying import ChosenOffer, PurchaseRow, chosen, purchases_of
from bom.reading.coming import OrderDraw, draws_of_orders
from bom.reading.kits import KitOfJob, KitTable
from bom.reading.lists import Lists
from bom.reading.opened import Inspections, JobAssembly, inspections_of, opened_by
from bom.reading.pieces import Piece, PieceTable, Served
from bom.reading.shelf import ItemStock, LotRow, Shelf, dying_by_day, stock_of
from bom.reading.wear import Wear, WearInJob, wear_in_jobs, wear_of
from bom.structure.arrays import as_date, day_number
from bom.structure.keys import fold
from bom.supply.matching import OWN, PACKED
from bom.values import Item, Options, ScopeSection


class Reading:
    """What a finished plan says, in names, days and amounts; each part of it is worked out when it is first asked for.

    Attributes
    ----------
    plan : the plan that is read, to ask further questions of
    lists : the lists of its catalog
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.lists = Lists(plan.demand.structure)
        self._index = plan.demand.structure.index

    # --- who asks, and what they are told

    @cached_property
    def askers(self) -> tuple[Asker, ...]:
        """The jobs and other needs that ask for parts, in the order of serving."""
        return tuple(askers_of(self.plan))

    @cached_property
    def jobs(self) -> dict[str, Asker]:
        """The jobs among them, by name."""
        return {asker.name: asker for asker in self.askers if asker.is_job}

    def jobs_of_batch(self, batch: str) -> tuple[Asker, ...]:
        """The jobs of a batch that ask for parts, in the order in which they are built.

        Parameters
        ----------
        batch : its name, read without regard to case
        """
        found = [one for one in self.askers if one.job and fold(one.job.batch) == fold(batch)]
        return tuple(sorted(found, key=lambda one: (one.build_on, one.priority, one.turn)))

    @cached_property
    def shortfalls(self) -> dict[Asker, dict[str, Shortfall]]:
        """What each asker lacks of which parts: only where something is missing or late."""
        found = shortfalls(self.plan)
        return {
            self.askers[turn]: {self._name(item): lacks for item, lacks in parts.items()}
            for turn, parts in found.items()
        }

    @cached_property
    def awaited(self) -> dict[Asker, dict[str, dict[str, int]]]:
        """What each asker awaits from which overdue order: millionths by part."""
        awaited: dict[Asker, dict[str, dict[str, int]]] = defaultdict(dict)
        for one in awaited_from_overdue(self.plan):
            awaited[self.askers[one.job]].setdefault(one.order, {})[self._name(one.item)] = one.quantity
        return dict(awaited)

    @cached_property
    def overdue_orders(self) -> dict[Asker, tuple[str, ...]]:
        """The overdue orders that each asker leans on."""
        return {asker: tuple(orders) for asker, orders in self.awaited.items()}

    @cached_property
    def to_inspect(self) -> dict[Asker, int]:
        """How many positions of each job are still to be looked at."""
        still: dict[int, int] = defaultdict(int)
        countable, wear = self.plan.demand.structure.countable, self.plan.demand.wear
        positions = wear.count * np.where(countable[wear.item], wear.weight, 1)
        for turn, count in zip(wear.job.tolist(), positions.tolist(), strict=True):
            still[turn] += count
        return {self.askers[turn]: count for turn, count in still.items()}

    # --- what a job opens

    def options_of(self, asker: Asker) -> Options:
        """The answers that hold for a job: its own, else the scope's, else the pump's default.

        Parameters
        ----------
        asker : a job or other need of the plan
        """
        return self.plan.demand.explosion.recipes[self._recipe(asker)].answers

    def sections_of(self, asker: Asker) -> tuple[ScopeSection, ...]:
        """The sections of a job's scope.

        Parameters
        ----------
        asker : a job or other need of the plan
        """
        return self.lists.scopes.get((asker.job.pump, asker.job.scope), ()) if asker.job else ()

    def opened_by(self, asker: Asker) -> tuple[JobAssembly, ...]:
        """Every assembly that a job opens, on every way down.

        Parameters
        ----------
        asker : a job or other need of the plan
        """
        return tuple(opened_by(self.plan, asker.turn, self.lists, self.kits_of(asker)))

    def inspections_of(self, asker: Asker) -> Inspections:
        """The inspected positions of a job.

        Parameters
        ----------
        asker : a job or other need of the plan
        """
        return inspections_of(self.plan, asker.turn)

    def kits_of(self, asker: Asker) -> tuple[KitOfJob, ...]:
        """The kits of a job set against its assemblies.

        Parameters
        ----------
        asker : a job or other need of the plan
        """
        return self._kits.of_recipe(self._recipe(asker))

    def needed_by(self, askers: Iterable[Asker]) -> dict[str, int]:
        """What the scopes of some jobs are sure to ask for, loose and in kits together; millionths by part.

        Parameters
        ----------
        askers : jobs or other needs of the plan
        """
        renewed = self.plan.demand.renewed
        times = np.zeros(len(self.plan.demand.explosion.recipes), np.int64)
        for asker in askers:
            times[self._recipe(asker)] += asker.is_job
        total = np.zeros(len(self.plan.demand.structure.items), np.int64)
        np.add.at(total, renewed.item, renewed.quantity * times[renewed.recipe])
        return {self._name(item): int(total[item]) for item in np.flatnonzero(total).tolist()}

    def bench_of(self, askers: Iterable[Asker]) -> dict[str, int]:
        """What the bench adds to the work of some jobs by itself, and no requirement counts; millionths by part.

        Parameters
        ----------
        askers : jobs or other needs of the plan
        """
        by_recipe: dict[int, list[Asker]] = defaultdict(list)
        for asker in askers:
            if asker.is_job:
                by_recipe[self._recipe(asker)].append(asker)
        total: dict[str, int] = defaultdict(int)
        for alike in by_recipe.values():
            for opening in self.opened_by(alike[0]):
                for line in opening.lines:
                    if line.is_renewed and self.items[line.held.child].bench:
                        total[line.held.child] += line.held.quantity * opening.count * len(alike)
        return dict(total)

    # --- pieces and what serves them

    def pieces_of(self, asker: Asker) -> tuple[Piece, ...]:
        """What a job or other need is sure to ask for, with what serves it; in the order of the plan.

        Parameters
        ----------
        asker : a job or other need of the plan
        """
        return tuple(self._pieces.of_asker(asker.turn))

    def served_of(self, asker: Asker, part_number: str | None = None) -> Iterator[tuple[str, Served]]:
        """What serves those pieces, each with its part number: for who wants to know no more of them.

        Parameters
        ----------
        asker : a job or other need of the plan
        part_number : of the one item that is asked about; None for all
        """
        only = None if part_number is None else self._index[part_number]
        return self._pieces.served_of(asker.turn, only)

    def pieces_of_part(self, part_number: str) -> tuple[Piece, ...]:
        """Everything that is asked of one part, planned wear as well, with what serves it.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return tuple(self._pieces.of_item(self._index[part_number]))

    @cached_property
    def given_from_shelf(self) -> frozenset[Asker]:
        """Who gets something from the shelf that was asked for by themselves, reserved pieces among it."""
        pieces, draws, supplies = self.plan.netting.pieces, self.plan.netting.draws, self.plan.supplies
        lies = (draws.supply == OWN) & (draws.own_lot >= 0)
        supplied = np.flatnonzero(draws.supply >= 0)
        lies[supplied] = supplies.lot_place[draws.supply[supplied]] >= 0
        turns = np.unique(pieces.job[draws.piece[lies & (pieces.parent[draws.piece] < 0)]])
        return frozenset(self.askers[turn] for turn in turns.tolist() if turn >= 0)

    def packed(self, part_number: str) -> list[tuple[date, Asker | None, int]]:
        """For whom kits, or made assemblies, of one number are packed: build day, asker (None: wear), millionths.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        pieces, draws = self.plan.netting.pieces, self.plan.netting.draws
        mine = (draws.supply == PACKED) & (pieces.item[draws.piece] == self._index[part_number])
        totals: dict[tuple[int, int], int] = defaultdict(int)
        for row in np.flatnonzero(mine).tolist():
            piece = int(draws.piece[row])
            totals[int(pieces.build_day[piece]), int(pieces.job[piece])] += int(draws.quantity[row])
        return [
            (as_date(day), self.askers[turn] if turn >= 0 else None, quantity)
            for (day, turn), quantity in sorted(totals.items())
        ]

    def needs_of(self, part_number: str) -> dict[Asker, int]:
        """Millionths of one part that each asker is sure to ask for.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return {self.askers[turn]: needed for turn, needed in needs_of(self.plan, self._index[part_number]).items()}

    def needs_by_day(self, part_number: str) -> dict[date, int]:
        """Millionths of one part that are surely needed, by need day.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        pieces = self.plan.netting.pieces
        found: dict[date, int] = defaultdict(int)
        for piece in np.flatnonzero((pieces.item == self._index[part_number]) & ~pieces.wear).tolist():
            found[as_date(pieces.need_day[piece])] += int(pieces.quantity[piece])
        return dict(found)

    @cached_property
    def builds(self) -> dict[str, list[tuple[date, str]]]:
        """For each part the build days and names of those who are sure to ask for it, the first on top."""
        pieces = self.plan.netting.pieces
        sure = np.flatnonzero(~pieces.wear & (pieces.job >= 0))
        asked = np.unique(np.stack((pieces.item[sure], pieces.build_day[sure], pieces.job[sure]), axis=1), axis=0)
        found: dict[str, set[tuple[date, str]]] = defaultdict(set)
        for item, day, turn in asked.tolist():
            found[self._name(item)].add((as_date(day), self.askers[turn].name))
        return {part: sorted(builds) for part, builds in found.items()}

    # --- the shelf

    @cached_property
    def shelf(self) -> Shelf:
        """The rows of the shelf, in the order of the shop's lots."""
        return Shelf(self.plan, self.askers)

    def rows_of(self, part_number: str) -> tuple[LotRow, ...]:
        """The rows of the shelf that hold one part.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return tuple(self.shelf.row(place) for place in self._places.get(part_number, ()))

    def stock_of(self, part_number: str) -> ItemStock:
        """What there is of one part.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return stock_of(self.plan, self._index[part_number])

    def unclaimed(self, part_number: str, *, sealed: bool = False) -> int:
        """Millionths of one part that no job claims, on lots that belong to nobody; of ``sealed`` packets alone.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        sealed : count lots in sealed packets only
        """
        rows = (row for row in self.rows_of(part_number) if not row.lot.owner.strip())
        return sum(row.left for row in rows if not sealed or row.lot.packet == "sealed")

    def dying_by_day(self, part_number: str) -> dict[date, int]:
        """What nobody has claimed of lots that run out before the last build, on the day after; millionths.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return dying_by_day(self.plan, self._index[part_number])

    # --- wear

    def wear_of(self, part_number: str) -> Wear | None:
        """What may be found worn of one part; None where nothing of it is looked at.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return wear_of(self.plan, self._index[part_number])

    def wear_in_jobs(self, part_number: str) -> tuple[WearInJob, ...]:
        """What each job may ask of a part that it looks at.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return tuple(wear_in_jobs(self.plan, self._index[part_number], self.askers))

    def worn_in(self, askers: Iterable[Asker]) -> set[str]:
        """The parts that may be found worn in some jobs.

        Parameters
        ----------
        askers : jobs or other needs of the plan
        """
        return {self._name(item) for item in self.plan.demand.wear.items_of(asker.turn for asker in askers)}

    def is_looked_at(self, part_number: str) -> bool:
        """Whether some job may find the part worn.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return self._index[part_number] in self.plan.demand.wear

    @cached_property
    def published_wear(self) -> dict[str, int]:
        """Whole pieces of each inspected part by the published rounding of its overhaul rate."""
        return {self._name(item): pieces for item, pieces in published_rounding(self.plan).items()}

    def shelf_chance(self, part_number: str) -> ShelfChance | None:
        """What the sure needs leave of a part, and the chance that it is enough for its wear.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return shelf_chance(self.plan, self._index[part_number])

    # --- what to buy

    @cached_property
    def suppliers(self) -> dict[tuple[str, str], str]:
        """Who delivers each open order line."""
        return {(line.order, line.line): line.supplier for line in self.plan.shop.orders}

    @cached_property
    def order_draws(self) -> dict[tuple[str, str], tuple[OrderDraw, ...]]:
        """Who draws what from each order line, by order and line; a line that nobody draws from is left out."""
        return draws_of_orders(self.plan, self.askers)

    @cached_property
    def purchases(self) -> tuple[PurchaseRow, ...]:
        """The purchase list, by part number."""
        return tuple(purchases_of(self.plan, self.askers))

    def choose(self, part_number: str, quantity: int, need_on: date | None) -> ChosenOffer:
        """The purchase of so many millionths of one part for a day, or as soon as may be.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        quantity : millionths
        need_on : day by which it has to be here; None when it is all the same
        """
        day = None if need_on is None else day_number(need_on)
        return chosen(self.plan.book.choose(self._index[part_number], quantity, day))

    def quotes(self, part_number: str) -> tuple[PackOffer, ...]:
        """Everything that is offered of one part.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        """
        return self.plan.book.quotes(self._index[part_number])

    # --- why

    def balances(self, part_numbers: Collection[str]) -> dict[str, Why]:
        """What is short of each part: what is needed less what serves it.

        Parameters
        ----------
        part_numbers : of items of the catalog
        """
        found = balances(self.plan, (self._index[part] for part in part_numbers))
        return {self._name(item): why for item, why in found.items()}

    def why_asked(self, part_number: str, askers: Iterable[Asker]) -> dict[Asker, tuple[AskedLine, ...]]:
        """Why each of these askers asks for one part.

        Parameters
        ----------
        part_number : part number of an item of the catalog
        askers : jobs or other needs of the plan
        """
        found = why_asked(self.plan, self._index[part_number], (asker.turn for asker in askers))
        return {self.askers[turn]: lines for turn, lines in found.items()}

    # --- the tables behind it

    @property
    def items(self) -> dict[str, Item]:
        """Everything in the catalog by part number, in the order of its sheet."""
        return self.lists.items

    @cached_property
    def _pieces(self) -> PieceTable:
        return PieceTable(self.plan, self.askers)

    @cached_property
    def _kits(self) -> KitTable:
        return KitTable(self.plan)

    @cached_property
    def _places(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = defaultdict(list)
        for place, lot in enumerate(self.plan.shop.lots):
            found[lot.part_number].append(place)
        return dict(found)

    def _name(self, item: int) -> str:
        return self.plan.demand.structure.items[item].part_number

    def _recipe(self, asker: Asker) -> int:
        return self.plan.demand.askers[asker.turn].recipe

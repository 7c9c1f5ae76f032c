"""A round laid out from the plan: stops in walk order, kits first, each with its shares, reason and warnings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.values import Lot as ShelfLot
from kits.catalog.day_words import in_full
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.picking.lot_reasons import Taken, why_this_lot
from kits.picking.neighbours import Neighbours
from kits.picking.plan_draws import Give, Held, Lack, less_what_is_held, read_draws
from kits.picking.words import NoteKind
from kits.planning.lists.plan_reading import PlanReading
from kits.planning.sheets.job_sections import JobWalk
from kits.schedule.models import Job
from kits.stock.models import Lot
from kits.stock.packets import packet_caution
from kits.stock.words import Packet


@dataclass(frozen=True, slots=True)
class ShareDraft:
    """What of a line goes to one job, and how much of it was set aside for that job before; millionths."""

    job_id: int
    asked: int
    set_aside: int


@dataclass(frozen=True, slots=True)
class LineDraft:
    """One stop: a lot at a place."""

    lot_id: int
    place_id: int
    last_use_on: date | None
    why: str
    look_alike: str
    caution: str
    shares: tuple[ShareDraft, ...]


@dataclass(frozen=True, slots=True)
class NoteDraft:
    """Something that a job needs and that is not picked; quantity in millionths where it is known."""

    job_id: int
    kind: NoteKind
    item_id: int
    quantity: int | None
    says: str


@dataclass(frozen=True, slots=True)
class RoundDraft:
    """A round before it is stored; ``jobs`` in the order of their bags."""

    jobs: tuple[Job, ...]
    lines: tuple[LineDraft, ...]
    notes: tuple[NoteDraft, ...]


@dataclass(frozen=True, slots=True)
class _Stop:
    """What is given from one lot at one place, in whatever packets."""

    shelf_lots: tuple[ShelfLot, ...]
    gives: tuple[Give, ...]

    @property
    def lot(self) -> ShelfLot:
        return self.shelf_lots[0]

    @property
    def quantity(self) -> int:
        return sum(give.quantity for give in self.gives)


def lay_out_round(plan: Plan, jobs: Sequence[Job], held: Collection[Held]) -> RoundDraft:
    """Lay out a round for jobs that ask for parts; six statements."""
    numbers = {asker.name: number for number, asker in enumerate(plan.demand.askers) if asker.job}
    ordered = tuple(sorted(jobs, key=lambda job: (job.build_on, job.priority, job.job)))
    by_asker = {numbers[job.job]: job for job in ordered}
    gives, lacks = read_draws(plan, by_asker)
    gives, elsewhere = less_what_is_held(plan, gives, held)
    return _Layout(plan, by_asker).draft(gives, [*lacks, *elsewhere])


class _Layout:
    """One round while it is laid out."""

    def __init__(self, plan: Plan, by_asker: dict[int, Job]) -> None:
        self.plan, self.by_asker = plan, by_asker
        self.reading = PlanReading(plan)
        self.lots_of: dict[str, list[ShelfLot]] = defaultdict(list)
        for lot in plan.shop.lots:
            self.lots_of[lot.part_number].append(lot)

    def draft(self, gives: Sequence[Give], lacks: Sequence[Lack]) -> RoundDraft:
        """Lines and notes."""
        stops = self._stops(gives)
        bench = self._bench_items()
        named = {stop.lot.part_number for stop in stops} | {self.reading.part_number(lack.item) for lack in lacks}
        named |= {part for parts in bench.values() for part in parts}
        around = Neighbours(self.plan.shop.lots, {stop.lot.place for stop in stops}, named)
        ids = _lot_ids({stop.lot.part_number for stop in stops})
        stops.sort(key=lambda stop: (around.items[stop.lot.part_number].kind != ItemKind.KIT, *around.walk(stop.lot)))
        return RoundDraft(
            jobs=tuple(self.by_asker.values()),
            lines=tuple(self._line(stop, around, ids) for stop in stops),
            notes=(*self._lack_notes(lacks, around.items), *self._bench_notes(bench, around.items)),
        )

    def _stops(self, gives: Iterable[Give]) -> list[_Stop]:
        """Gives of one lot at one place together."""
        together: dict[tuple[str, str, str], list[Give]] = defaultdict(list)
        for give in gives:
            lot = self.plan.shop.lots[give.lot_place]
            together[lot.part_number, lot.lot, lot.place].append(give)
        return [
            _Stop(
                tuple(self.plan.shop.lots[place] for place in sorted({give.lot_place for give in group})), tuple(group)
            )
            for group in together.values()
        ]

    def _line(self, stop: _Stop, around: Neighbours, ids: dict[tuple[str, str], int]) -> LineDraft:
        lot, item = stop.lot, around.items[stop.lot.part_number]
        jobs = [self.by_asker[give.asker] for give in stop.gives]
        customers = frozenset(fold(job.customer) for job in jobs)
        taken = Taken(lot, max(job.build_on for job in jobs), customers)
        structure = self.reading.structure
        core_item = structure.items[structure.index[lot.part_number]]
        sealed = sum(one.quantity for one in self.lots_of[lot.part_number] if _is_sealed(one, lot))
        opened = sum(one.quantity for one in stop.shelf_lots if one.packet == Packet.RESEALED)
        opens_a_packet = 0 < stop.quantity - opened < sealed
        cautions = [packet_caution(item, opens_a_packet=opens_a_packet)]
        if lot.owner:
            cautions.append(f"Belongs to {lot.owner}.")
        return LineDraft(
            lot_id=ids[lot.part_number, fold(lot.lot)],
            place_id=around.place_id(lot.place),
            last_use_on=lot.last_use,
            why=why_this_lot(core_item, taken, self.lots_of[lot.part_number], self.plan.shop.as_of)[:500],
            look_alike=around.look_alike(lot)[:500],
            caution=" ".join(filter(None, cautions))[:500],
            shares=self._shares(stop.gives),
        )

    def _shares(self, gives: Iterable[Give]) -> tuple[ShareDraft, ...]:
        asked: dict[int, int] = defaultdict(int)
        set_aside: dict[int, int] = defaultdict(int)
        for give in gives:
            asked[give.asker] += give.quantity
            set_aside[give.asker] += give.quantity if give.set_aside else 0
        return tuple(
            ShareDraft(job.pk, asked[number], set_aside[number])
            for number, job in self.by_asker.items()
            if asked[number]
        )

    def _lack_notes(self, lacks: Iterable[Lack], items: dict[str, Item]) -> list[NoteDraft]:
        totals: dict[tuple[int, int, NoteKind, int], int] = defaultdict(int)
        for lack in lacks:
            totals[lack.asker, lack.item, lack.kind, lack.order_place] += lack.quantity
        notes = [
            NoteDraft(
                self.by_asker[asker].pk,
                kind,
                items[self.reading.part_number(item)].pk,
                quantity,
                self._order_says(order_place),
            )
            for (asker, item, kind, order_place), quantity in totals.items()
        ]
        return sorted(notes, key=lambda note: (list(NoteKind).index(note.kind), note.item_id))

    def _order_says(self, order_place: int) -> str:
        if order_place < 0:
            return ""
        order = self.plan.shop.orders[order_place]
        late = ", overdue: if it comes" if order.promised < self.plan.shop.as_of else ""
        return f"{order.order} line {order.line}, promised {in_full(order.promised)}{late}"

    def _bench_items(self) -> dict[int, list[str]]:
        """What the bench adds itself, by job: grease and the like on renewed lines."""
        found: dict[int, list[str]] = {}
        structure = self.reading.structure
        for asker, job in self.by_asker.items():
            walk = JobWalk(self.reading, asker)
            lines = (line for spot in walk.spots for line in walk.lines_of(spot.item))
            parts = {
                structure.lines[line].child
                for line in lines
                if structure.bench[structure.child[line]] and structure.lines[line].at_rebuild == "renew"
            }
            found[job.pk] = sorted(parts)
        return found

    def _bench_notes(self, bench: dict[int, list[str]], items: dict[str, Item]) -> list[NoteDraft]:
        return [
            NoteDraft(job_id, NoteKind.BENCH, items[part].pk, None, "")
            for job_id, parts in bench.items()
            for part in parts
        ]


def _is_sealed(one: ShelfLot, taken: ShelfLot) -> bool:
    return (one.lot, one.place, one.packet, one.condition) == (taken.lot, taken.place, Packet.SEALED, "usable")


def _lot_ids(part_numbers: Collection[str]) -> dict[tuple[str, str], int]:
    rows = Lot.objects.filter(item__part_number__in=part_numbers).values_list("item__part_number", "folded", "pk")
    return {(part, folded): pk for part, folded, pk in rows}

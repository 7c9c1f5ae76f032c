"""A round laid out from the plan: stops in walk order, kits first, each with its shares, reason and warnings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import Reading
from bom.values import Lot as ShelfLot
from bom.values import OrderLine
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.picking.cautions.lot_reasons import Taken, why_this_lot
from kits.picking.cautions.neighbours import Neighbours
from kits.picking.queries import HeldForJob
from kits.picking.rounds.to_pick import Give, Lack, less_what_is_held, to_pick
from kits.picking.words import NoteKind
from kits.planning.queries import reading_of
from kits.schedule.models import Job
from kits.stock.models import Lot
from kits.stock.packets import is_kept_sealed, packet_caution
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

    gives: tuple[Give, ...]

    @property
    def lot(self) -> ShelfLot:
        return self.gives[0].lot

    @property
    def opened(self) -> int:
        return sum(give.quantity for give in self.gives if give.is_opened)

    @property
    def sealed(self) -> int:
        return sum(give.quantity for give in self.gives if not give.is_opened)


def lay_out_round(plan: Plan, jobs: Sequence[Job], held: Collection[HeldForJob]) -> RoundDraft:
    """Lay out a round for jobs that ask for parts; six statements."""
    by_name = {job.job: job for job in sorted(jobs, key=lambda job: (job.build_on, job.priority, job.job))}
    reading = reading_of(plan)
    gives, lacks = to_pick(reading, [reading.jobs[name] for name in by_name])
    gives, elsewhere = less_what_is_held(gives, held)
    return _Layout(reading, by_name).draft(gives, [*lacks, *elsewhere])


class _Layout:
    """One round while it is laid out."""

    def __init__(self, reading: Reading, by_name: dict[str, Job]) -> None:
        self.plan, self.reading, self.by_name = reading.plan, reading, by_name
        self.lots_of: dict[str, list[ShelfLot]] = defaultdict(list)
        for lot in self.plan.shop.lots:
            self.lots_of[lot.part_number].append(lot)

    def draft(self, gives: Sequence[Give], lacks: Sequence[Lack]) -> RoundDraft:
        """Lines and notes."""
        stops = self._stops(gives)
        bench = self._bench_items()
        named = {stop.lot.part_number for stop in stops} | {lack.part_number for lack in lacks}
        named |= {part for parts in bench.values() for part in parts}
        around = Neighbours(self.plan.shop.lots, {stop.lot.place for stop in stops}, named)
        ids = _lot_ids({stop.lot.part_number for stop in stops})
        stops.sort(key=lambda stop: (around.items[stop.lot.part_number].kind != ItemKind.KIT, *around.walk(stop.lot)))
        return RoundDraft(
            jobs=tuple(self.by_name.values()),
            lines=tuple(self._line(stop, around, ids) for stop in stops),
            notes=(*self._lack_notes(lacks, around.items), *self._bench_notes(bench, around.items)),
        )

    def _stops(self, gives: Iterable[Give]) -> list[_Stop]:
        """Gives of one lot at one place together."""
        together: dict[tuple[str, str, str], list[Give]] = defaultdict(list)
        for give in gives:
            together[give.stop].append(give)
        return [_Stop(tuple(group)) for group in together.values()]

    def _line(self, stop: _Stop, around: Neighbours, ids: dict[tuple[str, str], int]) -> LineDraft:
        lot, item = stop.lot, around.items[stop.lot.part_number]
        jobs = [self.by_name[give.job] for give in stop.gives]
        customers = frozenset(fold(job.customer) for job in jobs)
        taken = Taken(lot, max(job.build_on for job in jobs), customers)
        core_item = self.reading.items[lot.part_number]
        sealed = sum(one.quantity for one in self.lots_of[lot.part_number] if _is_sealed(one, lot))
        cautions = [packet_caution(item, opens_a_packet=0 < stop.sealed < sealed)]
        if stop.opened and is_kept_sealed(item):
            cautions.insert(0, f"{Amount.of(stop.opened, item.stock_unit).text} from the opened packet.")
        if lot.owner:
            cautions.append(f"Belongs to {lot.owner}.")
        return LineDraft(
            lot_id=ids[lot.part_number, fold(lot.lot)],
            place_id=around.place_id(lot.place),
            last_use_on=lot.last_use,
            why=why_this_lot(core_item, taken, self.lots_of[lot.part_number], self.plan.shop.as_of)[:500],
            look_alike="\n".join(around.look_alike(lot)),
            caution=" ".join(filter(None, cautions))[:500],
            shares=self._shares(stop.gives),
        )

    def _shares(self, gives: Iterable[Give]) -> tuple[ShareDraft, ...]:
        by_job: dict[str, list[Give]] = defaultdict(list)
        for give in gives:
            by_job[give.job].append(give)
        return tuple(
            ShareDraft(
                job_id=job.pk,
                asked=sum(give.quantity for give in mine),
                set_aside=sum(give.quantity for give in mine if give.set_aside),
            )
            for name, job in self.by_name.items()
            if (mine := by_job[name])
        )

    def _lack_notes(self, lacks: Iterable[Lack], items: dict[str, Item]) -> list[NoteDraft]:
        totals: dict[tuple[str, str, NoteKind, OrderLine | None], int] = defaultdict(int)
        for lack in lacks:
            totals[lack.job, lack.part_number, lack.kind, lack.order] += lack.quantity
        notes = [
            NoteDraft(self.by_name[job].pk, kind, items[part].pk, quantity, self._order_says(order))
            for (job, part, kind, order), quantity in totals.items()
        ]
        return sorted(notes, key=lambda note: (list(NoteKind).index(note.kind), note.item_id))

    def _order_says(self, order: OrderLine | None) -> str:
        if order is None:
            return ""
        late = ", overdue: if it comes" if order.promised < self.plan.shop.as_of else ""
        return f"{order.order} line {order.line}, promised {in_full(order.promised)}{late}"

    def _bench_items(self) -> dict[int, list[str]]:
        """What the bench adds itself, by job: grease and the like on renewed lines."""
        found: dict[int, list[str]] = {}
        for name, job in self.by_name.items():
            openings = self.reading.opened_by(self.reading.jobs[name])
            renewed = (line.held for opening in openings for line in opening.lines if line.is_renewed)
            found[job.pk] = sorted({held.child for held in renewed if self.reading.items[held.child].bench})
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

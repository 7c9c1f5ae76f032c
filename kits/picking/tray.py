"""The tray sheet of a job: every opened assembly in the order in which it is put together, with the lots for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from bom.plan import Plan
from bom.reading import Asker, Reading, ServedBy
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.words import Cleanliness
from kits.picking.queries import bag_balances, bags_of, named
from kits.planning.queries import reading_of
from kits.planning.sheets.items.kit import in_kit
from kits.planning.sheets.jobs.instances import (
    ASSEMBLY,
    Instance,
    PlacedPart,
    drawn_part,
    in_order_of_work,
    read_instances,
)
from kits.planning.sheets.jobs.strip_page import job_strip
from kits.planning.sheets.jobs.strip_report import found_says
from kits.planning.words.bench_figures import BenchFigures, read_bench_figures
from kits.planning.words.item_names import item_names
from kits.planning.words.part_strip import DrawnPart
from kits.schedule.models import Job
from kits.stock.lists.stand_ins import StandingIn
from kits.stock.packed_kits.last_uses import earliest, kit_contents, kit_last_uses

FASTENERS = frozenset({"nut", "screw"})
MANUAL = "manual"
BY_THE_MANUAL = "figure, pattern and tool: see the maker's manual"
NOT_PICKED = "not picked"


@dataclass(frozen=True, slots=True)
class TrayLot:
    """What of a lot goes to one place: ``from_kit`` names the kit that it comes out of.

    ``past`` says that it may not be used on the build day any more; ``stands_in`` names the part that goes there in the
    place of the listed one.
    """

    amount: Amount
    lot: str
    stands_in: str
    from_kit: str
    last_use_on: date | None
    past: bool


@dataclass(frozen=True, slots=True)
class TrayRow:
    """One part of a tray: ``does`` is what is done with it, ``mind`` what is to be minded.

    ``missing`` is not in the bag; ``set_aside`` names where it is reserved.
    """

    number: int
    part: PlacedPart
    look: str
    does: str
    mind: tuple[str, ...]
    lots: tuple[TrayLot, ...]
    missing: Amount
    set_aside: str


@dataclass(frozen=True, slots=True)
class Tray:
    """One opened assembly with its strip and its rows."""

    instance: Instance
    drawn: tuple[DrawnPart, ...]
    rows: tuple[TrayRow, ...]

    @property
    def missing(self) -> int:
        """Lines of which something is not picked."""
        return sum(bool(row.missing) for row in self.rows)

    @property
    def unseen(self) -> int:
        """Lines with a position that is still to be looked at."""
        return sum(bool(row.part.unseen) for row in self.rows)

    @property
    def back(self) -> int:
        """Lines that go back in as they are."""
        return sum(row.look == "back" for row in self.rows)


@dataclass(frozen=True, slots=True)
class LeftInBag:
    """What lies in the bag and has no place on the trays: spares for what is still to be looked at, or left over."""

    part_number: str
    what: str
    leads_to: str
    amount: Amount
    lot: str
    from_kit: str


@dataclass(frozen=True, slots=True)
class TraySheet:
    """The trays of one pump of a job.

    ``missing`` counts the lines of which something is not picked, ``unseen`` the positions still to be looked at.
    """

    job: Job
    as_of: date
    pump: int
    pumps: tuple[int, ...]
    bags: tuple[tuple[int, str], ...]
    trays: tuple[Tray, ...]
    missing: int
    unseen: int
    besides: tuple[LeftInBag, ...]
    is_clean: bool


@dataclass(slots=True)
class _Slot:
    part_number: str
    lot: str
    stands_in: str
    from_kit: str
    last_use_on: date | None
    left: int


def tray_sheet(plan: Plan, job: Job, pump: int = 1) -> TraySheet:
    """The trays of one pump; empty where the job asks for no parts. Eleven statements."""
    reading = reading_of(plan)
    asker = reading.jobs.get(job.job)
    instances = in_order_of_work(read_instances(reading, asker, job_strip(plan, job))) if asker else []
    figures = read_bench_figures({part.name.part_number for one in instances for part in one.parts})
    pumps = tuple(range(1, (job.quantity if instances else 0) + 1))
    shown = pump if pump in pumps else 1
    filling = _Filling(job, list(_in_bag(reading, job)), _set_aside(reading, asker) if asker else {}, figures)
    trays = tuple(filling.tray(instance) for instance in instances)
    of_pump = tuple(tray for tray in trays if tray.instance.pump == shown)
    rows = [row for tray in of_pump for row in tray.rows]
    return TraySheet(
        job=job,
        as_of=plan.shop.as_of,
        pump=shown,
        pumps=pumps,
        bags=tuple((bag.number, named(bag)) for bag in bags_of([job]).get(job.job, ())),
        trays=of_pump,
        missing=sum(tray.missing for tray in of_pump),
        unseen=sum(row.part.unseen for row in rows),
        besides=tuple(_besides(filling.slots)),
        is_clean=job.cleanliness != Cleanliness.NORMAL,
    )


@dataclass(frozen=True, slots=True)
class _Filling:
    """Gives what lies in the bag to the places in the order of work; what a kit brings goes before loose pieces."""

    job: Job
    slots: list[_Slot]
    set_aside: dict[str, str]
    figures: BenchFigures

    def tray(self, instance: Instance) -> Tray:
        """One assembly with its lots."""
        rows = tuple(self._row(part, instance) for part in instance.parts)
        drawn = (replace(drawn_part(row.part), look=row.look, says=_over(row)) for row in rows)
        return Tray(instance, tuple(drawn), rows)

    def _row(self, part: PlacedPart, instance: Instance) -> TrayRow:
        wanted = 0 if part.opens or part.is_bench else part.new_pieces
        lots = tuple(self._take(part, wanted))
        missing = wanted - sum(lot.amount.millionths for lot in lots)
        return TrayRow(
            number=part.number,
            part=part,
            look="lack" if missing else part.look,
            does=_does(part),
            mind=tuple(self._mind(part, instance)),
            lots=lots,
            missing=part.name.amount(missing),
            set_aside=self.set_aside.get(part.name.part_number, "") if missing else "",
        )

    def _take(self, part: PlacedPart, wanted: int) -> Iterator[TrayLot]:
        for slot in self.slots:
            taken = min(slot.left, wanted) if slot.part_number == part.name.part_number else 0
            if taken:
                slot.left -= taken
                wanted -= taken
                past = slot.last_use_on is not None and slot.last_use_on < self.job.build_on
                yield TrayLot(part.name.amount(taken), slot.lot, slot.stands_in, slot.from_kit, slot.last_use_on, past)

    def _mind(self, part: PlacedPart, instance: Instance) -> Iterator[str]:
        found = self.figures.tightening(part.name.part_number, instance.part_number, part.position)
        yield from filter(None, (part.note.orientation,))
        if found is not None:
            yield f"{', '.join(filter(None, (found.figure, found.pattern, found.tool)))} ({found.source})"
        by_the_manual = MANUAL in part.note.bench_note.casefold()
        if part.note.bench_note and not (found and by_the_manual):
            yield part.note.bench_note
        if part.kind in FASTENERS and not found and not by_the_manual:
            yield BY_THE_MANUAL


def _does(part: PlacedPart) -> str:
    if part.opens:
        return f"put together before: {', '.join(part.opens)}"
    if part.is_bench:
        return "from the bench"
    if part.rows:
        return found_says(part.rows) or (
            f"renewed: {part.rows[0].because}" if part.rows[0].because else "still to be looked at"
        )
    return "new" if part.at_rebuild == "renew" else "goes back in"


def _over(row: TrayRow) -> str:
    return NOT_PICKED if row.missing else "" if row.part.kind == ASSEMBLY else row.part.says


def _in_bag(reading: Reading, job: Job) -> Iterator[_Slot]:
    """What lies in the bag, kits by what they hold, the first to die first; kits go before loose pieces."""
    balances = bag_balances(job)
    has_kits = any(one.lot.item.kind == "kit" for one in balances)
    contents, packed = (kit_contents(), kit_last_uses()) if has_kits else ({}, {})
    loose, inside, standing = [], [], StandingIn(job)
    for balance in balances:
        lot, part = balance.lot, balance.lot.item.part_number
        last = earliest(lot.last_use_on, packed.get(lot.pk))
        if lot.item.kind != "kit":
            loose += [
                _Slot(counts_as, lot.lot, "" if counts_as == part else part, "", last, quantity)
                for counts_as, quantity in standing.of_balance(balance)
            ]
            continue
        for piece, each in contents.get(lot.pk) or in_kit(reading.lists, part):
            inside.append(_Slot(piece, lot.lot, "", part, last, each * balance.quantity // ONE))
    return iter([*_by_last_use(inside), *_by_last_use(loose)])


def _by_last_use(slots: Iterable[_Slot]) -> list[_Slot]:
    return sorted(slots, key=lambda slot: (slot.last_use_on or date.max, slot.lot))


def _set_aside(reading: Reading, asker: Asker) -> dict[str, str]:
    """Where pieces lie that are reserved for the job and not picked yet, by part."""
    found: dict[str, str] = {}
    for part, served in reading.served_of(asker):
        if served.source is ServedBy.RESERVED and served.lot is not None:
            found.setdefault(part, f"lot {served.lot.lot} is set aside at {served.lot.place}")
    return found


def _besides(slots: Iterable[_Slot]) -> Iterator[LeftInBag]:
    left = [slot for slot in slots if slot.left > 0]
    names = item_names({slot.stands_in or slot.part_number for slot in left})
    for slot in left:
        name = names[slot.stands_in or slot.part_number]
        yield LeftInBag(name.part_number, name.what, name.leads_to, name.amount(slot.left), slot.lot, slot.from_kit)

"""One round as it is walked, and as it is printed: the line in hand, the rest, and what is not picked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Sum

from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.catalog.rings.sizes import written_size
from kits.catalog.words import Cleanliness
from kits.picking.cautions.look_alikes import shore
from kits.picking.cautions.unsuited import unsuited_pieces
from kits.picking.models import Bag, Confirmation, PickLine, PickNote, PickRound, PickShare
from kits.picking.queries import marked
from kits.picking.words import CLASS_SAYS, LineState, NoteKind, RoundState
from kits.schedule.models import Job
from kits.stock.models import Balance
from kits.stock.packets import usable_packets
from kits.stock.suspects.with_jobs import suspects_of
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition

STATE_SAYS = {LineState.OPEN: "", LineState.FULL: "full", LineState.SHORT: "short", LineState.LEFT: "not picked"}
LASTS_SHORTLY_DAYS = 92
"""A last use so soon after the build is shown larger: the clerk compares it with what is printed on the bag."""


@dataclass(frozen=True, slots=True)
class BagRow:
    """A bag that is filled on the round; ``marked`` stands on it besides its number and its job."""

    number: int
    job_id: int
    job: str
    pump: str
    scope: str
    customer: str
    build_on: date
    stage: str
    marked: str


@dataclass(frozen=True, slots=True)
class IntoBag:
    """How many go into one bag, and, once booked, how many went; whether the bag was scanned for the line."""

    bag: BagRow
    asked: Amount
    picked: Amount | None
    scanned: bool


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line of the round."""

    key: int
    number: int
    place: str
    part_number: str
    what: str
    is_kit: bool
    facts: str
    other_measure: str
    lot: str
    last_use_on: date | None
    runs_out_soon: bool
    asked: Amount
    picked: Amount | None
    into: tuple[IntoBag, ...]
    into_says: str
    why: str
    look_alike: str
    caution: str
    state: str
    says: str
    reason: str
    suspect: str
    booking: int | None
    cure: str
    scanned: str
    unsuited: tuple[str, ...] = ()
    book: Amount | None = None

    @property
    def shows(self) -> tuple[object, ...]:
        """What of the line stands before the clerk: a request that books it names all of that."""
        into = [(one.bag.number, one.bag.job, one.asked.millionths) for one in self.into]
        return self.number, self.place, self.part_number, self.lot, into

    @property
    def is_open(self) -> bool:
        """Whether the line is still to be picked."""
        return self.state == LineState.OPEN


@dataclass(frozen=True, slots=True)
class ListRow:
    """One row of the list on paper: how many into each bag, in the order of the bags."""

    line: LineRow
    new_place: bool
    by_bag: tuple[Amount | None, ...]

    @property
    def into_jobs(self) -> str:
        """How many into which bag, where there are too many bags for a column each."""
        return ", ".join(f"{one.bag.number} for {one.bag.job}: {one.asked.text}" for one in self.line.into)


@dataclass(frozen=True, slots=True)
class NoteRow:
    """Something that is needed and not picked, for one or more jobs."""

    kind: str
    part_number: str
    what: str
    quantity: Amount | None
    jobs: str
    says: str


@dataclass(frozen=True, slots=True)
class Booked:
    """What was booked last and still stands."""

    line: LineRow
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class RoundSheet:
    """Everything that stands on the sheet of one round.

    ``stay`` are jobs whose bags got a lot that is under suspicion, and on which the lead has not decided.
    """

    number: int
    state: str
    for_what: str
    cleanliness: str
    as_of: date
    started_by: str
    started_at: datetime
    bags: tuple[BagRow, ...]
    lines: tuple[LineRow, ...]
    notes: tuple[NoteRow, ...]
    current: LineRow | None
    last: Booked | None
    stay: tuple[str, ...] = ()

    @property
    def class_says(self) -> str:
        """How the class of a clean round is called; empty for an ordinary one."""
        return "" if self.cleanliness == Cleanliness.NORMAL else CLASS_SAYS[Cleanliness(self.cleanliness)]

    @property
    def done(self) -> int:
        """Lines that were booked."""
        return sum(line.state in (LineState.FULL, LineState.SHORT) for line in self.lines)

    @property
    def short(self) -> int:
        """Lines that were booked short."""
        return sum(line.state == LineState.SHORT for line in self.lines)

    @property
    def still_open(self) -> int:
        """Lines that are still to be picked."""
        return sum(line.is_open for line in self.lines)

    @property
    def rows(self) -> tuple[ListRow, ...]:
        """The lines as they stand on paper; a place is named where it begins."""
        places = [""] + [line.place for line in self.lines]
        return tuple(
            ListRow(line, line.place != before, tuple(_into_bag(line, bag) for bag in self.bags))
            for line, before in zip(self.lines, places, strict=False)
        )

    @property
    def note_columns(self) -> int:
        """Columns that a remark under a line of the list on paper runs over."""
        return (len(self.bags) if len(self.bags) <= 8 else 1) + 4

    @property
    def is_running(self) -> bool:
        """Whether the round is still walked."""
        return self.state == RoundState.RUNNING


def find_line(round_number: int, line: int) -> PickLine | None:
    """A line of a round by its key; one statement."""
    return PickLine.objects.filter(pick_round=round_number, pk=line).first()


def round_sheet(number: int, line: int | None = None) -> RoundSheet | None:
    """One round with one of its lines in hand, the first open one where none is named; nine statements or fewer."""
    found = PickRound.objects.select_related("started_by").filter(pk=number).first()
    if found is None:
        return None
    bags = _bags(found)
    confirmations = _confirmations(found)
    lines = _lines(found, bags, confirmations)
    current = next((row for row in lines if row.key == line), None) or next((row for row in lines if row.is_open), None)
    # Beside a line that somebody turned to stands no other one to be taken back: a second tap would take that.
    last = None if line else next(iter(sorted(confirmations.values(), key=lambda one: -one.pk)), None)
    return RoundSheet(
        number=found.pk,
        state=found.state,
        for_what=found.for_what,
        cleanliness=found.cleanliness,
        as_of=found.as_of,
        started_by=_name_of(found),
        started_at=found.started_at,
        bags=tuple(bags.values()),
        lines=lines,
        notes=_notes(found),
        current=current and replace(current, book=_book(current), unsuited=_unsuited(current)),
        last=Booked(next(r for r in lines if r.key == last.line_id), str(last.by or ""), last.at) if last else None,
        stay=tuple(_stay(lines)),
    )


def _unsuited(line: LineRow) -> tuple[str, ...]:
    """What the fluids of the jobs of a line say against its part; statements only where an arrival names one."""
    jobs = list(Job.objects.filter(pk__in=[one.bag.job_id for one in line.into]))
    item = Item.objects.by_number(line.part_number)
    return tuple(one.says for one in unsuited_pieces(item, jobs)) if item else ()


def _stay(lines: Sequence[LineRow]) -> Iterator[str]:
    """The jobs whose bags must not leave the storeroom; statements only where a lot is under suspicion."""
    got = {one.bag.job_id for line in lines if line.suspect for one in line.into if one.picked}
    for job in Job.objects.filter(pk__in=got).order_by("folded") if got else ():
        if any(one.concession is None for one in suspects_of(job)):
            yield job.job


def _name_of(found: PickRound) -> str:
    return found.started_by.get_full_name() or found.started_by.get_username() if found.started_by else ""


def _into_bag(line: LineRow, bag: BagRow) -> Amount | None:
    return next((one.asked for one in line.into if one.bag.number == bag.number), None)


def _bags(found: PickRound) -> dict[int, BagRow]:
    on_round = PickShare.objects.filter(line__pick_round=found).values("bag")
    rows = Bag.objects.filter(pk__in=on_round).select_related("job__pump").order_by("number")
    return {
        bag.pk: BagRow(
            number=bag.number,
            job_id=bag.job_id,
            job=bag.job.job,
            pump=bag.job.pump.part_number,
            scope=bag.job.scope,
            customer=bag.job.customer,
            build_on=bag.job.build_on,
            stage=bag.job.get_stage_display().lower(),
            marked=marked(bag),
        )
        for bag in rows
    }


def _confirmations(found: PickRound) -> dict[int, Confirmation]:
    rows = Confirmation.objects.filter(line__pick_round=found, undone_at__isnull=True).select_related("by")
    return {row.line_id: row for row in rows}


def _lines(found: PickRound, bags: dict[int, BagRow], confirmations: dict[int, Confirmation]) -> tuple[LineRow, ...]:
    shares: dict[int, list[PickShare]] = defaultdict(list)
    for share in PickShare.objects.filter(line__pick_round=found).order_by("bag__number"):
        shares[share.line_id].append(share)
    lines = PickLine.objects.filter(pick_round=found).select_related("lot__item", "place").order_by("number")
    suspects = lots_under_suspicion()
    return tuple(
        _line(line, shares[line.pk], bags, confirmations.get(line.pk), line.lot_id in suspects) for line in lines
    )


def _line(
    line: PickLine,
    shares: Sequence[PickShare],
    bags: dict[int, BagRow],
    said: Confirmation | None,
    is_suspect: bool,
) -> LineRow:
    item = line.lot.item
    into = tuple(
        IntoBag(
            bags[share.bag_id],
            Amount.of(share.asked, item.stock_unit),
            None if share.picked is None else Amount.of(share.picked, item.stock_unit),
            share.bag_scanned,
        )
        for share in shares
    )
    asked = Amount.of(sum(share.asked for share in shares), item.stock_unit)
    picked = sum(share.picked or 0 for share in shares)
    last_build_on = max(one.bag.build_on for one in into)
    soon = line.last_use_on is not None and (line.last_use_on - last_build_on).days <= LASTS_SHORTLY_DAYS
    return LineRow(
        key=line.pk,
        number=line.number,
        place=line.place.place,
        part_number=item.part_number,
        what=item.description,
        is_kit=item.kind == "kit",
        facts=facts_of(item),
        other_measure=size.other_measure if (size := written_size(item.size)) else "",
        lot=line.lot.lot,
        last_use_on=line.last_use_on,
        runs_out_soon=soon,
        asked=asked,
        picked=Amount.of(picked, item.stock_unit) if said else None,
        into=into,
        into_says=into_says(asked, into),
        why=line.why,
        look_alike=line.look_alike,
        caution=line.caution,
        state=line.state,
        says=STATE_SAYS[LineState(line.state)],
        reason=said.reason if said else "",
        suspect=_suspect_says(line, picked) if is_suspect else "",
        booking=said.pk if said else None,
        cure=line.lot.cure,
        scanned=line.scanned,
    )


def _suspect_says(line: PickLine, picked: int) -> str:
    """What the clerk does about a lot that came under suspicion since the round was laid out."""
    if picked:
        return "Under suspicion: what went into bags waits there until the service lead has decided."
    return "Under suspicion: leave it where it lies and book 0, then the plan takes another lot."


def facts_of(item: Item) -> str:
    """What tells the part at the bin: compound, hardness, size."""
    return " · ".join(filter(None, (item.material, shore(item.hardness), item.size)))


def into_says(asked: Amount, into: Sequence[IntoBag]) -> str:
    """How the pieces are shared out: ``12 = 4 + 4 + 2 + 2``."""
    if len(into) == 1:
        return asked.text
    return f"{asked.text} = {' + '.join(one.asked.figure for one in into)}"


def _book(line: LineRow) -> Amount:
    """What the place holds of the lot by the book."""
    item = Item.objects.get(part_number=line.part_number)
    held = Balance.objects.filter(
        lot__item=item,
        lot__lot=line.lot,
        place__place=line.place,
        condition=Condition.USABLE,
        packet__in=usable_packets(item),
    ).aggregate(held=Sum("quantity"))
    return Amount.of(held["held"] or 0, item.stock_unit)


def _notes(found: PickRound) -> tuple[NoteRow, ...]:
    """Notes by kind and part; what the bench adds stands once for all its jobs."""
    rows = PickNote.objects.filter(pick_round=found).select_related("item", "job").order_by("pk")
    together: dict[tuple[str, int, str], list[PickNote]] = defaultdict(list)
    for note in rows:
        together[note.kind, note.item_id, note.says].append(note)
    return tuple(
        NoteRow(
            kind=NoteKind(kind).label,
            part_number=notes[0].item.part_number,
            what=notes[0].item.description,
            quantity=_total(notes),
            jobs=", ".join(_job_says(note, many=len(notes) > 1) for note in notes),
            says=says,
        )
        for (kind, _, says), notes in together.items()
    )


def _job_says(note: PickNote, *, many: bool) -> str:
    job = note.job.job
    if note.quantity is None or not many:
        return job
    return f"{job} ({Amount.of(note.quantity, note.item.stock_unit).text})"


def _total(notes: Sequence[PickNote]) -> Amount | None:
    known = [note.quantity for note in notes if note.quantity is not None]
    return Amount.of(sum(known), notes[0].item.stock_unit) if known else None

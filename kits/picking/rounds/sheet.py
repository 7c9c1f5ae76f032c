"""One round as it is walked, and as it is printed: the line in hand, the rest, and what is not picked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Sum

from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.picking.cautions.unsuited import unsuited_pieces
from kits.picking.models import Bag, Confirmation, PickLine, PickNote, PickRound, PickShare
from kits.picking.queries import marked
from kits.picking.rounds.lines import BagRow, LineRow, lacking_bags, line_rows
from kits.picking.stand_ins.allowed import stand_ins
from kits.picking.stand_ins.given import given_rows
from kits.picking.walkers.walking import WalkerRow, is_in_hand, is_shared, walker_rows
from kits.picking.words import CLASS_SAYS, LineState, NoteKind, RoundState
from kits.schedule.models import Job
from kits.stock.models import Balance
from kits.stock.packets import usable_packets
from kits.stock.suspects.with_jobs import suspects_of
from kits.stock.words import Condition


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

    ``stay`` are jobs whose bags got a lot that is under suspicion, and on which the lead has not decided. ``reader`` is
    who looks at it.
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
    walkers: tuple[WalkerRow, ...]
    reader: User | None
    stay: tuple[str, ...] = ()

    @property
    def is_shared(self) -> bool:
        """Whether several people walk it, so that each line has its own."""
        return is_shared(self.walkers)

    @property
    def owner(self) -> WalkerRow | None:
        """Who walks the line in hand; the only one who has lines where none is in hand."""
        if self.current is None:
            return None
        return next((one for one in self.walkers if one.key == self.current.walker), None)

    @property
    def is_ours(self) -> bool:
        """Whether the line in hand is for the reader to book: not a colleague's, and not at rest."""
        rests = self.owner is not None and self.owner.rests_since is not None
        return self.current is not None and not rests and is_in_hand(self.walkers, self.current.walker, self.reader)

    @property
    def in_hand(self) -> list[int]:
        """The open lines that are for the reader to walk."""
        return [row.number for row in self.lines if row.is_open and is_in_hand(self.walkers, row.walker, self.reader)]

    @property
    def hands(self) -> list[object]:
        """Who walks what: a request that changes it names all of that."""
        return [(one.key, one.still_open, one.first, one.last, one.rests_since is None) for one in self.walkers]

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


def round_sheet(number: int, line: int | None = None, reader: User | None = None) -> RoundSheet | None:
    """One round with one of its lines in hand, the reader's first open one where none is named; thirteen statements."""
    found = PickRound.objects.select_related("started_by").filter(pk=number).first()
    if found is None:
        return None
    bags = _bags(found)
    confirmations = _confirmations(found)
    lines = line_rows(found, bags, confirmations)
    walkers = walker_rows(found)
    still_open = [row for row in lines if row.is_open]
    still_open.sort(key=lambda row: not is_in_hand(walkers, row.walker, reader))
    current = next((row for row in lines if row.key == line), None) or next(iter(still_open), None)
    # Beside a line that somebody turned to stands no other one to be taken back: a second tap would take that.
    said = [one for one in confirmations.values() if not is_shared(walkers) or (reader and one.by_id == reader.pk)]
    last = None if line else max(said, key=lambda one: one.pk, default=None)
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
        current=current and _in_hand(current, lines, found.started_at),
        last=Booked(next(r for r in lines if r.key == last.line_id), str(last.by or ""), last.at) if last else None,
        walkers=walkers,
        reader=reader,
        stay=tuple(_stay(lines)),
    )


def _in_hand(line: LineRow, lines: Sequence[LineRow], since: datetime) -> LineRow:
    """The line with what is asked of the one in hand alone: the book, what a fluid forbids, what may stand in."""
    item = Item.objects.get(part_number=line.part_number)
    jobs = list(Job.objects.filter(pk__in=[one.bag.job_id for one in line.into]))
    unsuited = tuple(one.says for one in unsuited_pieces(item, jobs))
    given = () if line.is_open else tuple(row for row in given_rows(jobs) if row.wanted == item.part_number)
    shown = replace(line, book=_book(line, item), unsuited=unsuited, stand_ins=stand_ins(item), given=given)
    return replace(shown, lacks=lacking_bags(shown, lines, since))


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


def _book(line: LineRow, item: Item) -> Amount:
    """What the place holds of the lot by the book."""
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

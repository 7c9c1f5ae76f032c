"""The strip report of a job as a sheet to work on: one opened section drawn part by part, and what it changes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from bom.plan import Plan, plan
from bom.reading import Asker, Reading
from bom.values import ONE, Shop
from bom.values import Verdict as PlannedVerdict
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.planning.lists.shelf_value import CENT, offered_costs
from kits.planning.queries import kept_beside, reading_of
from kits.planning.questions.trial import TrialSheet, side_by_side
from kits.planning.sheets.jobs.instances import Instance, PlacedPart, drawn_part, read_instances
from kits.planning.sheets.jobs.strip_report import StripSection, StripSheet, strip_sheet
from kits.planning.words.bench_figures import read_bench_figures
from kits.planning.words.item_names import item_names
from kits.planning.words.part_strip import DrawnPart
from kits.planning.words.states import State, job_state
from kits.schedule.models import Job
from kits.schedule.strip_writings import StripWriting, last_writing
from kits.service.models import WearLimit
from kits.service.queries import photos_of


@dataclass(frozen=True, slots=True)
class StrippedAssembly:
    """One assembly of the section: its strip, and the keys of the positions in it that are looked at, in order."""

    instance: Instance
    drawn: tuple[DrawnPart, ...]
    looked_at: tuple[tuple[PlacedPart, str], ...]


@dataclass(frozen=True, slots=True)
class PartChange:
    """How much of a part the job is sure to ask for before and after."""

    part_number: str
    what: str
    leads_to: str
    before: Amount
    after: Amount


@dataclass(frozen=True, slots=True)
class JobSide:
    """The job on one side: its state, the day on which its parts are here, and what they cost at the list's price.

    ``unpriced`` parts have none.
    """

    state: State
    parts_on: date | None
    cost: Decimal
    unpriced: int


@dataclass(frozen=True, slots=True)
class ShelfChange:
    """Another job or need that the shelf gives less of a part than before, or more."""

    name: str
    is_job: bool
    part_number: str
    less: bool
    amount: Amount


@dataclass(frozen=True, slots=True)
class StripEffect:
    """What the last writing changed: this job on both sides, its parts, and everybody else who is touched.

    ``shelf`` names those whose pieces are others now, ``trial`` those whose state is another.
    """

    number: int
    at: datetime
    by: str
    was_taken_back: bool
    positions: int
    before: JobSide
    after: JobSide
    parts: tuple[PartChange, ...]
    shelf: tuple[ShelfChange, ...]
    trial: TrialSheet


@dataclass(frozen=True, slots=True)
class StripPage:
    """The sections of a job, the one that is worked on with its assemblies, and what was written last.

    ``limits`` and the count of ``photos`` go by the key of the position.
    """

    job: Job
    as_of: date
    sections: tuple[StripSection, ...]
    section: StripSection
    assemblies: tuple[StrippedAssembly, ...]
    limits: Mapping[str, WearLimit]
    photos: Mapping[str, int]
    effect: StripEffect | None

    @property
    def unseen(self) -> int:
        """How many positions of the job nobody has looked at yet."""
        return sum(section.unseen for section in self.sections)

    @property
    def following(self) -> StripSection | None:
        """The next section that still has something to be looked at."""
        turn = self.sections.index(self.section)
        order = (*self.sections[turn + 1 :], *self.sections[:turn])
        return next((section for section in order if section.unseen), None)


def job_strip(of: Plan, job: Job) -> StripSheet:
    """The strip report of a job; empty where it asks for no parts. Two statements."""
    reading = reading_of(of)
    asker = reading.jobs.get(job.job)
    if asker is None:
        return StripSheet()
    inspections = reading.inspections_of(asker)
    names = item_names({one.part_number for one in inspections.positions})
    return strip_sheet(inspections, job.verdicts.select_related("item"), names)


def strip_page(of: Plan, job: Job, key: str | None) -> StripPage | None:
    """One section of the strip report, the first without a key; None where the job has no such section."""
    reading, strip = reading_of(of), job_strip(of, job)
    asker = reading.jobs.get(job.job)
    section = next((one for one in strip.sections if key in (None, "", one.key)), None)
    if asker is None or section is None:
        return None
    assemblies = assemblies_of(reading, asker, strip, section)
    figures = read_bench_figures({row.part_number for row in section.rows})
    limits = {
        row_key: limit
        for assembly in assemblies
        for part, row_key in assembly.looked_at
        if (limit := figures.limit(part.name.part_number, assembly.instance.part_number, part.position))
    }
    photos = Counter(photo.where for photo in photos_of(job))
    return StripPage(
        job=job,
        as_of=of.shop.as_of,
        sections=strip.sections,
        section=section,
        assemblies=assemblies,
        limits=limits,
        photos={row.key: photos[row.where] for row in section.rows if row.where in photos},
        effect=strip_effect(of, job),
    )


def assemblies_of(
    reading: Reading, asker: Asker, strip: StripSheet, section: StripSection
) -> tuple[StrippedAssembly, ...]:
    """The assemblies of one section, drawn; two statements."""
    return tuple(
        StrippedAssembly(
            instance=instance,
            drawn=tuple(replace(drawn_part(part), leads_to=anchor(part)) for part in instance.parts),
            looked_at=tuple((part, row.key) for part in instance.parts for row in part.rows),
        )
        for instance in read_instances(reading, asker, strip)
        if instance.section == section.name
    )


def anchor(part: PlacedPart) -> str:
    """Where on the sheet the first position of a part is written."""
    return f"position-{part.rows[0].key}" if part.rows else ""


def strip_effect(of: Plan, job: Job) -> StripEffect | None:
    """What the last writing on the strip report changed; None where nobody wrote on its page, or it is built."""
    writing = last_writing(job)
    if writing is None or job.job not in reading_of(of).jobs:
        return None
    return kept_beside(of, f"strip effect {job.pk} {writing.number}", lambda: _effect(of, job, writing))


def _effect(of: Plan, job: Job, writing: StripWriting) -> StripEffect:
    before = plan(without(of.shop, job.job, writing), of.demand.structure, of)
    first, second = Reading(before), reading_of(of)
    needed, needs = (pieces_by_part(one, one.jobs[job.job]) for one in (first, second))
    changed = [part for part in sorted({*needed, *needs}) if needed.get(part, 0) != needs.get(part, 0)]
    names = item_names({*needed, *needs})
    costs = costs_of(names)
    return StripEffect(
        number=writing.number,
        at=writing.at,
        by=writing.by,
        was_taken_back=writing.was_taken_back,
        positions=len(writing.looks),
        before=job_side(first, first.jobs[job.job], needed, costs),
        after=job_side(second, second.jobs[job.job], needs, costs),
        parts=tuple(
            PartChange(
                part,
                names[part].what,
                names[part].leads_to,
                names[part].amount(needed.get(part, 0)),
                names[part].amount(needs.get(part, 0)),
            )
            for part in changed
        ),
        shelf=tuple(
            ShelfChange(other.name, other.is_job, part, less=more < 0, amount=names[part].amount(abs(more)))
            for part in changed
            for other, more in shelf_changes(first, second, part)
            if not (other.is_job and other.name == job.job)
        ),
        trial=others_only(side_by_side(before, of), job.job),
    )


def costs_of(part_numbers: Collection[str]) -> dict[str, Decimal]:
    """What one of a part costs by its own price, else by the lowest that is offered; two statements."""
    offered = offered_costs(read_settings().currency)
    rows = Item.objects.filter(part_number__in=part_numbers).values_list("pk", "part_number", "unit_cost")
    found = ((number, cost if cost is not None else offered.get(key, (None,))[0]) for key, number, cost in rows)
    return {number: cost for number, cost in found if cost is not None}


def without(shop: Shop, job: str, writing: StripWriting) -> Shop:
    """The shop as it was before a writing: what its positions said then stands in the place of what they say now."""
    touched = {(fold(look.where), look.part_number) for look in writing.looks}
    kept = tuple(one for one in shop.verdicts if one.job != job or (fold(one.where), one.part_number) not in touched)
    then = tuple(
        PlannedVerdict(job, where, part, row.verdict, row.found, row.with_group)
        for (where, part), row in writing.before.items()
        if row is not None
    )
    return replace(shop, verdicts=kept + then)


def pieces_by_part(reading: Reading, asker: Asker) -> dict[str, int]:
    """What a job is sure to ask for and was not issued yet, kits among it, in millionths by part."""
    found: dict[str, int] = {}
    for piece in reading.pieces_of(asker):
        found[piece.part_number] = found.get(piece.part_number, 0) + piece.quantity
    return found


def shelf_changes(before: Reading, after: Reading, part: str) -> list[tuple[Asker, int]]:
    """By how many millionths the shelf gives somebody more of a part for sure than before, or (below nil) less."""
    more: dict[Asker, int] = {}
    for reading, sign in ((before, -1), (after, 1)):
        for row in reading.rows_of(part):
            for take in row.takes:
                if take.asker is not None and not take.wear:
                    more[take.asker] = more.get(take.asker, 0) + sign * take.quantity
    return sorted(((asker, by) for asker, by in more.items() if by), key=lambda row: row[0].name)


def job_side(reading: Reading, asker: Asker, needs: Mapping[str, int], costs: Mapping[str, Decimal]) -> JobSide:
    """One side of the comparison."""
    priced = [costs[part] * quantity / ONE for part, quantity in needs.items() if part in costs]
    return JobSide(
        state=job_state(reading, asker),
        parts_on=asker.parts_on,
        cost=sum(priced, Decimal(0)).quantize(CENT),
        unpriced=len(needs) - len(priced),
    )


def others_only(sheet: TrialSheet, job: str) -> TrialSheet:
    """The comparison without the job itself, which stands above it."""
    return replace(sheet, jobs=tuple(row for row in sheet.jobs if not (row.asker.is_job and row.asker.name == job)))

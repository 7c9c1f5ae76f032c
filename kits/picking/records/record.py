"""The record of a rebuild: what was done, found, used, tested and by whom, in words that match what was done."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from bom.plan import Plan
from kits.catalog.folding import fold
from kits.catalog.history.versions import DELETED, versions_of
from kits.catalog.models import ScopeSection, Substitute
from kits.people.names import name_of
from kits.picking.records.opened import strip_opened, with_what_followed
from kits.picking.records.serial_history import (
    FoundThere,
    Repeat,
    ThenAndNow,
    findings_of,
    jobs_of_serial,
    months_between,
    repeats_in,
    then_and_now,
)
from kits.picking.records.used import PartOnRecord, parts_on_record
from kits.planning.queries import reading_of
from kits.schedule.models import Finding, Job, Verdict
from kits.schedule.stages import is_done
from kits.schedule.step_list import StepRow, steps_of
from kits.service.models import Arrival, GoAhead, PastFinding, PastStrip
from kits.service.queries import arrival_of
from kits.service.testing.queries import strip_name, tests_of
from kits.service.testing.sheet import TestRow, row_of_test
from kits.stock.models import Concession
from kits.stock.suspects.with_jobs import concessions_of


@dataclass(frozen=True, slots=True)
class OpenedSection:
    """A section of the pump: how many of it were opened, out of how many that the pumps hold.

    ``named`` if the scope itself names it; others may be opened inside those that it names.
    """

    part_number: str
    what: str
    opened: int
    held: int
    named: bool


@dataclass(frozen=True, slots=True)
class NamedFinding:
    """A finding on the pump as a whole or on one section."""

    finding: str
    section: str
    note: str


@dataclass(frozen=True, slots=True)
class StripOnRecord:
    """One strip of the pump: the scope and what it opened, what was seen there, the tests that followed it."""

    number: int
    scope: str
    quantity: int
    sections: tuple[OpenedSection, ...]
    verdicts: tuple[FoundThere, ...]
    findings: tuple[NamedFinding, ...]
    parts: tuple[PartOnRecord, ...]
    tests: tuple[TestRow, ...]

    @property
    def work(self) -> str:
        """What was opened, in words."""
        opened = [one for one in self.sections if one.named]
        return "; ".join(f"{one.opened} of {one.held} {one.what}" for one in opened) or "nothing that the lists know"

    @property
    def left_closed(self) -> str:
        """What was not opened, in words."""
        return "; ".join(f"{one.held - one.opened} {one.what}" for one in self.sections if one.opened < one.held)

    @property
    def worn(self) -> tuple[FoundThere, ...]:
        """What was found other than good."""
        return tuple(one for one in self.verdicts if one.verdict != "keep" or one.along)

    @property
    def good(self) -> int:
        """How many positions were found good and go back in."""
        return len(self.verdicts) - len(self.worn)


@dataclass(frozen=True, slots=True)
class StandInUsed:
    """A part that went in for another one, and who approved that."""

    part_number: str
    stands_for: str
    approved_by: str
    note: str


@dataclass(frozen=True, slots=True)
class RebuildRecord:
    """Everything that is on record of a rebuild; ``is_final`` once the pump is tested."""

    job: Job
    as_of: date
    is_final: bool
    strips: tuple[StripOnRecord, ...]
    stand_ins: tuple[StandInUsed, ...]
    concessions: tuple[Concession, ...]
    steps: tuple[StepRow, ...]
    go_aheads: tuple[GoAhead, ...]
    repeats: tuple[Repeat, ...]
    before: Job | None
    months_after: int | None
    compared: tuple[ThenAndNow, ...]
    built_at: datetime | None
    stripped_by: tuple[str, ...] = ()
    arrival: Arrival | None = None

    @property
    def parts(self) -> tuple[PartOnRecord, ...]:
        """All parts, strip by strip."""
        return tuple(part for strip in self.strips for part in strip.parts)


def rebuild_record(plan: Plan, job: Job) -> RebuildRecord:
    """The record of a job; some twenty statements."""
    past = list(PastStrip.objects.filter(job=job).select_related("test", "pump").order_by("number"))
    jobs = jobs_of_serial(job.serial) or [job]
    found, parts = findings_of(jobs), parts_on_record(job, past)
    tests = [row_of_test(test) for test in reversed(tests_of(job))]
    before, compared = then_and_now(job, jobs, found)
    steps = list(reversed(steps_of(job)))
    mine = [row for row in found if row.job == job.job]
    return RebuildRecord(
        job=job,
        as_of=plan.shop.as_of,
        is_final=job.stage in ("tested", "shipped"),
        strips=tuple(_strips(plan, job, past, mine, parts, tests)),
        stand_ins=tuple(_stand_ins(plan, job, parts)),
        concessions=tuple(one for one in concessions_of(job) if one.taken_back_at is None),
        steps=tuple(steps),
        go_aheads=tuple(
            GoAhead.objects.filter(quote__job=job, taken_back_at__isnull=True).select_related("quote", "by")
        ),
        repeats=tuple(one for one in repeats_in(found) if job.job in one.jobs),
        before=before,
        months_after=months_between(before.build_on, job.build_on) if before else None,
        compared=tuple(compared),
        built_at=next((step.at for step in reversed(steps) if step.after == "built"), None)
        if is_done(job.stage)
        else None,
        stripped_by=tuple(dict.fromkeys(_who_wrote(job))),
        arrival=arrival_of(job),
    )


def _strips(
    plan: Plan,
    job: Job,
    past: Sequence[PastStrip],
    found: Sequence[FoundThere],
    parts: Sequence[PartOnRecord],
    tests: Sequence[TestRow],
) -> Iterator[StripOnRecord]:
    sections = list(ScopeSection.objects.filter(pump=job.pump).select_related("section").order_by("pk"))
    held = reading_of(plan).lists.held_in(job.pump.part_number)
    earlier = PastFinding.objects.filter(strip__job=job).select_related("strip", "section")
    named: list[tuple[int, Finding | PastFinding]] = [(row.strip.number, row) for row in earlier]
    named += [(len(past) + 1, row) for row in Finding.objects.filter(job=job).select_related("section")]
    scopes = [(strip.number, strip.scope, strip.quantity) for strip in past]
    for number, scope, quantity in (*scopes, (len(past) + 1, job.scope, job.quantity)):
        mine, seen = [row for strip, row in named if strip == number], [row for row in found if row.strip == number]
        opened = strip_opened(plan, job.job if number > len(past) else strip_name(job, number), mine)
        if opened is not None:
            seen = list(with_what_followed(seen, opened, _blank(job, number, scope)))
        yield StripOnRecord(
            number=number,
            scope=scope,
            quantity=quantity,
            sections=tuple(_opened(sections, scope, quantity, held, opened.counts if opened else {})),
            verdicts=tuple(seen),
            findings=tuple(
                NamedFinding(row.finding, row.section.description if row.section else "", row.note) for row in mine
            ),
            parts=tuple(part for part in parts if part.strip == number),
            tests=tuple(test for test in tests if test.strip == number),
        )


def _opened(
    sections: Sequence[ScopeSection], scope: str, quantity: int, held: Mapping[str, int], counts: Mapping[str, int]
) -> Iterator[OpenedSection]:
    """The sections that any scope of the pump names, with how many of each were opened, by itself or inside another."""
    direct = {row.section_id: row.how_many * quantity for row in sections if fold(row.scope) == fold(scope)}
    for row in {row.section_id: row for row in sections}.values():
        part = row.section.part_number
        opened = max(counts.get(part, 0), direct.get(row.section_id, 0))
        whole = max(held.get(part, 1) * quantity, opened)
        yield OpenedSection(part, row.section.description, opened, whole, row.section_id in direct)


def _blank(job: Job, strip: int, scope: str) -> FoundThere:
    pump = job.pump.part_number
    return FoundThere(job.job, strip, job.build_on, pump, scope, "", "", "", "", "", "", "", "", worn=False)


def _stand_ins(plan: Plan, job: Job, parts: Sequence[PartOnRecord]) -> Iterator[StandInUsed]:
    """Parts that the pump's own lists do not name, and that are listed for one that they do."""
    lists = reading_of(plan).lists
    held = {one.child for assembly in lists.held_in(job.pump.part_number) for one in lists.inside(assembly)}
    strange = {part.part_number for part in parts if part.depth == 0} - held
    rows = Substitute.objects.filter(substitute__part_number__in=strange, item__part_number__in=held)
    for row in rows.select_related("item", "substitute").order_by("pk"):
        yield StandInUsed(row.substitute.part_number, row.item.part_number, row.approved_by, row.note)


def _who_wrote(job: Job) -> Iterator[str]:
    """Whoever gave the verdicts of the strip report, as past versions tell."""
    written = versions_of(Verdict).filter(job_id=job.pk, history_user__isnull=False).exclude(history_type=DELETED)
    return (name_of(version.history_user) for version in written.select_related("history_user"))

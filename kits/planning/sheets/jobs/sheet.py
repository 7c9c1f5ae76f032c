"""The sheet of one job: its state, where its parts come from, its sections in assembly order, its strip report."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from bom.answers.flags import flags_of
from bom.plan import Plan
from kits.catalog.days.words import in_full
from kits.catalog.queries import in_shop_words, option_words
from kits.planning.queries import kept_beside, reading_of
from kits.planning.questions.kit_uses import KitTotals, KitUseRow
from kits.planning.questions.kit_ways import KitWays, WaysDraft
from kits.planning.sheets.jobs import parts as job_parts
from kits.planning.sheets.jobs import sections as job_sections
from kits.planning.sheets.jobs.findings import JobFindings, job_findings, past_findings, rule_parts
from kits.planning.sheets.jobs.parts import JobPart
from kits.planning.sheets.jobs.sections import OpenedAssembly, opened_assembly, opened_count
from kits.planning.sheets.jobs.strip_report import VERDICT_SAYS, StripSheet, strip_sheet
from kits.planning.words.item_names import item_names
from kits.planning.words.line_notes import read_line_notes
from kits.planning.words.pump_drawing import DrawnSection, drawn_sections
from kits.planning.words.states import State, job_state
from kits.schedule.models import Job, Verdict


@dataclass(frozen=True, slots=True)
class Seen:
    """One inspected position and what the strip report says of it."""

    where: str
    part_number: str
    verdict: str
    says: str
    found: str

    @property
    def is_plain(self) -> bool:
        """Whether it is good, and nothing was written of it."""
        return self.says == VERDICT_SAYS["keep"] and not self.found


@dataclass(frozen=True, slots=True)
class OtherJob:
    """Another job on the pump of the same serial."""

    job: str
    scope: str
    build_on: date
    stage: str


@dataclass(frozen=True, slots=True)
class JobSheet:
    """Everything that stands on the sheet of one job. ``state`` is None for a job that asks for no parts."""

    job: Job
    as_of: date
    options: str
    state: State | None
    to_inspect: int
    parts: tuple[JobPart, ...]
    drawing: tuple[DrawnSection, ...]
    sections: tuple[OpenedAssembly, ...]
    kits: tuple[KitUseRow, ...]
    seen: tuple[Seen, ...]
    cautions: tuple[str, ...]
    same_serial: tuple[OtherJob, ...]
    findings: JobFindings = field(default_factory=JobFindings)
    ways: KitWays | None = None
    strip: StripSheet = field(default_factory=StripSheet)

    @property
    def lines(self) -> int:
        """How many lines the opened assemblies hold."""
        return sum(len(assembly.lines) for assembly in self.sections)

    @property
    def good(self) -> tuple[Seen, ...]:
        """Positions that go back in as they are, and of which there is nothing to say."""
        return tuple(one for one in self.seen if one.is_plain)

    @property
    def unseen(self) -> tuple[Seen, ...]:
        """Positions of which nobody has decided yet."""
        return tuple(one for one in self.seen if one.says == VERDICT_SAYS[""])

    @property
    def sends_out(self) -> bool:
        """Whether the strip report sends something for rework."""
        return any(one.says == VERDICT_SAYS["rework"] for one in self.seen)

    @property
    def decided(self) -> tuple[Seen, ...]:
        """Positions that ask for something, or of which something was written."""
        return tuple(one for one in self.seen if one.says != VERDICT_SAYS[""] and not one.is_plain)


def find_job(number: str) -> Job | None:
    """One job with its pump and batch; one statement."""
    return Job.objects.select_related("pump", "batch").filter(job=number).first()


def job_sheet(plan: Plan, job: Job) -> JobSheet:
    """The sheet of a job; four statements."""
    reading = reading_of(plan)
    asker = reading.jobs.get(job.job)
    verdicts = tuple(job.verdicts.select_related("item"))
    same_serial = tuple(other_jobs(job))
    if asker is None:
        seen = tuple(seen_of(verdict) for verdict in verdicts)
        past = past_findings(plan, job.job)
        return JobSheet(job, plan.shop.as_of, job.option, None, 0, (), (), (), (), seen, (), same_serial, past)
    openings, pieces, kits = reading.opened_by(asker), reading.pieces_of(asker), KitTotals(reading, (asker,))
    named = job_sections.numbers_of(openings) | job_parts.numbers_of(pieces) | kits.part_numbers
    ways = WaysDraft(plan, job.job)
    names = item_names(named | rule_parts(plan) | set(ways.numbers()))
    notes = read_line_notes({opening.part_number for opening in openings})
    opened, strip = opened_count(openings), strip_sheet(reading.inspections_of(asker), verdicts, names)
    return JobSheet(
        job=job,
        as_of=plan.shop.as_of,
        options=in_shop_words(reading.options_of(asker), option_words()),
        state=job_state(reading, asker),
        to_inspect=reading.to_inspect.get(asker, 0),
        parts=tuple(job_parts.job_parts(pieces, names, plan.shop.as_of)),
        drawing=drawn_sections(reading.lists, job.pump.part_number, job.quantity, opened),
        sections=tuple(opened_assembly(opening, reading.items, names, notes, strip) for opening in openings),
        kits=kits.rows(names),
        seen=positions_seen(strip),
        cautions=tuple(
            flag["says"]
            for flag in kept_beside(plan, "flags", lambda: flags_of(plan, in_full))
            if flag["job"] == job.job
        ),
        same_serial=same_serial,
        ways=ways.named(names),
        findings=job_findings(plan, job.job, opened, tuple(row.section for row in reading.sections_of(asker)), names),
        strip=strip,
    )


def seen_of(verdict: Verdict) -> Seen:
    """One verdict as it is shown, without its position; what was renewed and not found worn went with its group."""
    along = verdict.verdict == "renew" and verdict.with_group and not verdict.found.strip()
    says = "renewed with its group" if along else VERDICT_SAYS[verdict.verdict]
    return Seen(verdict.where, verdict.item.part_number, verdict.verdict, says, verdict.found)


def positions_seen(strip: StripSheet) -> tuple[Seen, ...]:
    """Every inspected position of a job: what was decided, what goes back in, and what has still to be looked at."""
    rows = [row for section in strip.sections for row in section.rows]
    told = [Seen(row.where, row.part_number, row.verdict, row.says, row.found) for row in rows]
    told += [seen_of(verdict) for verdict in strip.unplaced]
    return tuple(sorted(told, key=lambda seen: (seen.says == VERDICT_SAYS[""], seen.verdict == "keep")))


def other_jobs(job: Job) -> list[OtherJob]:
    """Other jobs on the same pump, the latest first; one statement."""
    if not job.serial:
        return []
    same = Job.objects.filter(pump=job.pump, serial=job.serial).exclude(pk=job.pk).order_by("-build_on")
    return [OtherJob(other.job, other.scope, other.build_on, other.get_stage_display()) for other in same]

"""All rebuilds of the pump of one serial: what was found each time, and what comes back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from kits.catalog.folding import fold
from kits.schedule.models import Job, Verdict
from kits.service.models import PastStrip, PastVerdict

WORN = ("renew", "missing")
ORDINALS = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}
SAYS = {
    "renew": "renewed",
    "missing": "missing, replaced",
    "keep": "good",
    "rework": "out for rework",
    "not_as_listed": "not as listed",
}


@dataclass(frozen=True, slots=True)
class FoundThere:
    """What a strip report says of one position of a pump; ``worn`` if it was found so itself, not with its group.

    ``along`` says what renewed it whatever was seen on it.
    """

    job: str
    strip: int
    on: date
    pump: str
    scope: str
    where: str
    part_number: str
    what: str
    verdict: str
    found: str
    measured: str
    limit: str
    unit: str
    worn: bool
    along: str = ""

    @property
    def says(self) -> str:
        """What was decided on it."""
        if self.along:
            return f"good, but {self.along}" if self.verdict == "keep" else self.along
        along = self.verdict == "renew" and not self.worn
        return "renewed with its group" if along else SAYS[self.verdict]

    @property
    def read(self) -> str:
        """What was measured, with its unit and limit."""
        limit = f", limit {self.limit}" if self.limit else ""
        return f"{self.measured} {self.unit}".strip() + limit if self.measured else ""

    @property
    def position(self) -> tuple[str, str, str]:
        """The position, however it is spelled."""
        return self.pump, fold(self.where), self.part_number


@dataclass(frozen=True, slots=True)
class Repeat:
    """A position that was found worn more than once: how often, within how many months, and at which jobs."""

    where: str
    part_number: str
    what: str
    times: int
    months: int
    jobs: tuple[str, ...]
    last_on: date

    @property
    def says(self) -> str:
        """In a few words, as one says it at the bench."""
        time = ORDINALS.get(self.times, f"{self.times}th")
        span = f"in {self.months} month{'' if self.months == 1 else 's'}" if self.months else "within a month"
        return f"{self.what} again, {time} time {span}"


@dataclass(frozen=True, slots=True)
class Rebuild:
    """One rebuild of the pump: a job of its serial."""

    job: str
    pump: str
    scope: str
    customer: str
    build_on: date
    stage: str
    strips: int
    months_after: int | None


@dataclass(frozen=True, slots=True)
class SerialHistory:
    """Everything that is known of the pump of a serial, the latest rebuild first."""

    serial: str
    pumps: tuple[str, ...]
    rebuilds: tuple[Rebuild, ...]
    findings: tuple[FoundThere, ...]
    repeats: tuple[Repeat, ...]


@dataclass(frozen=True, slots=True)
class ThenAndNow:
    """A position that was worn at the last rebuild or at this one: what was said of it each time."""

    where: str
    part_number: str
    what: str
    then: str
    now: str


def jobs_of_serial(serial: str) -> list[Job]:
    """Return the jobs on the pump of a serial, the first first; one statement."""
    return list(Job.objects.filter(serial=serial).select_related("pump").order_by("build_on", "pk")) if serial else []


def serial_history(serial: str) -> SerialHistory | None:
    """Everything about a serial, None where no job names it; four statements."""
    jobs = jobs_of_serial(serial)
    if not jobs:
        return None
    found = findings_of(jobs)
    strips = _strips(jobs)
    rebuilds = [
        Rebuild(
            job=job.job,
            pump=job.pump.part_number,
            scope=job.scope,
            customer=job.customer,
            build_on=job.build_on,
            stage=job.get_stage_display().lower(),
            strips=1 + strips[job.pk],
            months_after=months_between(jobs[place - 1].build_on, job.build_on) if place else None,
        )
        for place, job in enumerate(jobs)
    ]
    return SerialHistory(
        serial=serial,
        pumps=tuple(dict.fromkeys(job.pump.part_number for job in jobs)),
        rebuilds=tuple(reversed(rebuilds)),
        findings=tuple(sorted(found, key=lambda row: (row.on, row.strip), reverse=True)),
        repeats=tuple(repeats_in(found)),
    )


def findings_of(jobs: Sequence[Job]) -> list[FoundThere]:
    """Return what the strip reports of some jobs say, the first job first; two statements."""
    by_key = {job.pk: (place, job) for place, job in enumerate(jobs)}
    past = PastVerdict.objects.filter(strip__job__in=by_key).select_related("strip", "item").order_by("strip", "pk")
    now = Verdict.objects.filter(job__in=by_key).select_related("item").order_by("job", "pk")
    ended: dict[int, int] = {}
    rows = []
    for one in past:
        place, job = by_key[one.strip.job_id]
        ended[job.pk] = max(ended.get(job.pk, 0), one.strip.number)
        rows.append((place, one.strip.number, _found(one, job, one.strip.number, one.strip.build_on, one.strip.scope)))
    for said in now:
        place, job = by_key[said.job_id]
        strip = ended.get(job.pk, 0) + 1
        rows.append((place, strip, _found(said, job, strip, job.build_on, job.scope)))
    return [row for _, _, row in sorted(rows, key=lambda row: row[:2])]


def repeats_in(found: Iterable[FoundThere]) -> Iterator[Repeat]:
    """Return the positions that were found worn at more than one rebuild, those most often first."""
    by_position: dict[tuple[str, str, str], list[FoundThere]] = {}
    for row in found:
        if row.worn:
            by_position.setdefault(row.position, []).append(row)
    repeats = []
    for rows in by_position.values():
        first_of_job = list({row.job: row for row in reversed(rows)}.values())[::-1]
        if len(first_of_job) > 1:
            first, last = first_of_job[0], first_of_job[-1]
            months = months_between(first.on, last.on)
            jobs = tuple(row.job for row in first_of_job)
            repeats.append(Repeat(last.where, last.part_number, last.what, len(jobs), months, jobs, last.on))
    return iter(sorted(repeats, key=lambda one: (-one.times, one.where, one.part_number)))


def then_and_now(job: Job, jobs: Sequence[Job], found: Iterable[FoundThere]) -> tuple[Job | None, list[ThenAndNow]]:
    """Return the rebuild before this one, and every position that was worn at either."""
    place = next((n for n, one in enumerate(jobs) if one.pk == job.pk), 0)
    before = next((one for one in reversed(jobs[:place]) if one.pump_id == job.pump_id), None)
    if before is None:
        return None, []
    rows = list(found)
    then = {row.position: row for row in rows if row.job == before.job and row.strip == 1}
    now = {row.position: row for row in rows if row.job == job.job and row.strip == 1}
    compared = []
    for position in dict.fromkeys((*now, *then)):
        was, is_now = then.get(position), now.get(position)
        if any(row is not None and row.worn for row in (was, is_now)):
            one = is_now or was
            assert one is not None, "it stands on one of the two"
            compared.append(ThenAndNow(one.where, one.part_number, one.what, _told(was), _told(is_now)))
    return before, compared


def months_between(first: date, last: date) -> int:
    """Whole months from one day to a later one."""
    months = (last.year - first.year) * 12 + last.month - first.month
    return max(0, months - (last.day < first.day))


def _told(row: FoundThere | None) -> str:
    if row is None:
        return "not opened"
    return f"{row.says}: {row.found}" if row.found else row.says


def _strips(jobs: Sequence[Job]) -> Counter[int]:
    """How many strips of each job were followed by another."""
    return Counter(PastStrip.objects.filter(job__in=[job.pk for job in jobs]).values_list("job", flat=True))


def _found(said: Verdict | PastVerdict, job: Job, strip: int, on: date, scope: str) -> FoundThere:
    along = said.verdict == "renew" and bool(said.with_group) and not said.found.strip()
    return FoundThere(
        job=job.job,
        strip=strip,
        on=on,
        pump=job.pump.part_number,
        scope=scope,
        where=said.where.removeprefix("pump 1 / "),
        part_number=said.item.part_number,
        what=said.item.description,
        verdict=said.verdict,
        found=said.found,
        measured=said.measured,
        limit=said.limit,
        unit=said.unit,
        worn=said.verdict in WORN and not along,
    )

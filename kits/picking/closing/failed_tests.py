"""A test written down by mistake as not passed: taken back, with the strip that it began, if nothing followed."""

from __future__ import annotations

from datetime import datetime

from kits.catalog.history.versions import keep_versions, rows_of
from kits.people.models import User
from kits.picking.closing.open_points import open_lines
from kits.picking.errors import PickRefusal
from kits.schedule.models import Finding, Job, JobChange, JobStep, Verdict
from kits.schedule.words import Stage
from kits.schedule.writes import Planned, store_change, store_planned, store_step
from kits.service.models import PastFinding, PastStrip, PastVerdict, PumpTest
from kits.stock.models import Balance, Reservation

BACK = "the test that was not passed is taken back"


def failed_test_of(job: Job) -> PumpTest | None:
    """The test that opened a job again, if that was the last step of it; two statements."""
    if job.stage != Stage.STRIPPED:
        return None
    step = JobStep.objects.filter(job=job).first()
    return PumpTest.objects.filter(job=job, passed=False, step=step).first() if step else None


def take_failed_test_back(job: Job, why: str, by: User, at: datetime, key: str) -> JobStep:
    """Bring a job back to where it waited for its test, inside somebody's transaction; its strip report stands again.

    The step that opened it again stays on record, and so does this one. Refused where anything followed.
    """
    held = Job.objects.select_for_update(of=("self",)).select_related("pump").get(pk=job.pk)
    test = failed_test_of(held)
    if test is None:
        raise PickRefusal(f"{held} was not opened again by a test just now: there is no test to take back.")
    if followed := _what_followed(held, test):
        raise PickRefusal(f"The test of {held} stands: {followed} since. Undo that first.")
    strip = PastStrip.objects.select_related("pump").get(test=test)
    says, seen = f"test taken back: {why.strip()}"[:500], Planned.of(held)
    wanted = Planned(strip.build_on, seen.priority, strip.scope, strip.quantity, strip.option, strip.pump.part_number)
    if wanted != seen:
        store_planned(held, seen, wanted)
        store_change(held, seen, wanted, given_up=False, why=says, by=by, at=at, key=f"{key}:as-before")
    _put_back(strip, held, by, at)
    test.readings.all().delete()
    strip.delete()
    test.delete()
    return store_step(held, [Stage.STRIPPED], Stage.BUILT, by=by, at=at, key=key, says=says)


def _what_followed(job: Job, test: PumpTest) -> str:
    if Verdict.objects.filter(job=job).exists() or Finding.objects.filter(job=job).exists():
        return "its strip report was begun anew"
    if Balance.objects.filter(job=job, quantity__gt=0).exists() or Reservation.objects.filter(job=job).exists():
        return "parts were given to it, or set aside for it,"
    if open_lines(job):
        return "a round was begun for it"
    later = JobChange.objects.filter(job=job, at__gte=test.at).exclude(key=f"{test.key}:again")
    return "it was changed" if later.exists() else ""


def _put_back(strip: PastStrip, job: Job, by: User, at: datetime) -> None:
    """The strip report of the job is that of its last strip again."""
    said, found = PastVerdict.objects.filter(strip=strip), PastFinding.objects.filter(strip=strip)
    verdicts = Verdict.objects.bulk_create(
        Verdict(
            job=job,
            where=one.where,
            item_id=one.item_id,
            verdict=one.verdict,
            found=one.found,
            measured=one.measured,
            limit=one.limit,
            unit=one.unit,
            with_group=one.with_group,
        )
        for one in said
    )
    findings = Finding.objects.bulk_create(
        Finding(job=job, finding=one.finding, section_id=one.section_id, found_on=one.found_on, note=one.note)
        for one in found
    )
    keep_versions(Verdict, {}, rows_of(Verdict, [row.pk for row in verdicts]), by=by, at=at, why=BACK)
    keep_versions(Finding, {}, rows_of(Finding, [row.pk for row in findings]), by=by, at=at, why=BACK)
    said.delete()
    found.delete()

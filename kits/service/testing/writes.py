"""Stores of tests and strips, inside a transaction only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from kits.catalog.history.versions import keep_versions, rows_of
from kits.people.models import User
from kits.schedule.models import Finding, Job, JobStep, Verdict
from kits.service.models import Gauge, GaugeReading, PastFinding, PastStrip, PastVerdict, PumpTest
from kits.service.testing.judging import Judged, TestSaid

AGAIN = "the test was not passed: opened again"


def store_test(
    job: Job,
    said: TestSaid,
    judged: Sequence[Judged],
    gauge: Gauge | None,
    *,
    strip: int,
    passed: bool,
    step: JobStep | None,
    by: User,
    at: datetime,
    key: str,
) -> PumpTest:
    """Store a test with its readings."""
    test = PumpTest.objects.create(
        job=job,
        strip=strip,
        pump_number=said.pump_number,
        passed=passed,
        gauge=gauge,
        gauge_due_on=gauge.due_on if gauge else None,
        tested_with=said.tested_with.strip(),
        says=said.says.strip(),
        step=step,
        key=key,
        by=by,
        at=at,
    )
    GaugeReading.objects.bulk_create(
        GaugeReading(
            test=test,
            check_of=one.limit.check_of,
            typed=one.typed,
            value=one.value,
            unit=one.limit.unit,
            at_least=one.limit.at_least,
            at_most=one.limit.at_most,
            how=one.limit.how,
            within=one.within,
        )
        for one in judged
    )
    return test


def end_strip(test: PumpTest, by: User, at: datetime) -> PastStrip:
    """Keep the strip report of a job as that of an earlier strip, so that its positions are open again."""
    job = test.job
    strip = PastStrip.objects.create(
        job=job,
        number=test.strip,
        test=test,
        pump=job.pump,
        scope=job.scope,
        quantity=job.quantity,
        option=job.option,
        build_on=job.build_on,
    )
    said, found = list(Verdict.objects.filter(job=job).order_by("pk")), Finding.objects.filter(job=job).order_by("pk")
    PastVerdict.objects.bulk_create(
        PastVerdict(
            strip=strip,
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
    PastFinding.objects.bulk_create(
        PastFinding(strip=strip, finding=one.finding, section_id=one.section_id, found_on=one.found_on, note=one.note)
        for one in found
    )
    for model, rows in ((Verdict, said), (Finding, list(found))):
        before = rows_of(model, [row.pk for row in rows])
        model.objects.filter(pk__in=before).delete()
        keep_versions(model, before, {}, by=by, at=at, why=AGAIN)
    return strip

"""Reads of limits, gauges, tests and strips."""

from __future__ import annotations

from kits.catalog.models import Item
from kits.schedule.models import Job, JobStep
from kits.schedule.words import Stage
from kits.service.models import Gauge, PastStrip, PumpLimit, PumpTest
from kits.service.words import Checked


def limits_of(pump: Item) -> list[PumpLimit]:
    """Return the limits of a pump in the order in which a test is done; one statement."""
    order = list(Checked)
    return sorted(PumpLimit.objects.filter(pump=pump), key=lambda limit: order.index(Checked(limit.check_of)))


def gauges() -> list[Gauge]:
    """Return all gauges; one statement."""
    return list(Gauge.objects.all())


def strip_number(job: Job) -> int:
    """Return which strip of its pump a job is at, 1 for the first; one statement."""
    return PastStrip.objects.filter(job=job).count() + 1


def strip_name(job: Job, number: int) -> str:
    """Return the name under which an earlier strip of a job stands among the jobs of the past."""
    return f"{job} (strip {number})"


def tests_of(job: Job) -> list[PumpTest]:
    """Return the tests of a job with their readings, the latest first; two statements."""
    rows = PumpTest.objects.filter(job=job).select_related("gauge", "by", "step")
    return list(rows.prefetch_related("readings"))


def pumps_passed(job: Job) -> set[int]:
    """Return which pumps of a job passed a test since its parts were closed last, or since one was found not to have;
    two statements."""
    back = JobStep.objects.filter(job=job, after=Stage.BUILT).order_by("-id").first()
    passed = PumpTest.objects.filter(job=job, passed=True, step__isnull=True)
    if back is not None:
        passed = passed.filter(at__gte=back.at)
    return set(passed.values_list("pump_number", flat=True))

"""A batch of which some pumps are stripped and some are not, worked by hand."""

import pytest
from django.db import transaction
from scipy.stats import binom

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.planning.queries import plan_now, reading_of
from kits.schedule.actions import write_strip_report
from kits.schedule.looks import Look, PositionLook
from kits.schedule.models import Job
from kits.schedule.opening import LetPass
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db
BALLS = [f"pump 1 / E-1 {end} / CK-1 {check} / ball" for end in (1, 2) for check in (1, 2)]


def test_five_stripped_pumps_ask_for_what_was_found_and_seven_for_what_may_be():
    """Twelve pumps of four balls. On the five stripped ones 7 of 20 balls were worn, so that the rate stays as it was:
    (10 x 0.35 + 7) / (10 + 20) = 0.35. The seven others have 28 balls, of which 13 are enough for 90 of 100 such
    batches (binomial, SciPy; 12 are not).
    """
    load_small()
    first = Job.objects.get(job="J-1")
    with transaction.atomic():
        mark_shop()
        Job.objects.exclude(pk=first.pk).update(stage="cancelled")
        for number in range(2, 13):
            Job.objects.create(
                job=f"B-{number}", pump=first.pump, scope=first.scope, build_on=first.build_on, stage="here"
            )
    lead, jobs = person_of("Service lead"), [first, *Job.objects.filter(job__startswith="B-").order_by("pk")]
    worn = [2, 1, 2, 0, 2]
    for job, many in zip(jobs, worn, strict=False):
        looks = [
            Look(where, "BA-1", PositionLook(), PositionLook("renew" if turn < many else "keep"))
            for turn, where in enumerate(BALLS)
        ]
        assert (
            write_strip_report(job=job, looks=looks, gate=lambda job: LetPass(), by=lead, at=AT, key=f"strip {job}")
            == 4
        )
    reading = reading_of(plan_now())
    sure = sum(
        piece.quantity for asker in reading.askers for piece in reading.pieces_of(asker) if piece.part_number == "BA-1"
    )
    assert sure == sum(worn) * ONE == 7 * ONE
    assert binom.cdf(12, 28, 0.35) < 0.9 <= binom.cdf(13, 28, 0.35)
    assert reading.wear_of("BA-1").planned == 13 * ONE
    assert sum(job.verdicts.count() for job in jobs) == 20

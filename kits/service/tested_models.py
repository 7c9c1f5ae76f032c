"""How pumps are tested: the shop's limits and gauges, each test as it was read off, and what a failed one closes."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from bom.errors import BomError
from kits.catalog.constraints import holds, not_before, once, one_of
from kits.catalog.fields import CodeField, FoldedField, FoldedModel
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item
from kits.schedule.models import Job, JobStep
from kits.schedule.words import VerdictWord
from kits.service.measures import unit_for
from kits.service.words import Checked


class PumpLimit(models.Model):
    """The shop's own limit for one thing that a test of a pump looks at, in the unit in which the shop has it.

    ``how`` is how it is done, such as with which air pressure; ``source`` is where the limit is stated.
    """

    pump = models.ForeignKey(Item, models.PROTECT, related_name="test_limits")
    check_of = models.CharField(max_length=10, choices=Checked)
    at_least = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    at_most = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    unit = models.CharField(max_length=20)
    how = models.CharField(max_length=200, blank=True)
    source = models.CharField("where this is stated", max_length=200, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("pump", "id")
        constraints = (
            once("pump_limit_once", "pump", "check_of", says="The pump has a limit for this already."),
            one_of("pump_limit_check", "check_of", Checked),
            holds(
                "pump_limit_says",
                Q(at_least__isnull=False) | Q(at_most__isnull=False),
                "A limit says what a reading is at least, at most, or both.",
            ),
            holds(
                "pump_limit_order",
                Q(at_least__isnull=True) | Q(at_most__isnull=True) | Q(at_most__gte=F("at_least")),
                "The most that a reading may be is not below the least.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.pump}: {self.get_check_of_display().lower()}"

    def clean(self) -> None:
        super().clean()
        try:
            self.unit = unit_for(Checked(self.check_of), self.unit)
        except BomError as error:
            raise ValidationError({"unit": str(error)}) from error


class Gauge(FoldedModel):
    """A gauge that tests are read off, and the day on which its calibration ends."""

    gauge = CodeField(max_length=100)
    folded = FoldedField(of=("gauge",))
    reads = models.CharField("what it reads", max_length=200, blank=True)
    calibrated_on = models.DateField(null=True, blank=True)
    due_on = models.DateField("calibrated to")
    certificate = models.CharField(max_length=200, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("folded",)
        constraints = (
            once("gauge_once", "folded", says="A gauge of this name exists already."),
            not_before("gauge_days", "calibrated_on", "due_on", "A calibration ends not before it was made."),
        )

    def __str__(self) -> str:
        return self.gauge


class PumpTest(models.Model):
    """One test of one pump of a job, as it was read off. ``strip`` is the strip of the job that it came after.

    ``step`` is what it did to the job; a test of one of several pumps may have done nothing yet.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="tests")
    strip = models.PositiveIntegerField()
    pump_number = models.PositiveIntegerField(default=1)
    passed = models.BooleanField()
    gauge = models.ForeignKey(Gauge, models.PROTECT, null=True, related_name="tests")
    gauge_due_on = models.DateField(null=True)
    tested_with = models.CharField(max_length=100, blank=True)
    says = models.CharField(max_length=500, blank=True)
    step = models.OneToOneField(JobStep, models.PROTECT, null=True, related_name="test")
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("pump_test_once", "key", says="This test was written down already."),
            holds("pump_test_failed", Q(passed=True) | ~Q(says=""), "A test that was not passed says why."),
            holds(
                "pump_test_gauge",
                Q(gauge__isnull=True, gauge_due_on__isnull=True) | Q(gauge__isnull=False, gauge_due_on__isnull=False),
                "A gauge goes with the day to which it was calibrated.",
            ),
        )

    def __str__(self) -> str:
        return f"test of {self.job}, {'passed' if self.passed else 'not passed'}"


class GaugeReading(models.Model):
    """One reading of a test, with the limit of that day; ``typed`` is as it was typed."""

    test = models.ForeignKey(PumpTest, models.PROTECT, related_name="readings")
    check_of = models.CharField(max_length=10, choices=Checked)
    typed = models.CharField(max_length=50)
    value = models.DecimalField(max_digits=18, decimal_places=6)
    unit = models.CharField(max_length=20)
    at_least = models.DecimalField(max_digits=14, decimal_places=4, null=True)
    at_most = models.DecimalField(max_digits=14, decimal_places=4, null=True)
    how = models.CharField(max_length=200, blank=True)
    within = models.BooleanField()

    class Meta:
        ordering = ("test", "id")
        constraints = (
            once("gauge_reading_once", "test", "check_of", says="The test has a reading of this already."),
            one_of("gauge_reading_check", "check_of", Checked),
        )

    def __str__(self) -> str:
        return f"{self.test}: {self.typed}"


class PastStrip(models.Model):
    """A strip of a job that was followed by another one, with the work as it was then.

    Its verdicts and findings are kept here: those of the job itself are about what was opened again.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="past_strips")
    number = models.PositiveIntegerField()
    test = models.OneToOneField(PumpTest, models.PROTECT, related_name="ends_strip")
    pump = models.ForeignKey(Item, models.PROTECT, related_name="+")
    scope = models.CharField(max_length=100)
    quantity = models.PositiveIntegerField()
    option = models.CharField(max_length=500, blank=True)
    build_on = models.DateField()

    class Meta:
        ordering = ("job", "number")
        constraints = (once("past_strip_once", "job", "number", says="The job has a strip of this number already."),)

    def __str__(self) -> str:
        return f"strip {self.number} of {self.job}"


class PastVerdict(models.Model):
    """What an earlier strip report of a job says of one position."""

    strip = models.ForeignKey(PastStrip, models.PROTECT, related_name="verdicts")
    where = models.CharField(max_length=300)
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    verdict = models.CharField(max_length=20, choices=VerdictWord)
    found = models.CharField(max_length=500, blank=True)
    measured = models.CharField(max_length=50, blank=True)
    limit = models.CharField(max_length=50, blank=True)
    unit = models.CharField(max_length=20, blank=True)
    with_group = models.BooleanField(null=True)

    class Meta:
        ordering = ("strip", "id")
        constraints = (one_of("past_verdict_word", "verdict", VerdictWord),)

    def __str__(self) -> str:
        return f"{self.strip} {self.where}: {self.verdict}"


class PastFinding(models.Model):
    """A named finding of an earlier strip report of a job."""

    strip = models.ForeignKey(PastStrip, models.PROTECT, related_name="findings")
    finding = models.CharField(max_length=200)
    section = models.ForeignKey(Item, models.PROTECT, null=True, related_name="+")
    found_on = models.DateField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("strip", "id")

    def __str__(self) -> str:
        return f"{self.strip}: {self.finding}"

"""What the shop is to do: batches of jobs, other needs, and what the strip reports say."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from bom.errors import BomError
from bom.values import ASKING_STAGES
from kits.catalog.constraints import holds, once, one_of
from kits.catalog.fields import CodeField, FoldedField, FoldedModel, QuantityField
from kits.catalog.folding import fold
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item
from kits.catalog.options import canonical_options
from kits.catalog.words import Cleanliness
from kits.schedule.words import Stage, VerdictWord

PRIORITY = Q(priority__gte=1, priority__lte=9)
PRIORITY_SAYS = "A priority is 1 to 9, 1 first."


class Batch(FoldedModel):
    """Jobs that are planned, picked and looked at together."""

    name = CodeField(max_length=100)
    folded = FoldedField(of=("name",))

    history = PastVersions()

    class Meta:
        ordering = ("folded",)
        verbose_name_plural = "batches"
        constraints = (once("batch_once", "folded", says="A batch of this name exists already."),)

    def __str__(self) -> str:
        return self.name


class JobQuerySet(models.QuerySet["Job"]):
    """Jobs by number and by stage."""

    def by_number(self, text: str) -> Job | None:
        """Return the job with this number, however it is spelled, or None."""
        return self.filter(folded=fold(text)).first()

    def asking(self) -> JobQuerySet:
        """Return the jobs that still ask for parts."""
        return self.filter(stage__in=ASKING_STAGES)


class Job(FoldedModel):
    """A rebuild of one or more equal pumps to one scope."""

    job = CodeField(max_length=100)
    folded = FoldedField(of=("job",))
    pump = models.ForeignKey(Item, models.PROTECT, related_name="jobs")
    scope = models.CharField(max_length=100)
    build_on = models.DateField()
    quantity = models.PositiveIntegerField(default=1)
    batch = models.ForeignKey(Batch, models.PROTECT, null=True, blank=True, related_name="jobs")
    priority = models.PositiveSmallIntegerField(default=5)
    option = models.CharField(max_length=500, blank=True)
    cleanliness = models.CharField(max_length=20, choices=Cleanliness, default=Cleanliness.NORMAL)
    use_kits = models.BooleanField(null=True, blank=True)
    serial = models.CharField(max_length=100, blank=True)
    customer = models.CharField(max_length=200, blank=True)
    strip_on = models.DateField(null=True, blank=True)
    stage = models.CharField(max_length=20, choices=Stage, default=Stage.EXPECTED)
    held_because = models.CharField(max_length=500, blank=True)

    objects = JobQuerySet.as_manager()
    history = PastVersions()

    class Meta:
        ordering = ("build_on", "priority", "folded")
        indexes = (models.Index(fields=("build_on",), name="job_build_on"),)
        constraints = (
            once("job_once", "folded", says="A job of this number exists already."),
            holds("job_quantity", Q(quantity__gte=1), "A job rebuilds at least 1 pump."),
            holds("job_priority", PRIORITY, PRIORITY_SAYS),
            one_of("job_stage", "stage", Stage),
            one_of("job_cleanliness", "cleanliness", Cleanliness),
        )

    def __str__(self) -> str:
        return self.job

    @property
    def asks(self) -> bool:
        """Whether the job asks for parts at its stage."""
        return self.stage in ASKING_STAGES

    def clean(self) -> None:
        super().clean()
        try:
            self.option = canonical_options(self.option)
        except BomError as error:
            raise ValidationError({"option": str(error)}) from error


class OtherNeed(FoldedModel):
    """A need that is no rebuild: a kit sold at the door, the stock of a van."""

    need = CodeField(max_length=100)
    folded = FoldedField(of=("need",))
    item = models.ForeignKey(Item, models.PROTECT, related_name="other_needs")
    quantity = QuantityField()
    need_on = models.DateField()
    for_whom = models.CharField(max_length=200, blank=True)
    priority = models.PositiveSmallIntegerField(default=5)

    history = PastVersions()

    class Meta:
        ordering = ("need_on", "folded")
        constraints = (
            once("other_need_once", "folded", says="A need of this name exists already."),
            holds("other_need_quantity", Q(quantity__gt=0), "The quantity of a need is above 0."),
            holds("other_need_priority", PRIORITY, PRIORITY_SAYS),
        )

    def __str__(self) -> str:
        return self.need


class Verdict(FoldedModel):
    """What the strip report says of one inspected position of a job."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="verdicts")
    where = models.CharField(max_length=300)
    folded = FoldedField(of=("where",))
    item = models.ForeignKey(Item, models.PROTECT, related_name="verdicts")
    verdict = models.CharField(max_length=20, choices=VerdictWord)
    found = models.CharField(max_length=500, blank=True)
    measured = models.CharField(max_length=50, blank=True)
    limit = models.CharField(max_length=50, blank=True)
    unit = models.CharField(max_length=20, blank=True)
    with_group = models.BooleanField(null=True, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("job", "id")
        constraints = (
            once("verdict_once", "job", "folded", "item", says="This position of the job has a verdict already."),
            one_of("verdict_word", "verdict", VerdictWord),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.where}: {self.verdict}"


class Finding(FoldedModel):
    """A named finding on a job; the rules of the catalog say what it means. Without a section: in all of them."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="findings")
    finding = models.CharField(max_length=200)
    folded = FoldedField(of=("finding",))
    section = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="+")
    found_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("job", "id")
        constraints = (
            once("finding_once", "job", "folded", "section", says="The job has this finding in this section already."),
            once(
                "finding_all_once",
                "job",
                "folded",
                condition=Q(section__isnull=True),
                says="The job has this finding in all its sections already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.job}: {self.finding} {self.section or ''}".strip()


class JobStep(models.Model):
    """A pump came a stage further, or back: who said so, when and in which words.

    ``says`` is what was tested, or why it went back or on although something was open; ``open_then`` is what was.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="steps")
    key = models.CharField(max_length=200)
    before = models.CharField(max_length=20, choices=Stage)
    after = models.CharField(max_length=20, choices=Stage)
    says = models.CharField(max_length=500, blank=True)
    open_then = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("job_step_once", "key", says="This request moved a job already."),
            one_of("job_step_before", "before", Stage),
            one_of("job_step_after", "after", Stage),
            holds("job_step_moves", ~Q(before=F("after")), "A step goes from one stage to another."),
            holds("job_step_tested", ~Q(before="built", after="tested", says=""), "A test says what was tested."),
            holds(
                "job_step_despite", Q(open_then="") | ~Q(says=""), "What goes on with something open says why it does."
            ),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.after}"


class JobChange(models.Model):
    """A job was moved, put elsewhere in the queue, made another rebuild, held or given up: by whom, when and why.

    Each pair holds what was and what is; both sides are stored, so that the change can be read without the job. Where
    only the first six of a job can be changed, the others are left blank on both sides.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="changes")
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    why = models.CharField(max_length=500)
    build_on_before = models.DateField()
    build_on = models.DateField()
    priority_before = models.PositiveSmallIntegerField()
    priority = models.PositiveSmallIntegerField()
    scope_before = models.CharField(max_length=100)
    scope = models.CharField(max_length=100)
    quantity_before = models.PositiveIntegerField(default=1)
    quantity = models.PositiveIntegerField(default=1)
    option_before = models.CharField(max_length=500, blank=True)
    option = models.CharField(max_length=500, blank=True)
    pump_before = models.CharField(max_length=100, blank=True)
    pump = models.CharField(max_length=100, blank=True)
    batch_before = models.CharField(max_length=100, blank=True)
    batch = models.CharField(max_length=100, blank=True)
    stage_before = models.CharField(max_length=20, blank=True, choices=Stage)
    stage = models.CharField(max_length=20, blank=True, choices=Stage)
    serial_before = models.CharField(max_length=100, blank=True)
    serial = models.CharField(max_length=100, blank=True)
    customer_before = models.CharField(max_length=200, blank=True)
    customer = models.CharField(max_length=200, blank=True)
    given_up = models.BooleanField(default=False)

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("job_change_once", "key", says="This request changed a job already."),
            holds("job_change_why", ~Q(why=""), "A change says why it was made."),
        )

    def __str__(self) -> str:
        return f"{self.job} changed"

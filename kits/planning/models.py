"""What the plan answered, kept: so that a later answer can be set against it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, once, one_of
from kits.catalog.models import Item
from kits.planning.notice_models import NoticeChoice, SentNotice
from kits.planning.words.answers import Answered
from kits.schedule.models import Job
from kits.schedule.words import Stage

__all__ = ["ExpectedWear", "KeptAnswer", "KeptAnswers", "NoticeChoice", "SentNotice"]


class KeptAnswers(models.Model):
    """The answers of one plan: of which day, and who kept them when.

    ``week_on`` is the Monday of the week whose first they are, empty for those that were kept besides.
    """

    key = models.CharField(max_length=200)
    as_of = models.DateField()
    week_on = models.DateField(null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)
        verbose_name_plural = "kept answers"
        constraints = (
            once("kept_answers_once", "key", says="This request kept its answers already."),
            once("kept_answers_week_once", "week_on", says="The answers of this week are kept already."),
        )

    def __str__(self) -> str:
        return f"answers of {self.as_of}"


class KeptAnswer(models.Model):
    """What a job was told: words and days as they stood then, so that they can be read without the job.

    ``status`` is empty where it asked for nothing. ``could_build_on`` is its build day, or the first day after it on
    which its parts would have allowed the build; empty where nobody knew. ``orders`` are the overdue ones that it
    leant on. ``cost`` is what its parts were planned to cost, ``uncosted`` how many of them had no known cost.
    """

    kept = models.ForeignKey(KeptAnswers, models.CASCADE, related_name="answers")
    job = models.CharField(max_length=100)
    pump = models.CharField(max_length=100)
    scope = models.CharField(max_length=100)
    serial = models.CharField(max_length=100, blank=True)
    customer = models.CharField(max_length=200, blank=True)
    quantity = models.PositiveIntegerField()
    stage = models.CharField(max_length=20, choices=Stage)
    build_on = models.DateField()
    status = models.CharField(max_length=20, choices=Answered, blank=True)
    parts_on = models.DateField(null=True, blank=True)
    days_late = models.PositiveIntegerField(null=True, blank=True)
    could_build_on = models.DateField(null=True, blank=True)
    blocking_part = models.CharField(max_length=100, blank=True)
    orders = models.JSONField(default=list, blank=True)
    cost = models.DecimalField(max_digits=18, decimal_places=2, default=0)
    uncosted = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("kept", "build_on", "job")
        constraints = (
            once("kept_answer_once", "kept", "job", says="These answers hold the job already."),
            one_of("kept_answer_stage", "stage", Stage),
            one_of("kept_answer_status", "status", Answered, blank=True),
            holds("kept_answer_cost", Q(cost__gte=0), "A cost is not below 0."),
        )

    def __str__(self) -> str:
        return f"{self.job}: {self.status}"


class ExpectedWear(models.Model):
    """What was to be expected of one part in a job before anybody looked at it, kept after its first verdict.

    ``events`` are count, chance and pieces of each kind of position; ``how_sure`` is in per cent.
    """

    job = models.ForeignKey(Job, models.CASCADE, related_name="expected_wear")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    how_sure = models.FloatField()
    spares = models.PositiveIntegerField(default=0)
    events = models.JSONField()
    on = models.DateField()

    class Meta:
        ordering = ("job", "item")
        verbose_name_plural = "expected wear"
        constraints = (once("expected_wear_once", "job", "item", says="The part stands there for this job already."),)

    def __str__(self) -> str:
        return f"{self.item} in {self.job}"

"""Lots that may be bad, and what was decided on them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, once
from kits.schedule.models import Job


class Suspicion(models.Model):
    """A lot that may not be used until somebody has looked into it, and what came of it."""

    lot = models.ForeignKey("stock.Lot", models.PROTECT, related_name="suspicions")
    key = models.CharField(max_length=200)
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="suspicions")
    at = models.DateTimeField()
    lift_key = models.CharField(max_length=200, blank=True)
    lift_reason = models.CharField(max_length=500, blank=True)
    lifted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    freezes = models.ManyToManyField("stock.Posting", related_name="suspicions")

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("suspicion_once", "key", says="This suspicion was posted already."),
            once(
                "suspicion_open_once",
                "lot",
                condition=Q(lifted_at__isnull=True),
                says="The lot is under suspicion already.",
            ),
            holds(
                "suspicion_lifted",
                Q(lifted_at__isnull=True, lift_reason="") | (Q(lifted_at__isnull=False) & ~Q(lift_reason="")),
                "A suspicion is lifted at a moment and for a reason.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.lot} under suspicion"


class Concession(models.Model):
    """The lead's word that a lot under suspicion may go into the pump of one job, and why, until it is taken back."""

    suspicion = models.ForeignKey(Suspicion, models.PROTECT, related_name="concessions")
    job = models.ForeignKey(Job, models.PROTECT, related_name="concessions")
    key = models.CharField(max_length=200)
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    taken_back_reason = models.CharField(max_length=500, blank=True)
    taken_back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("concession_once", "key", says="This was decided by this request already."),
            once(
                "concession_stands_once",
                "suspicion",
                "job",
                condition=Q(taken_back_at__isnull=True),
                says="The lot may go into the pump of this job already.",
            ),
            holds("concession_reason", ~Q(reason=""), "A concession says why it is made."),
            holds(
                "concession_taken_back",
                Q(taken_back_at__isnull=True, taken_back_reason="")
                | (Q(taken_back_at__isnull=False) & ~Q(taken_back_reason="")),
                "A concession is taken back at a moment and for a reason.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.suspicion} in {self.job}"

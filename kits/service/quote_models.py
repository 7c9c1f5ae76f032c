"""What a rebuild is to cost: hours of the shop, quotes in versions, and the customer's go-ahead."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, once, one_of
from kits.catalog.fields import FoldedField, FoldedModel, QuantityField
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item
from kits.schedule.models import Job
from kits.service.words import QuoteFor


class WorkHours(FoldedModel):
    """How many hours the shop takes for one of a section, or (with a scope) for one pump to that scope."""

    item = models.ForeignKey(Item, models.PROTECT, related_name="work_hours")
    scope = models.CharField(max_length=100, blank=True)
    folded = FoldedField(of=("scope",))
    hours = models.DecimalField(max_digits=7, decimal_places=2)

    history = PastVersions()

    class Meta:
        ordering = ("item", "folded")
        verbose_name_plural = "work hours"
        constraints = (
            once("work_hours_once", "item", "folded", says="Hours for this section or scope are written down already."),
            holds("work_hours_above_zero", Q(hours__gt=0), "Hours are above 0."),
        )

    def __str__(self) -> str:
        return f"{self.item} {self.scope}".rstrip()


class Quote(models.Model):
    """One version of what a job is quoted at: lines, rates and ceiling as they stood. Written once.

    ``new_price`` is that of as many new pumps; ``unpriced`` counts the lines whose price nobody knows.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="quotes")
    version = models.PositiveIntegerField()
    work = models.CharField(max_length=300)
    note = models.CharField(max_length=500, blank=True)
    currency = models.CharField(max_length=10, blank=True)
    total = models.DecimalField(max_digits=16, decimal_places=2)
    unpriced = models.PositiveIntegerField(default=0)
    ceiling_percent = models.DecimalField(max_digits=7, decimal_places=2)
    new_price = models.DecimalField(max_digits=16, decimal_places=2, null=True)
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("job", "-version")
        constraints = (
            once("quote_version_once", "job", "version", says="The job has a quote of this version already."),
            once("quote_key_once", "key", says="This quote was stored already."),
        )

    def __str__(self) -> str:
        return f"quote {self.version} for {self.job}"


class QuoteLine(models.Model):
    """One line of a quote: a part or kit, or work in hours. ``unit_price`` is None where nobody knows it."""

    quote = models.ForeignKey(Quote, models.PROTECT, related_name="lines")
    what_for = models.CharField(max_length=10, choices=QuoteFor)
    item = models.ForeignKey(Item, models.PROTECT, null=True, related_name="+")
    says = models.CharField(max_length=500)
    quantity = QuantityField()
    unit = models.CharField(max_length=10)
    unit_price = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    price = models.DecimalField(max_digits=16, decimal_places=2, null=True)

    class Meta:
        ordering = ("quote", "id")
        constraints = (
            one_of("quote_line_for", "what_for", QuoteFor),
            holds("quote_line_quantity", Q(quantity__gt=0), "A line of a quote is about more than 0."),
        )

    def __str__(self) -> str:
        return f"{self.quote}: {self.says}"


class GoAhead(models.Model):
    """The customer's word for one version of a quote: in which words, who wrote it down and when."""

    quote = models.ForeignKey(Quote, models.PROTECT, related_name="go_aheads")
    says = models.CharField("who gave it, or the order number", max_length=300)
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    taken_back_why = models.CharField(max_length=300, blank=True)
    taken_back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    taken_back_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("go_ahead_key_once", "key", says="This go-ahead was written down already."),
            once(
                "go_ahead_stands_once",
                "quote",
                condition=Q(taken_back_at__isnull=True),
                says="This version has its go-ahead already.",
            ),
            holds("go_ahead_says", ~Q(says=""), "A go-ahead says who gave it, or names the order."),
            holds(
                "go_ahead_taken_back",
                Q(taken_back_at__isnull=True, taken_back_why="")
                | (Q(taken_back_at__isnull=False) & ~Q(taken_back_why="")),
                "A go-ahead is taken back at a moment and for a reason.",
            ),
        )

    def __str__(self) -> str:
        return f"go-ahead for {self.quote}"

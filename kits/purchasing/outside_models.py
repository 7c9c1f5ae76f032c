"""Work done elsewhere on pieces that are the shop's own: plating, lapping, cleaning."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from kits.catalog.constraints import holds, not_before, once, one_of
from kits.catalog.fields import FoldedField, FoldedModel, QuantityField
from kits.catalog.models import Item
from kits.schedule.models import Job
from kits.stock.models import Lot, Posting


class OutsideOutcome(models.TextChoices):
    """What became of pieces that were sent out; as long as it is blank they are there."""

    GOOD = "good", "came back good"
    NOT_GOOD = "not_good", "came back, not good"
    LOST = "lost", "will not come back"
    NOT_SENT = "not_sent", "not sent after all"


class OutsideWork(FoldedModel):
    """Pieces of one part sent out for one piece of work, for a job if there is one.

    They are those of a position that the strip report sends for rework (``where``), or of a lot on the shelf (``lot``,
    ``taken_by``). ``left_in`` is what was in them and how they were cleaned, for the hands that take them. ``quantity``
    is in millionths of the stock unit.
    """

    key = models.CharField(max_length=200, unique=True)
    supplier = models.ForeignKey("purchasing.Supplier", models.PROTECT, related_name="outside_work")
    work = models.CharField(max_length=500)
    left_in = models.CharField(max_length=300)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="outside_work")
    item = models.ForeignKey(Item, models.PROTECT, related_name="outside_work")
    where = models.CharField(max_length=300, blank=True)
    folded = FoldedField(of=("where",))
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="outside_work")
    taken_by = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="+")
    quantity = QuantityField()
    sent_on = models.DateField()
    promised_on = models.DateField()
    price = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    wants_certificate = models.BooleanField(default=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="outside_work")
    at = models.DateTimeField()
    outcome = models.CharField(max_length=20, choices=OutsideOutcome, blank=True)
    back_on = models.DateField(null=True, blank=True)
    back_note = models.CharField(max_length=500, blank=True)
    certificate = models.CharField(max_length=200, blank=True)
    brought_by = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="+")
    back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        verbose_name_plural = "outside work"
        constraints = (
            once(
                "outside_work_position_once",
                "job",
                "folded",
                "item",
                condition=Q(outcome="") & ~Q(where=""),
                says="This position is out already.",
            ),
            one_of("outside_work_outcome", "outcome", OutsideOutcome, blank=True),
            not_before(
                "outside_work_promise", "sent_on", "promised_on", "It is promised for no day before it was sent."
            ),
            holds("outside_work_quantity", Q(quantity__gt=0), "More than 0 is sent out."),
            holds(
                "outside_work_piece",
                Q(where="", lot__isnull=False) | (~Q(where="") & Q(lot__isnull=True, job__isnull=False)),
                "What is sent out is of a position of a job, or of a lot.",
            ),
            holds(
                "outside_work_back",
                Q(outcome="", back_on=None) | (~Q(outcome="") & Q(back_on__isnull=False)),
                "What came back has a day.",
            ),
        )

    def __str__(self) -> str:
        return f"outside work {self.pk}"


class OutsidePromise(models.Model):
    """A promise of outside work that was moved; the earlier one stays."""

    key = models.CharField(max_length=200, unique=True)
    outside_work = models.ForeignKey(OutsideWork, models.PROTECT, related_name="promises")
    was_on = models.DateField()
    promised_on = models.DateField()
    says = models.CharField(max_length=400)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("id",)
        constraints = (holds("outside_promise_moves", ~Q(was_on=F("promised_on")), "A change is to another day."),)

    def __str__(self) -> str:
        return f"{self.outside_work}: {self.was_on} to {self.promised_on}"

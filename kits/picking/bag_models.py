"""Bags of jobs: where each stands, who took it to the bench, what was put in from paper, what may be left in a pump."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.amounts import Amount
from kits.catalog.constraints import holds, once, one_of
from kits.catalog.days.words import in_full
from kits.catalog.fields import QuantityField
from kits.catalog.words import Cleanliness
from kits.picking.words import PumpAnswer
from kits.schedule.models import Job
from kits.stock.models import Lot, Place, Posting


class Bag(models.Model):
    """A bag of one job, from its first round to the day it is closed: one for what is clean, one for ordinary parts.

    Its number is given once in the shop and never again, so that no bag is taken for one that was closed long ago.
    ``place`` is where it stands in the storeroom.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="bags")
    number = models.PositiveIntegerField()
    cleanliness = models.CharField(max_length=20, choices=Cleanliness, default=Cleanliness.NORMAL)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="bags")

    class Meta:
        ordering = ("number",)
        constraints = (
            once("bag_once", "job", "cleanliness", says="The job has a bag of this class already."),
            once("bag_number_once", "number", says="There is a bag of this number already."),
            one_of("bag_cleanliness", "cleanliness", Cleanliness),
        )

    def __str__(self) -> str:
        return f"bag {self.number} for {self.job}"


class HandOver(models.Model):
    """Somebody of the bench took what lay in a bag; taken back where its posting was reversed."""

    bag = models.ForeignKey(Bag, models.PROTECT, related_name="hand_overs")
    posting = models.OneToOneField(Posting, models.PROTECT, related_name="hand_over")
    taken_by = models.CharField(max_length=100)
    where = models.CharField(max_length=100, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (holds("hand_over_taken_by", ~Q(taken_by=""), "A hand-over says who took the bag."),)

    def __str__(self) -> str:
        return f"{self.bag} taken by {self.taken_by}"


class PaperPick(models.Model):
    """The day on which something was picked that was written on paper first and posted later."""

    posting = models.OneToOneField(Posting, models.PROTECT, related_name="paper_pick")
    picked_on = models.DateField()

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return f"picked on {in_full(self.picked_on)}"


class PumpQuestion(models.Model):
    """Pieces that were left over at the closing and may be missing in the pump, until somebody has looked."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="pump_questions")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="+")
    quantity = QuantityField()
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    answer = models.CharField(max_length=20, choices=PumpAnswer, blank=True)
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            one_of("pump_question_answer", "answer", PumpAnswer, blank=True),
            once("pump_question_once", "key", "lot", says="This was asked by this request already."),
            once(
                "pump_question_open_once",
                "job",
                "lot",
                condition=Q(answered_at__isnull=True),
                says="Somebody asks already whether pieces of this lot are missing in the pump.",
            ),
            holds("pump_question_quantity", Q(quantity__gt=0), "More than 0 may be missing."),
            holds(
                "pump_question_answered",
                Q(answered_at__isnull=True, answer="") | (Q(answered_at__isnull=False) & ~Q(answer="")),
                "A question is answered at a moment, with an answer.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.lot} in the pump of {self.job}"

    @property
    def amount(self) -> Amount:
        """How many may be missing."""
        return Amount.of(self.quantity, self.lot.item.stock_unit)

"""Rounds through the storeroom: which pieces go into which job's bag, and what became of each line."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, once, one_of
from kits.catalog.fields import QuantityField
from kits.catalog.models import Item
from kits.catalog.words import Cleanliness
from kits.people.roles import PICK_CLEAN
from kits.picking.bag_models import Bag as Bag
from kits.picking.bag_models import HandOver as HandOver
from kits.picking.bag_models import PaperPick as PaperPick
from kits.picking.bag_models import PumpQuestion as PumpQuestion
from kits.picking.scan_models import WrongScan as WrongScan
from kits.picking.walk_models import Walker as Walker
from kits.picking.words import LineState, NoteKind, RoundState
from kits.schedule.models import Job
from kits.stock.models import Lot, Place, Posting


class PickRoundQuerySet(models.QuerySet["PickRound"]):
    """Rounds by state."""

    def running(self) -> PickRoundQuerySet:
        """Return the rounds that somebody still walks."""
        return self.filter(state=RoundState.RUNNING)


class PickRound(models.Model):
    """One walk through the storeroom for one or more jobs, laid out from the plan of one day."""

    key = models.CharField(max_length=200)
    state = models.CharField(max_length=20, choices=RoundState, default=RoundState.RUNNING)
    for_what = models.CharField(max_length=300)
    cleanliness = models.CharField(max_length=20, choices=Cleanliness, default=Cleanliness.NORMAL)
    as_of = models.DateField()
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="pick_rounds")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = PickRoundQuerySet.as_manager()

    class Meta:
        ordering = ("-id",)
        permissions = ((PICK_CLEAN, "Can pick for clean jobs"),)
        constraints = (
            one_of("pick_round_cleanliness", "cleanliness", Cleanliness),
            once("pick_round_once", "key", says="This round was started already."),
            one_of("pick_round_state", "state", RoundState),
            holds(
                "pick_round_ended",
                Q(state="running", ended_at__isnull=True) | (~Q(state="running") & Q(ended_at__isnull=False)),
                "A round that is not running any more has ended at a moment.",
            ),
        )

    def __str__(self) -> str:
        return f"round {self.pk}"


class PickLine(models.Model):
    """One stop of a round: one lot at one place, shared out among the bags.

    ``scanned`` is the code of the bin or the packet that was scanned before the line; ``look_alike`` names everything
    that could be taken for it there, a sentence a line; ``walker`` is who walks it.
    """

    pick_round = models.ForeignKey(PickRound, models.PROTECT, related_name="lines")
    number = models.PositiveIntegerField()
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="pick_lines")
    place = models.ForeignKey(Place, models.PROTECT, related_name="pick_lines")
    last_use_on = models.DateField(null=True, blank=True)
    why = models.CharField("why this lot", max_length=500, blank=True)
    look_alike = models.TextField(max_length=4000, blank=True)
    caution = models.CharField(max_length=500, blank=True)
    state = models.CharField(max_length=20, choices=LineState, default=LineState.OPEN)
    scanned = models.CharField(max_length=200, blank=True)
    walker = models.ForeignKey(Walker, models.PROTECT, null=True, blank=True, related_name="lines")

    class Meta:
        ordering = ("pick_round", "number")
        constraints = (
            once("pick_line_number_once", "pick_round", "number", says="The round has a line of this number already."),
            once("pick_line_once", "pick_round", "lot", "place", says="The round stops at this lot already."),
            one_of("pick_line_state", "state", LineState),
        )

    def __str__(self) -> str:
        return f"line {self.number} of {self.pick_round}"


class PickShare(models.Model):
    """What of a line goes into one bag: how many were asked for, and, once confirmed, how many went in.

    ``set_aside`` of the quantity asked was reserved for the job before the round began.
    """

    line = models.ForeignKey(PickLine, models.PROTECT, related_name="shares")
    bag = models.ForeignKey(Bag, models.PROTECT, related_name="shares")
    asked = QuantityField()
    set_aside = QuantityField(default=0)
    picked = QuantityField(null=True, blank=True)
    bag_scanned = models.BooleanField(default=False)

    class Meta:
        ordering = ("line", "bag__number")
        constraints = (
            once("pick_share_once", "line", "bag", says="The line has a share for this bag already."),
            holds("pick_share_asked", Q(asked__gt=0), "A share asks for more than 0."),
            holds(
                "pick_share_picked",
                Q(picked__isnull=True) | Q(picked__gte=0, picked__lte=models.F("asked")),
                "What went into a bag is not below 0 and not above what was asked for.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.line} into {self.bag}"


class PickNote(models.Model):
    """What a job needs besides the lines: to be packed, still to come, missing, or taken from the bench."""

    pick_round = models.ForeignKey(PickRound, models.PROTECT, related_name="notes")
    job = models.ForeignKey(Job, models.PROTECT, related_name="pick_notes")
    kind = models.CharField(max_length=20, choices=NoteKind)
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    quantity = QuantityField(null=True, blank=True)
    says = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("pick_round", "id")
        constraints = (one_of("pick_note_kind", "kind", NoteKind),)

    def __str__(self) -> str:
        return f"{self.item} {self.get_kind_display()}"


class Confirmation(models.Model):
    """What was said of a line, once per request, and the postings that came of it; it stands until it is undone."""

    line = models.ForeignKey(PickLine, models.PROTECT, related_name="confirmations")
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    reason = models.CharField(max_length=300, blank=True)
    scanned = models.CharField(max_length=200, blank=True)
    counted = QuantityField(null=True, blank=True)
    pick = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="confirmation")
    opened = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="+")
    count = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="+")
    damage = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="+")
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undo_key = models.CharField(max_length=200, null=True, blank=True)  # noqa: DJ001 - blank keys would collide

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("confirmation_once", "key", says="This line was confirmed by this request already."),
            once("confirmation_undone_once", "undo_key", says="This line was reopened by this request already."),
            once(
                "confirmation_stands_once",
                "line",
                condition=Q(undone_at__isnull=True),
                says="The line is confirmed already: undo that first.",
            ),
            holds(
                "confirmation_undone",
                Q(undone_at__isnull=True, undo_key__isnull=True) | Q(undone_at__isnull=False, undo_key__isnull=False),
                "What was undone was undone at a moment, by a request.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.line} confirmed"


class SentJob(models.Model):
    """A job that was sent to the storeroom; jobs with one ``key`` were sent in one step, and are taken back so."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="sendings")
    key = models.CharField(max_length=200)
    build_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("build_on", "job")
        constraints = (
            once("sent_job_once", "key", "job", says="This request sent the job already."),
            once(
                "sent_job_open",
                "job",
                condition=Q(back_at__isnull=True),
                says="The job was sent to the storeroom already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.job} sent"


class SentPiece(models.Model):
    """Pieces of one lot that were set aside when a job was sent."""

    sent = models.ForeignKey(SentJob, models.CASCADE, related_name="pieces")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    quantity = QuantityField()

    class Meta:
        ordering = ("sent", "id")
        constraints = (
            once(
                "sent_piece_once", "sent", "lot", "place", says="Pieces of this lot at this place stand there already."
            ),
            holds("sent_piece_quantity", Q(quantity__gt=0), "More than 0 is set aside."),
        )

    def __str__(self) -> str:
        return f"{self.lot} for {self.sent}"


class SentNeed(models.Model):
    """What a job asked for in all of one item when it was sent."""

    sent = models.ForeignKey(SentJob, models.CASCADE, related_name="needs")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    quantity = QuantityField()

    class Meta:
        ordering = ("sent", "item")
        constraints = (once("sent_need_once", "sent", "item", says="The item stands there already."),)

    def __str__(self) -> str:
        return f"{self.item} for {self.sent}"

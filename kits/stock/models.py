"""What lies where: places, lots, the balance of each account, and the movements that made it."""

from __future__ import annotations

from datetime import date
from typing import Any, NoReturn

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from kits.catalog.constraints import holds, once, one_of
from kits.catalog.fields import CodeField, FoldedField, FoldedModel, QuantityField
from kits.catalog.folding import fold
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item
from kits.schedule.models import Job
from kits.stock.codes.taught_models import TaughtCode as TaughtCode
from kits.stock.last_use import last_use_day
from kits.stock.stand_ins.stand_in_models import StandIn as StandIn
from kits.stock.suspect_models import Concession as Concession
from kits.stock.suspect_models import Suspicion as Suspicion
from kits.stock.words import (
    Condition,
    CountKind,
    CountState,
    Decides,
    DisposalWay,
    HeldAs,
    Packet,
    PlaceKind,
    PostingKind,
)


class PlaceQuerySet(models.QuerySet["Place"]):
    """Places by name."""

    def by_name(self, text: str) -> Place | None:
        """Return the place of this name, however it is spelled, or None."""
        return self.filter(folded=fold(text)).first()


class Place(FoldedModel):
    """A bin, a staging shelf or the quarantine cage."""

    place = CodeField(max_length=100)
    folded = FoldedField(of=("place",))
    walk_order = models.IntegerField(null=True, blank=True)
    kind = models.CharField(max_length=20, choices=PlaceKind, default=PlaceKind.BIN)

    objects = PlaceQuerySet.as_manager()
    history = PastVersions()

    class Meta:
        ordering = ("walk_order", "folded")
        constraints = (
            once("place_once", "folded", says="A place of this name exists already."),
            one_of("place_kind", "kind", PlaceKind),
        )

    def __str__(self) -> str:
        return self.place


class LotQuerySet(models.QuerySet["Lot"]):
    """Lots by code."""

    def by_code(self, item: Item, text: str) -> Lot | None:
        """Return the lot of this item with this code, however it is spelled, or None."""
        return self.filter(item=item, folded=fold(text)).first()


class Lot(FoldedModel):
    """Pieces of one item that came from one making: one cure date, one certificate, perhaps in several places.

    ``cure`` is the text as typed and ``cure_on`` the day on which its clock starts. The last day of use is worked out
    from it whenever it is asked for, so that a changed shelf life of the item counts at once. ``made_here`` says that
    the shop made the code up, ``out_of`` from which kits the pieces came where nobody knows their own lot.
    """

    item = models.ForeignKey(Item, models.PROTECT, related_name="lots")
    lot = CodeField(max_length=100)
    folded = FoldedField(of=("lot",))
    cure = models.CharField(max_length=30, blank=True)
    cure_on = models.DateField("shelf life runs from", null=True, blank=True)
    printed_last_use_on = models.DateField(null=True, blank=True)
    received_on = models.DateField(null=True, blank=True)
    maker_batch = models.CharField(max_length=100, blank=True)
    certificate = models.CharField(max_length=200, blank=True)
    owner = models.CharField(max_length=200, blank=True)
    made_here = models.BooleanField(default=False, editable=False)
    out_of = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, editable=False, related_name="loose_pieces"
    )

    objects = LotQuerySet.as_manager()
    history = PastVersions()

    class Meta:
        ordering = ("item", "folded")
        constraints = (
            once("lot_once", "item", "folded", says="The item has a lot of this code already."),
            once(
                "lot_made_here_once",
                "folded",
                condition=Q(made_here=True),
                says="The shop has made this code up already, for a lot of another item.",
            ),
            once(
                "lot_out_of_once", "item", "out_of", says="What came out of these kits of the item has a lot already."
            ),
            holds(
                "lot_cure_read",
                Q(cure="", cure_on__isnull=True) | (~Q(cure="") & Q(cure_on__isnull=False)),
                "A cure date and the day from which it counts go together.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} {self.lot}"

    @property
    def last_use_on(self) -> date | None:
        """The last day of use: the earlier of the printed day and the one that the cure date gives, if any."""
        return last_use_day(self.cure_on, self.printed_last_use_on, self.item.shelf_life_months)


class BalanceQuerySet(models.QuerySet["Balance"]):
    """Balances by the kind of account."""

    def on_shelf(self) -> BalanceQuerySet:
        """Return the accounts of places."""
        return self.filter(job__isnull=True)

    def of_jobs(self) -> BalanceQuerySet:
        """Return the accounts of jobs: bagged for them, issued to them, or given to them besides."""
        return self.filter(job__isnull=False)


class Balance(models.Model):
    """How much of one lot stands in one account: at a place in one condition and packet, or with a job.

    ``moved_at`` is when something was last posted to it, ``counted_at`` when somebody last counted it and was not taken
    back. The ledger and the counts keep both, so that nobody reads years of movements to know them.
    """

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="balances")
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="balances")
    condition = models.CharField(max_length=20, choices=Condition, default=Condition.USABLE, blank=True)
    packet = models.CharField(max_length=20, choices=Packet, default=Packet.SEALED, blank=True)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="balances")
    state = models.CharField(max_length=20, choices=HeldAs, blank=True)
    quantity = QuantityField(default=0)
    moved_at = models.DateTimeField(null=True, blank=True, editable=False)
    counted_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = BalanceQuerySet.as_manager()

    class Meta:
        ordering = ("id",)
        constraints = (
            once(
                "balance_shelf_once",
                "lot",
                "place",
                "condition",
                "packet",
                condition=Q(job__isnull=True),
                says="The lot has an account for this place, condition and packet already.",
            ),
            once(
                "balance_job_once",
                "lot",
                "job",
                "state",
                condition=Q(job__isnull=False),
                says="The lot has an account for this job and state already.",
            ),
            holds("balance_not_negative", Q(quantity__gte=0), "Nothing can hold less than 0: count it."),
            holds(
                "balance_one_account",
                Q(
                    job__isnull=True,
                    place__isnull=False,
                    state="",
                    condition__in=("usable", "quarantine"),
                    packet__in=("sealed", "resealed", "loose"),
                )
                | Q(job__isnull=False, state__in=("bagged", "issued", "extra"), condition="", packet=""),
                "A balance stands at a place, with its condition and packet, or with a job, bagged, issued or extra.",
            ),
        )

    def __str__(self) -> str:
        if self.job_id is None:
            return f"{self.lot} at {self.place} ({self.condition}, {self.packet})"
        held = {"bagged": "in the bag of", "issued": "issued to", "extra": "given as an extra to"}[self.state]
        return f"{self.lot} {held} {self.job}"


class WrittenOnceQuerySet(models.QuerySet[Any]):
    """Rows that are written once: a mistake is put right by a reversing posting, never by a change."""

    def update(self, **kwargs: Any) -> NoReturn:
        raise TypeError("Postings and movements are never changed: post the reverse.")

    def delete(self) -> NoReturn:
        raise TypeError("Postings and movements are never deleted: post the reverse.")


class WrittenOnce(models.Model):
    """A row that is written once."""

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise TypeError("Postings and movements are never changed: post the reverse.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("Postings and movements are never deleted: post the reverse.")


class Posting(WrittenOnce):
    """One event of the storeroom: its movements stand or fall together, and it is posted once per request key."""

    key = models.CharField(max_length=200)
    kind = models.CharField(max_length=20, choices=PostingKind)
    reason = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="postings")
    at = models.DateTimeField()
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="postings")
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")

    objects = WrittenOnceQuerySet.as_manager()

    class Meta:
        ordering = ("-id",)
        indexes = (models.Index(fields=("at",), name="posting_at"),)
        constraints = (
            once("posting_once", "key", says="This request was posted already."),
            one_of("posting_kind", "kind", PostingKind),
            holds(
                "posting_reversal",
                Q(kind="reversal", reverses__isnull=False) | (~Q(kind="reversal") & Q(reverses__isnull=True)),
                "A reversal names the posting that it reverses.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


class Movement(WrittenOnce):
    """What one posting added to (or, below zero, took from) one balance."""

    posting = models.ForeignKey(Posting, models.PROTECT, related_name="movements")
    balance = models.ForeignKey(Balance, models.PROTECT, related_name="movements")
    quantity = QuantityField()

    objects = WrittenOnceQuerySet.as_manager()

    class Meta:
        ordering = ("id",)
        constraints = (
            once("movement_once", "posting", "balance", says="A posting moves a balance once."),
            holds("movement_quantity", ~Q(quantity=0), "A movement moves something."),
        )

    def __str__(self) -> str:
        return f"{self.quantity} of {self.balance}"


class Reservation(models.Model):
    """Pieces of a lot that are set aside on the shelf for one job."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="reservations")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="reservations")
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="reservations")
    quantity = QuantityField()

    history = PastVersions()

    class Meta:
        ordering = ("job", "lot")
        constraints = (
            once("reservation_once", "job", "lot", says="The job has pieces of this lot reserved already."),
            holds("reservation_quantity", Q(quantity__gt=0), "A reservation holds more than 0."),
        )

    def __str__(self) -> str:
        return f"{self.lot} for {self.job}"


class KitPiece(models.Model):
    """What one kit of a kit lot holds of one item, from which lot where that is known.

    All kits of one lot hold the same. A kit that is changed moves to a lot of its own, so that these rows, once a kit
    was put together, are as true of the past as of today. ``owed`` was taken out and has to be put back.
    """

    kit_lot = models.ForeignKey(Lot, models.PROTECT, related_name="kit_pieces")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    piece_lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="in_kits")
    quantity = QuantityField()
    owed = QuantityField(default=0)

    class Meta:
        ordering = ("kit_lot", "item", "id")
        constraints = (
            once("kit_piece_once", "kit_lot", "item", "piece_lot", says="The kit holds pieces of this lot already."),
            once(
                "kit_piece_unknown_once",
                "kit_lot",
                "item",
                condition=Q(piece_lot__isnull=True),
                says="The kit holds pieces of this part without a lot already.",
            ),
            holds("kit_piece_quantity", Q(quantity__gte=0), "A kit holds no less than 0 of a part."),
            holds("kit_piece_owed", Q(owed__gte=0), "No less than 0 is owed to a kit."),
            holds("kit_piece_itself", ~Q(piece_lot=F("kit_lot")), "A kit does not hold its own lot."),
        )

    def __str__(self) -> str:
        return f"{self.item} in {self.kit_lot}"


class Hold(models.Model):
    """Why pieces of a lot lie in quarantine and who must say what becomes of them; the latest of a lot holds."""

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="holds")
    decides = models.CharField(max_length=20, choices=Decides)
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)
        constraints = (one_of("hold_decides", "decides", Decides),)

    def __str__(self) -> str:
        return f"{self.lot} held"


class Disposal(models.Model):
    """The record of pieces that left the shop for good; who and when stand on the posting."""

    posting = models.OneToOneField(Posting, models.PROTECT, related_name="disposal")
    way = models.CharField(max_length=20, choices=DisposalWay)
    remark = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            one_of("disposal_way", "way", DisposalWay),
            holds("disposal_remark", ~Q(way="other", remark=""), "Another way is described in the remark."),
        )

    def __str__(self) -> str:
        return f"disposal {self.pk}"


class Certificate(models.Model):
    """A maker's or supplier's certificate as a file, for the lots it came with."""

    reference = CodeField(max_length=200)
    lots = models.ManyToManyField(Lot, related_name="certificates")
    file_name = models.CharField(max_length=200)
    media_type = models.CharField(max_length=50)
    size = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    content = models.BinaryField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("reference", "id")
        constraints = (once("certificate_once", "digest", "reference", says="This file is kept under this reference."),)

    def __str__(self) -> str:
        return self.reference


class Count(models.Model):
    """One count: a sheet of places to be counted without the book figure, or the first stock-take of a place."""

    key = models.CharField(max_length=200)
    kind = models.CharField(max_length=20, choices=CountKind)
    title = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("count_once", "key", says="This count was begun already."),
            one_of("count_kind", "kind", CountKind),
        )

    def __str__(self) -> str:
        return f"count {self.pk}"


class CountLine(models.Model):
    """One account of the shelf on a count: what was said of it first and last, and what came of it.

    ``key`` is the request that was booked last, so that a double tap is no second count.
    """

    count = models.ForeignKey(Count, models.PROTECT, related_name="lines")
    balance = models.ForeignKey(Balance, models.PROTECT, related_name="count_lines")
    state = models.CharField(max_length=20, choices=CountState, default=CountState.OPEN)
    first = QuantityField(null=True, blank=True)
    last = QuantityField(null=True, blank=True)
    book = QuantityField(null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(null=True, blank=True)
    key = models.CharField(max_length=200, blank=True)
    posting = models.ForeignKey(Posting, models.PROTECT, null=True, blank=True, related_name="count_lines")

    class Meta:
        ordering = ("count", "id")
        constraints = (
            once("count_line_once", "count", "balance", says="The count has this line already."),
            one_of("count_line_state", "state", CountState),
        )

    def __str__(self) -> str:
        return f"{self.balance} on {self.count}"


class Unknown(models.Model):
    """Something found at a place that nobody could name, until somebody does."""

    key = models.CharField(max_length=200)
    place = models.ForeignKey(Place, models.PROTECT, related_name="unknowns")
    looks_like = models.CharField(max_length=300)
    quantity = QuantityField(null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    became = models.CharField(max_length=300, blank=True)
    settled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("unknown_once", "key", says="This find was written down already."),
            holds(
                "unknown_settled",
                Q(settled_at__isnull=True, became="") | (Q(settled_at__isnull=False) & ~Q(became="")),
                "What is settled says what it became.",
            ),
        )

    def __str__(self) -> str:
        return self.looks_like

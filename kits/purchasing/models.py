"""Who sells what at which price, and what is on order."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from bom.values import ONE
from kits.catalog.constraints import holds, not_before, once, one_of
from kits.catalog.fields import CodeField, FoldedField, FoldedModel, QuantityField
from kits.catalog.folding import fold
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item
from kits.purchasing.end_models import EndOfMaking as EndOfMaking
from kits.purchasing.order_models import LineTerms as LineTerms
from kits.purchasing.order_models import OrderLineChange as OrderLineChange
from kits.purchasing.order_models import PurchaseOrder as PurchaseOrder
from kits.purchasing.order_models import SupplierCall as SupplierCall
from kits.purchasing.outside_models import OutsidePromise as OutsidePromise
from kits.purchasing.outside_models import OutsideWork as OutsideWork
from kits.purchasing.rate_models import ExchangeRate as ExchangeRate
from kits.purchasing.request_models import PriceRequest as PriceRequest
from kits.purchasing.request_models import QuoteBreak as QuoteBreak
from kits.purchasing.request_models import RequestLine as RequestLine
from kits.purchasing.return_models import SupplierReturn as SupplierReturn
from kits.stock.models import Posting


class SupplierQuerySet(models.QuerySet["Supplier"]):
    """Suppliers by name."""

    def by_name(self, text: str) -> Supplier | None:
        """Return the supplier of this name, however it is spelled, or None."""
        return self.filter(folded=fold(text)).first()


class Supplier(FoldedModel):
    """A firm that the shop buys from."""

    supplier = CodeField(max_length=200)
    folded = FoldedField(of=("supplier",))
    currency = models.CharField(max_length=10, blank=True)
    order_minimum_value = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    small_order_charge = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    certificate_charge = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    transit_days = models.PositiveIntegerField("transit, working days", default=0)
    closed_from_on = models.DateField(null=True, blank=True)
    closed_to_on = models.DateField(null=True, blank=True)

    objects = SupplierQuerySet.as_manager()
    history = PastVersions()

    class Meta:
        ordering = ("folded",)
        constraints = (
            once("supplier_once", "folded", says="A supplier of this name exists already."),
            not_before("supplier_closed", "closed_from_on", "closed_to_on", "The closing ends not before it begins."),
            holds(
                "supplier_closes_from_day_to_day",
                Q(closed_from_on__isnull=True, closed_to_on__isnull=True)
                | Q(closed_from_on__isnull=False, closed_to_on__isnull=False),
                "A supplier closes from one day to another: give both days or neither.",
            ),
        )

    def __str__(self) -> str:
        return self.supplier


class Offer(FoldedModel):
    """One row of a supplier's offer for an item; rows that differ only in ``price_from_packs`` are its price breaks."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="offers")
    item = models.ForeignKey(Item, models.PROTECT, related_name="offers")
    supplier_part_number = models.CharField(max_length=100, blank=True)
    folded = FoldedField(of=("supplier_part_number",))
    pack_size = QuantityField(default=ONE)
    minimum_packs = models.PositiveIntegerField(default=1)
    multiple_packs = models.PositiveIntegerField(default=1)
    lead_days = models.PositiveIntegerField("lead time, working days", null=True, blank=True)
    price_per_pack = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    currency = models.CharField(max_length=10, blank=True)
    price_from_packs = models.PositiveIntegerField(default=1)
    quoted_on = models.DateField(null=True, blank=True)
    valid_to_on = models.DateField(null=True, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("item", "supplier", "folded", "pack_size", "price_from_packs")
        constraints = (
            once(
                "offer_once",
                "supplier",
                "item",
                "folded",
                "pack_size",
                "price_from_packs",
                says="The supplier offers this number in this pack from this many packs already.",
            ),
            holds("offer_pack_size", Q(pack_size__gt=0), "A pack holds more than 0."),
            holds("offer_minimum", Q(minimum_packs__gte=1), "The minimum is at least 1 pack."),
            holds("offer_multiple", Q(multiple_packs__gte=1), "The multiple is at least 1 pack."),
            holds("offer_price_from", Q(price_from_packs__gte=1), "A price holds from at least 1 pack on."),
            holds("offer_price", Q(price_per_pack__isnull=True) | Q(price_per_pack__gte=0), "A price is not below 0."),
        )

    def __str__(self) -> str:
        return f"{self.item} from {self.supplier}"


class OrderEntry(models.Model):
    """Lines that were ordered together here: who, when, and from what; lines of a sheet have none."""

    key = models.CharField(max_length=100, unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="order_entries")
    at = models.DateTimeField()
    reason = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("id",)
        verbose_name_plural = "order entries"

    def __str__(self) -> str:
        return self.reason or self.key


class OrderLineQuerySet(models.QuerySet["OrderLine"]):
    """Order lines by number and state."""

    def open(self) -> OrderLineQuerySet:
        """Return the lines of which something is still to come."""
        return self.filter(quantity__gt=0)

    def by_number(self, order: str, line: str) -> OrderLine | None:
        """Return one line of an order, however it is spelled, or None."""
        return self.filter(folded_order=fold(order), folded=fold(line)).first()


class OrderLine(FoldedModel):
    """One line of a purchase order: ``quantity`` is still to come, ``received_quantity`` has come."""

    order = CodeField(max_length=100)
    folded_order = FoldedField(of=("order",))
    line = CodeField(max_length=50)
    folded = FoldedField(of=("line",))
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="order_lines")
    item = models.ForeignKey(Item, models.PROTECT, related_name="order_lines")
    quantity = QuantityField()
    promised_on = models.DateField()
    received_quantity = QuantityField(default=0)
    entry = models.ForeignKey(OrderEntry, models.PROTECT, null=True, blank=True, related_name="lines")

    objects = OrderLineQuerySet.as_manager()
    history = PastVersions()

    class Meta:
        ordering = ("promised_on", "folded_order", "folded")
        constraints = (
            once("order_line_once", "folded_order", "folded", says="The order has a line of this number already."),
            holds("order_line_quantity", Q(quantity__gte=0), "What is still to come is not below 0."),
            holds("order_line_received", Q(received_quantity__gte=0), "What has come is not below 0."),
        )

    def __str__(self) -> str:
        return f"{self.order} line {self.line}"


class Receipt(models.Model):
    """Which posting brought pieces of which order line into the storeroom, or (below 0) took them back.

    ``off_open`` of the quantity came off what was still to come; what was delivered beyond the order did not.
    """

    order_line = models.ForeignKey(OrderLine, models.PROTECT, related_name="receipts")
    posting = models.ForeignKey(Posting, models.PROTECT, related_name="receipts")
    quantity = QuantityField()
    off_open = QuantityField(default=0)

    class Meta:
        ordering = ("id",)
        constraints = (holds("receipt_quantity", ~Q(quantity=0), "A receipt brings something."),)

    def __str__(self) -> str:
        return f"{self.order_line}: {self.posting}"


class PromiseChange(models.Model):
    """A promise that slipped or came forward: never edited, so that the history of a supplier's word stays whole."""

    order_line = models.ForeignKey(OrderLine, models.CASCADE, related_name="promise_changes")
    was_on = models.DateField()
    promised_on = models.DateField()
    reason = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="promise_changes"
    )
    at = models.DateTimeField()
    key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ("id",)
        constraints = (holds("promise_change", ~Q(was_on=models.F("promised_on")), "A change is to another day."),)

    def __str__(self) -> str:
        return f"{self.order_line}: {self.was_on} to {self.promised_on}"


class Reply(models.Model):
    """A shortage workbook that came back filled in, byte for byte, and what there is to know of it as a whole."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="replies")
    at = models.DateTimeField()
    file_name = models.CharField(max_length=255)
    digest = models.CharField(max_length=64, unique=True)
    content = models.BinaryField()
    written_on = models.DateField("as of", null=True, blank=True)
    remarks = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("-id",)
        verbose_name_plural = "replies"

    def __str__(self) -> str:
        return self.file_name


class ReplyState(models.TextChoices):
    """What became of a line of a reply; an open one can be taken up at any time."""

    OPEN = "open"
    ACCEPTED = "accepted"
    SET_ASIDE = "set aside"


class ReplyLine(models.Model):
    """One filled-in row of a reply: what the supplier states, what was on record before, and who decided what.

    ``stated`` and ``before`` map the words of an answer (supplier, part, price, currency, pack, quantity, promised,
    valid, lead, breaks, alternative, refused, note) to texts; what could not be read is blank in ``stated``. ``notes``
    say how cells were read, ``remarks`` what to look out for. ``questions`` have to be answered before the line is
    accepted: each has its ``topic``, what it ``says``, and ``readings``, each of which ``says`` how it may be meant and
    which stated texts it ``takes`` instead. ``answers`` are the answers given, by topic.
    """

    reply = models.ForeignKey(Reply, models.CASCADE, related_name="lines")
    row = models.PositiveIntegerField()
    sheet = models.CharField(max_length=40)
    key = models.CharField(max_length=300)
    item = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="reply_lines")
    order_line = models.ForeignKey(OrderLine, models.SET_NULL, null=True, blank=True, related_name="reply_lines")
    asked_line = models.ForeignKey(RequestLine, models.PROTECT, null=True, blank=True, related_name="reply_lines")
    stated = models.JSONField(default=dict)
    before = models.JSONField(default=dict)
    notes = models.JSONField(default=list, blank=True)
    remarks = models.JSONField(default=list, blank=True)
    questions = models.JSONField(default=list, blank=True)
    answers = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=20, choices=ReplyState, default=ReplyState.OPEN)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=1000, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            once("reply_line_once", "reply", "sheet", "row", says="This row of the reply is kept already."),
            one_of("reply_line_state", "state", ReplyState),
        )

    def __str__(self) -> str:
        return f"{self.reply}, {self.sheet} row {self.row}"

    @property
    def is_plain(self) -> bool:
        """Whether nothing about the line has to be read before it is accepted."""
        return not self.questions and not self.remarks


class SupplierQuotes(models.QuerySet["SupplierQuote"]):
    """Quotes by what became of them."""

    def undecided(self) -> SupplierQuotes:
        """Return the quotes that were neither ordered, nor drafted as an order, nor dropped."""
        drafted = LineTerms.objects.filter(quote=OuterRef("pk"), order__cancelled_at=None)
        return self.filter(order_line=None, dropped_at=None).filter(~Exists(drafted))

    def waiting(self) -> SupplierQuotes:
        """Return those of them that quote a quantity."""
        return self.undecided().filter(quantity__isnull=False)


class SupplierQuote(models.Model):
    """What a supplier replied of a part, and somebody accepted: a price with its validity and promise, or a refusal.

    It is no order: ``order_line`` is set by whoever orders it, ``dropped_at`` by whoever decides against it.
    """

    reply_line = models.OneToOneField(ReplyLine, models.PROTECT, related_name="quote")
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="quotes")
    item = models.ForeignKey(Item, models.PROTECT, related_name="quotes")
    why = models.CharField(max_length=20, blank=True)
    refused = models.BooleanField(default=False)
    pack_size = QuantityField(default=ONE)
    price_per_pack = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    currency = models.CharField(max_length=10, blank=True)
    quantity = QuantityField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    valid_to_on = models.DateField(null=True, blank=True)
    alternative = models.CharField(max_length=100, blank=True)
    note = models.CharField(max_length=400, blank=True)
    quoted_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="quotes")
    at = models.DateTimeField()
    order_line = models.ForeignKey(OrderLine, models.SET_NULL, null=True, blank=True, related_name="quotes")
    dropped_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    dropped_at = models.DateTimeField(null=True, blank=True)

    objects = SupplierQuotes.as_manager()

    class Meta:
        ordering = ("-id",)
        constraints = (
            holds("quote_pack_size", Q(pack_size__gt=0), "A pack holds more than 0."),
            holds("quote_price", Q(price_per_pack__isnull=True) | Q(price_per_pack__gte=0), "A price is not below 0."),
            holds("quote_quantity", Q(quantity__isnull=True) | Q(quantity__gt=0), "A quote is for more than 0."),
            holds(
                "quote_refused",
                Q(refused=False) | Q(price_per_pack__isnull=True, quantity__isnull=True, promised_on__isnull=True),
                "A refusal has neither a price nor a quantity nor a promise.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} from {self.supplier}"

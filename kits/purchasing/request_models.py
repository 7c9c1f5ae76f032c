"""Requests to suppliers as documents, what their quotes say beside the price of a pack, and what was chosen of them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from bom.values import ONE
from kits.catalog.constraints import holds, not_before, once
from kits.catalog.fields import CodeField, FoldedField, FoldedModel, QuantityField
from kits.catalog.folding import fold
from kits.catalog.models import Item


class PriceRequestQuerySet(models.QuerySet["PriceRequest"]):
    """Requests by number."""

    def by_number(self, text: str) -> PriceRequest | None:
        """Return the request of this number, however it is spelled, or None."""
        return self.filter(folded=fold(text)).select_related("supplier", "by", "sent_by").first()


class PriceRequest(FoldedModel):
    """What one supplier is asked in one document: its number is given once in the shop, and nothing of it changes."""

    number = CodeField(max_length=60)
    folded = FoldedField(of=("number",))
    supplier = models.ForeignKey("purchasing.Supplier", models.PROTECT, related_name="requests")
    asked_on = models.DateField()
    reply_by = models.DateField()
    note = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="price_requests")
    at = models.DateTimeField()
    key = models.CharField(max_length=160)
    sent_on = models.DateField(null=True, blank=True)
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    objects = PriceRequestQuerySet.as_manager()

    class Meta:
        app_label = "purchasing"
        ordering = ("-id",)
        constraints = (
            once("request_number_once", "folded", says="There is a request of this number already."),
            once("request_key_once", "key", "supplier", says="This request was made already."),
            not_before("request_reply_by", "asked_on", "reply_by", "The answer is asked for a day that has passed."),
            holds(
                "request_sent",
                Q(sent_on__isnull=True, sent_by__isnull=True) | Q(sent_on__isnull=False, sent_by__isnull=False),
                "A request is sent by somebody on a day.",
            ),
        )

    def __str__(self) -> str:
        return self.number


class RequestLine(models.Model):
    """One line of a request, as it was asked for: so many packs as the supplier sells them.

    ``why`` is what the shop needs it for (sure, top-up, wear), which the supplier is not told.
    """

    request = models.ForeignKey(PriceRequest, models.CASCADE, related_name="lines")
    place = models.PositiveIntegerField()
    item = models.ForeignKey(Item, models.PROTECT, related_name="request_lines")
    why = models.CharField(max_length=20)
    quantity = QuantityField()
    packs = models.PositiveIntegerField()
    pack_size = QuantityField(default=ONE)
    supplier_part_number = models.CharField(max_length=100, blank=True)
    wanted_on = models.DateField(null=True, blank=True)
    oldest_cure = models.CharField(max_length=20, blank=True)
    with_certificate = models.BooleanField(default=False)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        app_label = "purchasing"
        ordering = ("request", "place")
        constraints = (
            once("request_line_once", "request", "place", says="The request has a line of this number already."),
            holds("request_line_above_0", Q(quantity__gt=0, pack_size__gt=0, packs__gt=0), "More than 0 is asked for."),
        )

    def __str__(self) -> str:
        return f"{self.request} / {self.place}"


class QuoteBreak(models.Model):
    """A price break of a quote: the price of a pack from so many packs on, for all packs of the order."""

    quote = models.ForeignKey("purchasing.SupplierQuote", models.CASCADE, related_name="breaks")
    from_packs = models.PositiveIntegerField()
    price_per_pack = models.DecimalField(max_digits=18, decimal_places=6)

    class Meta:
        app_label = "purchasing"
        ordering = ("quote", "from_packs")
        constraints = (
            once("quote_break_once", "quote", "from_packs", says="The quote has a price from so many packs already."),
            holds("quote_break", Q(from_packs__gt=1, price_per_pack__gte=0), "A break begins above 1 pack."),
        )

    def __str__(self) -> str:
        return f"{self.quote} from {self.from_packs}"

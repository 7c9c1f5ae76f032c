"""Orders as documents: their numbers and terms, what was changed of them, and what was said about them since.

A drafted order is no supply: its lines are `LineTerms` alone. Sending it makes the `OrderLine` of each, which is what
the plan counts on.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from bom.values import ONE
from kits.catalog.constraints import holds, once, one_of
from kits.catalog.fields import CodeField, FoldedField, FoldedModel, QuantityField
from kits.catalog.folding import fold
from kits.catalog.models import Item


class PurchaseOrderQuerySet(models.QuerySet["PurchaseOrder"]):
    """Orders by number and state."""

    def drafts(self) -> PurchaseOrderQuerySet:
        """Return the orders that were neither sent nor cancelled."""
        return self.filter(sent_on=None, cancelled_at=None)

    def by_number(self, text: str) -> PurchaseOrder | None:
        """Return the order of this number, however it is spelled, or None."""
        return self.filter(folded=fold(text)).select_related("supplier", "entry__by", "sent_by").first()


class PurchaseOrder(FoldedModel):
    """An order as it goes to a supplier: its number, given once in the shop, and when it was sent.

    Orders that only ever came in by a list have none; what they say stands in their lines.
    """

    number = CodeField(max_length=100)
    folded = FoldedField(of=("number",))
    supplier = models.ForeignKey("purchasing.Supplier", models.PROTECT, related_name="orders")
    currency = models.CharField(max_length=10, blank=True)
    entry = models.ForeignKey("purchasing.OrderEntry", models.PROTECT, related_name="orders")
    sent_on = models.DateField(null=True, blank=True)
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    cancelled_reason = models.CharField(max_length=400, blank=True)

    objects = PurchaseOrderQuerySet.as_manager()

    class Meta:
        app_label = "purchasing"
        ordering = ("folded",)
        constraints = (once("order_number_once", "folded", says="There is an order of this number already."),)

    def __str__(self) -> str:
        return self.number


class LineTerms(models.Model):
    """What was agreed of one line of an order: packs, price, the day asked for, and the first day that was promised.

    ``order_line`` is what is still to come of it, from the moment at which the order is sent. What a line is cancelled
    by leaves its packs; none are left of one that is cancelled wholly.
    """

    order = models.ForeignKey(PurchaseOrder, models.CASCADE, related_name="lines")
    number = models.PositiveIntegerField()
    item = models.ForeignKey(Item, models.PROTECT, related_name="line_terms")
    packs = models.PositiveIntegerField()
    pack_size = QuantityField(default=ONE)
    price_per_pack = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    supplier_part_number = models.CharField(max_length=100, blank=True)
    wanted_on = models.DateField()
    what_for = models.CharField(max_length=100, blank=True)
    quote = models.ForeignKey(
        "purchasing.SupplierQuote", models.SET_NULL, null=True, blank=True, related_name="line_terms"
    )
    order_line = models.OneToOneField(
        "purchasing.OrderLine", models.CASCADE, null=True, blank=True, related_name="terms"
    )
    confirmed_on = models.DateField(null=True, blank=True)
    first_promised_on = models.DateField(null=True, blank=True)

    class Meta:
        app_label = "purchasing"
        ordering = ("order", "number")
        verbose_name_plural = "line terms"
        constraints = (
            once("line_terms_once", "order", "number", says="The order has a line of this number already."),
            holds("line_terms_pack_size", Q(pack_size__gt=0), "A pack holds more than 0."),
            holds(
                "line_terms_price", Q(price_per_pack__isnull=True) | Q(price_per_pack__gte=0), "A price is not below 0."
            ),
            holds(
                "line_terms_confirmed",
                Q(confirmed_on__isnull=True, first_promised_on__isnull=True)
                | Q(confirmed_on__isnull=False, first_promised_on__isnull=False),
                "A line is confirmed on a day and for a day.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.order} line {self.number}"

    @property
    def quantity(self) -> int:
        """What was ordered, in millionths of the stock unit."""
        return self.packs * self.pack_size


class ChangeKind(models.TextChoices):
    """What became of a line after its order was sent."""

    CONFIRMED = "confirmed"
    CHANGED = "changed"
    SPLIT = "split"
    CANCELLED = "cancelled"
    SENT_BACK = "sent back"


class OrderLineChange(models.Model):
    """A change of an order line, never edited: what it was before and after, and why."""

    order_line = models.ForeignKey("purchasing.OrderLine", models.CASCADE, related_name="changes")
    kind = models.CharField(max_length=20, choices=ChangeKind)
    says = models.CharField(max_length=400)
    reason = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="line_changes")
    at = models.DateTimeField()

    class Meta:
        app_label = "purchasing"
        ordering = ("id",)
        constraints = (one_of("line_change_kind", "kind", ChangeKind),)

    def __str__(self) -> str:
        return f"{self.order_line}: {self.says}"


class SupplierCall(models.Model):
    """A call about an order line: who was asked, what he said, and when to call again."""

    order_line = models.ForeignKey("purchasing.OrderLine", models.CASCADE, related_name="calls")
    asked = models.CharField(max_length=200)
    said = models.CharField(max_length=400)
    next_call_on = models.DateField(null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="supplier_calls")
    at = models.DateTimeField()

    class Meta:
        app_label = "purchasing"
        ordering = ("-id",)

    def __str__(self) -> str:
        return f"{self.order_line}: {self.asked}"

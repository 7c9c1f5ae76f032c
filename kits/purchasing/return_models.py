"""What goes back to a supplier, and the credit that is expected for it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, one_of
from kits.catalog.fields import QuantityField
from kits.catalog.models import Item


class Wrong(models.TextChoices):
    """What is wrong with what came."""

    WRONG_PART = "wrong part", "It is another part"
    DAMAGED = "damaged", "It is damaged"
    TOO_OLD = "too old", "It is too old"
    NO_CERTIFICATE = "no certificate", "Its certificate is missing"
    TOO_MANY = "too many", "More came than was ordered"
    OTHER = "other", "Something else, written below"


class SupplierReturn(models.Model):
    """Pieces that go back: from which line, what was wrong, whether they are replaced, and the credit for them.

    ``posting`` took them out of the storeroom; what was refused at the door never was in it. ``gone_on`` is when they
    left, ``credited_on`` when the credit came.
    """

    key = models.CharField(max_length=200, unique=True)
    supplier = models.ForeignKey("purchasing.Supplier", models.PROTECT, related_name="returns")
    order_line = models.ForeignKey(
        "purchasing.OrderLine", models.SET_NULL, null=True, blank=True, related_name="returns"
    )
    item = models.ForeignKey(Item, models.PROTECT, related_name="supplier_returns")
    lot_code = models.CharField(max_length=100, blank=True)
    quantity = QuantityField()
    wrong = models.CharField(max_length=20, choices=Wrong)
    note = models.CharField(max_length=400, blank=True)
    replaced = models.BooleanField(default=False)
    posting = models.OneToOneField(
        "stock.Posting", models.PROTECT, null=True, blank=True, related_name="supplier_return"
    )
    credit_expected = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    currency = models.CharField(max_length=10, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="supplier_returns")
    at = models.DateTimeField()
    gone_on = models.DateField(null=True, blank=True)
    credit_received = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    credited_on = models.DateField(null=True, blank=True)

    class Meta:
        app_label = "purchasing"
        ordering = ("-id",)
        constraints = (
            holds("return_quantity", Q(quantity__gt=0), "Something goes back: write more than 0."),
            one_of("return_wrong", "wrong", Wrong),
            holds(
                "return_credited",
                Q(credit_received__isnull=True, credited_on__isnull=True)
                | Q(credit_received__isnull=False, credited_on__isnull=False),
                "A credit comes on a day, and is so much.",
            ),
        )

    def __str__(self) -> str:
        return f"return {self.pk} of {self.item}"

"""Pieces that a job was given in the place of another part."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from kits.catalog.amounts import Amount
from kits.catalog.constraints import holds
from kits.catalog.fields import QuantityField
from kits.catalog.models import Item
from kits.schedule.models import Job


class StandIn(models.Model):
    """So many pieces of a lot went into the bag of a job in the place of ``wanted``, and why.

    Who gave them when stands with the posting; it stands no more where that was reversed.
    """

    posting = models.OneToOneField("stock.Posting", models.PROTECT, related_name="stand_in")
    job = models.ForeignKey(Job, models.PROTECT, related_name="stand_ins")
    wanted = models.ForeignKey(Item, models.PROTECT, related_name="+")
    lot = models.ForeignKey("stock.Lot", models.PROTECT, related_name="stand_ins")
    quantity = QuantityField()
    reason = models.CharField(max_length=300)

    class Meta:
        ordering = ("id",)
        constraints = (
            holds("stand_in_quantity", Q(quantity__gt=0), "More than 0 stands in."),
            holds("stand_in_reason", ~Q(reason=""), "A reason says why another part stands in."),
        )

    def __str__(self) -> str:
        return f"{self.lot} in the place of {self.wanted}"

    @property
    def amount(self) -> Amount:
        """How many stand in."""
        return Amount.of(self.quantity, self.lot.item.stock_unit)

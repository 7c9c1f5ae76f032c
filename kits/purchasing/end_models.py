"""Which items are no longer made: since when, who says so, and until when they can still be ordered."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, once
from kits.catalog.models import Item


class EndOfMaking(models.Model):
    """An item is no longer made from a day on, as somebody stated; it stands until somebody takes it back."""

    key = models.CharField(max_length=200, unique=True)
    item = models.ForeignKey(Item, models.PROTECT, related_name="ends_of_making")
    from_on = models.DateField()
    last_order_on = models.DateField(null=True, blank=True)
    source = models.CharField(max_length=200)
    note = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="ends_of_making")
    at = models.DateTimeField()
    taken_back_why = models.CharField(max_length=500, blank=True)
    taken_back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        verbose_name_plural = "ends of making"
        constraints = (
            once(
                "end_of_making_once",
                "item",
                condition=Q(taken_back_at__isnull=True),
                says="This item is marked as no longer made already.",
            ),
            holds(
                "end_of_making_taken_back",
                Q(taken_back_at__isnull=True) | ~Q(taken_back_why=""),
                "What is taken back says why.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} no longer made"

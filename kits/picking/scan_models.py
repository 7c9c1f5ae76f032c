"""What was scanned before a line and did not belong to it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from kits.catalog.constraints import once


class WrongScan(models.Model):
    """A code that was scanned before a line of a round and is not of it: nothing was booked; ``says`` what it was."""

    line = models.ForeignKey("picking.PickLine", models.PROTECT, related_name="wrong_scans")
    text = models.CharField(max_length=200)
    says = models.CharField(max_length=500)
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)
        indexes = (models.Index(fields=("at",), name="wrong_scan_at"),)
        constraints = (once("wrong_scan_once", "key", says="This scan was kept already."),)

    def __str__(self) -> str:
        return f"{self.text} before {self.line}"

"""Who walks a round: one person, or several who share its lines by the order of the walk."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from kits.catalog.constraints import once


class Walker(models.Model):
    """Somebody who walks a round or a stretch of it; ``rests_since`` while the lines wait for them, or for another."""

    pick_round = models.ForeignKey("picking.PickRound", models.PROTECT, related_name="walkers")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    rests_since = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("pick_round", "id")
        constraints = (once("walker_once", "pick_round", "person", says="They walk this round already."),)

    def __str__(self) -> str:
        return f"{self.person} on round {self.pick_round_id}"

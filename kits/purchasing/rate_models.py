"""What other money was worth in the shop's: one typed rate a day and currency, never edited."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from kits.catalog.constraints import holds
from kits.catalog.fields import CodeField, FoldedField, FoldedModel


class ExchangeRate(FoldedModel):
    """One unit of ``currency`` is ``rate`` units of ``home``, from ``from_on`` until the next day that has a rate.

    Of several for one day the one that was typed last counts; the others stand in the history.
    """

    currency = CodeField(max_length=10)
    folded = FoldedField(of=("currency",))
    home = CodeField(max_length=10)
    folded_home = FoldedField(of=("home",))
    from_on = models.DateField()
    rate = models.DecimalField(max_digits=18, decimal_places=8)
    source = models.CharField("where it is stated", max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="exchange_rates")
    at = models.DateTimeField()

    class Meta:
        ordering = ("folded", "-from_on", "-id")
        constraints = (
            holds("exchange_rate_above_nil", Q(rate__gt=0), "A rate is more than 0."),
            holds("exchange_rate_abroad", ~Q(folded=F("folded_home")), "The shop's own currency needs no rate."),
        )

    def __str__(self) -> str:
        return f"1 {self.currency} in {self.home}"

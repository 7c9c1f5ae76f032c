"""What the shop has stated of places in its pumps: how far a part may be worn there, and how it is tightened."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from bom.errors import BomError
from bom.structure.units import unit_named
from kits.catalog.constraints import holds, once
from kits.catalog.fields import FoldedField, FoldedModel
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item


class WearLimit(FoldedModel):
    """How far a part may be worn: the least and the most that may be measured on it, as its source states them.

    Without an assembly or a position it holds wherever the part sits; the narrowest row counts.
    """

    item = models.ForeignKey(Item, models.PROTECT, related_name="wear_limits")
    assembly = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="+")
    position = models.CharField(max_length=200, blank=True)
    folded = FoldedField(of=("position",))
    measured = models.CharField("what is measured", max_length=100, help_text="Such as diameter, or free length.")
    least = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    most = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    unit = models.CharField(max_length=20, help_text="Of both limits: mm, in, g and the like.")
    source = models.CharField("where this is stated", max_length=200)

    history = PastVersions()

    class Meta:
        ordering = ("item", "id")
        constraints = (
            once(
                "wear_limit_once",
                "item",
                "assembly",
                "folded",
                says="The part has a limit at this place already: change that one.",
            ),
            once(
                "wear_limit_anywhere_once",
                "item",
                "folded",
                condition=Q(assembly__isnull=True),
                says="The part has a limit for every assembly already: change that one.",
            ),
            holds(
                "wear_limit_says_something",
                Q(least__isnull=False) | Q(most__isnull=False),
                "A limit states the least that may be measured, the most, or both.",
            ),
            holds(
                "wear_limit_order",
                Q(least__isnull=True) | Q(most__isnull=True) | Q(most__gte=F("least")),
                "The most that may be measured is not below the least.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} {self.measured}"

    def clean(self) -> None:
        super().clean()
        try:
            self.unit = unit_named(self.unit)
        except BomError as error:
            raise ValidationError({"unit": str(error)}) from error


class Tightening(FoldedModel):
    """How a fastener or a threaded part is tightened, as a source states it; without a row the maker's manual says."""

    item = models.ForeignKey(Item, models.PROTECT, related_name="tightenings")
    assembly = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="+")
    position = models.CharField(max_length=200, blank=True)
    folded = FoldedField(of=("position",))
    figure = models.CharField(max_length=100, help_text="With its unit, as the source writes it.")
    pattern = models.CharField(max_length=200, blank=True, help_text="In which order, and in how many steps.")
    tool = models.CharField(max_length=200, blank=True)
    source = models.CharField("where this is stated", max_length=200)

    history = PastVersions()

    class Meta:
        ordering = ("item", "id")
        constraints = (
            once(
                "tightening_once",
                "item",
                "assembly",
                "folded",
                says="The part has a figure at this place already: change that one.",
            ),
            once(
                "tightening_anywhere_once",
                "item",
                "folded",
                condition=Q(assembly__isnull=True),
                says="The part has a figure for every assembly already: change that one.",
            ),
            holds(
                "tightening_source",
                ~Q(figure="") & ~Q(source=""),
                "A figure is stated together with where it was read.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} {self.figure}"

"""What the shop knows of its pumps: items, structure, scopes, which kit fits what, and the shop's own settings."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from bom.errors import BomError
from bom.structure.shelf_life import parse_minimum_life
from kits.catalog.constraints import holds, not_before, once, one_of
from kits.catalog.fields import CodeField, FoldedField, FoldedModel, QuantityField
from kits.catalog.folding import fold
from kits.catalog.history.versions import PastVersions
from kits.catalog.options import canonical_options
from kits.catalog.words import (
    AtRebuild,
    Cleanliness,
    Direction,
    FindingEffect,
    IssueBy,
    ItemKind,
    QuantityIsFor,
    RenewTogetherOver,
    Source,
    StockUnit,
)


class Revision(models.Model):
    """A mark that changes with every write to a set of records: the ``catalog``, or the ``shop`` (all the rest)."""

    name = models.CharField(max_length=20, unique=True)
    mark = models.CharField(max_length=32)

    def __str__(self) -> str:
        return f"{self.name} {self.mark}"


class LoggedRequest(models.Model):
    """A request that booked something: its key, and a digest of all it said, so that no key books two things."""

    key = models.CharField(max_length=200)
    content = models.CharField(max_length=32)

    class Meta:
        constraints = (once("logged_request_once", "key", says="This request was booked already."),)

    def __str__(self) -> str:
        return self.key


class Setting(FoldedModel):
    """One named setting of the shop."""

    name = models.CharField(max_length=100)
    folded = FoldedField(of=("name",))
    value = models.CharField(max_length=500, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("folded",)
        constraints = (once("setting_once", "folded", says="A setting of this name exists already: change that one."),)

    def __str__(self) -> str:
        return f"{self.name} = {self.value}"


class Holiday(models.Model):
    """A day on which the shop is closed."""

    date = models.DateField()
    name = models.CharField(max_length=200, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("date",)
        constraints = (once("holiday_once", "date", says="This day is a holiday already: change its name there."),)

    def __str__(self) -> str:
        return f"{self.date} {self.name}".strip()


class ItemQuerySet(models.QuerySet["Item"]):
    """Items by any spelling of their numbers."""

    def by_number(self, text: str) -> Item | None:
        """Return the item with this part number, however it is spelled, or None."""
        return self.filter(folded=fold(text)).first()

    def by_any_number(self, text: str) -> ItemQuerySet:
        """Return the items known by this part number, maker number or other number."""
        key = fold(text)
        return self.filter(
            Q(folded=key) | Q(other_numbers__folded=key) | Q(folded_maker_number=key, maker_number__gt="")
        ).distinct()


class Item(FoldedModel):
    """One thing with a part number: part, assembly, kit or pump."""

    part_number = CodeField(max_length=100)
    folded = FoldedField(of=("part_number",))
    description = models.CharField(max_length=500)
    kind = models.CharField(max_length=10, choices=ItemKind)
    stock_unit = models.CharField(max_length=5, choices=StockUnit)
    material = models.CharField(max_length=100, blank=True)
    hardness = models.CharField(max_length=50, blank=True)
    size = models.CharField(max_length=100, blank=True)
    form = models.CharField(max_length=100, blank=True)
    cleanliness = models.CharField(max_length=20, choices=Cleanliness, default=Cleanliness.NORMAL)
    shelf_life_months = models.PositiveIntegerField(null=True, blank=True)
    shelf_life_unlimited = models.BooleanField(default=False)
    resealed_usable = models.BooleanField(default=True)
    source = models.CharField(max_length=20, choices=Source, default=Source.BUY)
    get_as = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="gets")
    issue = models.CharField(max_length=10, choices=IssueBy, default=IssueBy.COUNTED)
    lead_days = models.PositiveIntegerField("lead time, working days", null=True, blank=True)
    safety_stock = QuantityField(default=0)
    minimum = QuantityField(null=True, blank=True)
    maximum = QuantityField(null=True, blank=True)
    how_sure_percent = models.DecimalField(max_digits=7, decimal_places=4, default=Decimal(90))
    unit_cost = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    min_life_at_receipt = models.CharField(max_length=20, blank=True)
    certificate_needed = models.BooleanField(default=False)
    maker_code = models.CharField(max_length=50, blank=True)
    maker_number = models.CharField(max_length=100, blank=True)
    folded_maker_number = FoldedField(of=("maker_number",))
    home_place = models.CharField(max_length=100, blank=True)
    default_option = models.CharField(max_length=500, blank=True)
    notes = models.TextField(blank=True)

    objects = ItemQuerySet.as_manager()
    history = PastVersions()

    class Meta:
        ordering = ("folded",)
        indexes = (models.Index(fields=("folded_maker_number",), name="item_maker_number"),)
        constraints = (
            once(
                "item_once", "folded", says="An item with this part number exists already, perhaps spelled otherwise."
            ),
            one_of("item_kind", "kind", ItemKind),
            one_of("item_stock_unit", "stock_unit", StockUnit),
            one_of("item_cleanliness", "cleanliness", Cleanliness),
            one_of("item_source", "source", Source),
            one_of("item_issue", "issue", IssueBy),
            holds(
                "item_one_shelf_life",
                Q(shelf_life_unlimited=False) | Q(shelf_life_months__isnull=True),
                "A shelf life is either a number of months or unlimited, not both.",
            ),
            holds(
                "item_shelf_life_above_zero",
                Q(shelf_life_months__isnull=True) | Q(shelf_life_months__gt=0),
                "A shelf life is at least one month: leave it blank where there is none.",
            ),
            holds("item_safety_stock", Q(safety_stock__gte=0), "A safety stock is not below 0."),
            holds("item_minimum", Q(minimum__isnull=True) | Q(minimum__gte=0), "A minimum is not below 0."),
            holds(
                "item_maximum",
                Q(maximum__isnull=True) | Q(minimum__isnull=True) | Q(maximum__gte=F("minimum")),
                "The maximum is not below the minimum.",
            ),
            holds(
                "item_how_sure",
                Q(how_sure_percent__gt=0, how_sure_percent__lte=100),
                "How sure we want to be is above 0 and at most 100 percent.",
            ),
        )

    def __str__(self) -> str:
        return self.part_number

    @property
    def countable(self) -> bool:
        """Whether the item is counted in pieces."""
        return self.stock_unit == StockUnit.EACH

    @property
    def ageless(self) -> bool:
        """Whether no shelf life is stated for it, as for metal and PTFE."""
        return self.shelf_life_months is None and not self.shelf_life_unlimited

    def clean(self) -> None:
        super().clean()
        self.default_option = _canonical("default_option", self.default_option)
        try:
            if self.min_life_at_receipt:
                parse_minimum_life(self.min_life_at_receipt)
        except BomError as error:
            raise ValidationError({"min_life_at_receipt": str(error)}) from error


class OtherNumber(FoldedModel):
    """Another number that an item is known by."""

    item = models.ForeignKey(Item, models.CASCADE, related_name="other_numbers")
    number = CodeField(max_length=100)
    folded = FoldedField(of=("number",), db_index=True)

    history = PastVersions()

    class Meta:
        ordering = ("id",)
        constraints = (once("other_number_once", "item", "folded", says="The item has this other number already."),)

    def __str__(self) -> str:
        return self.number


class StructureLine(FoldedModel):
    """One line of a structure: ``parent`` holds ``quantity`` of ``child`` at a position."""

    parent = models.ForeignKey(Item, models.PROTECT, related_name="lines")
    child = models.ForeignKey(Item, models.PROTECT, related_name="used_on")
    quantity = QuantityField()
    quantity_is_for = models.CharField(max_length=20, choices=QuantityIsFor, default=QuantityIsFor.ONE_PARENT)
    pump = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="+")
    at_rebuild = models.CharField(max_length=10, choices=AtRebuild, blank=True)
    renewals_per_100 = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    renew_together = models.CharField(max_length=100, blank=True)
    renew_together_over = models.CharField(max_length=10, choices=RenewTogetherOver, default=RenewTogetherOver.ASSEMBLY)
    option = models.CharField(max_length=200, blank=True)
    wetted = models.BooleanField(default=False)
    position = models.CharField(max_length=200, blank=True)
    order = models.IntegerField(default=0)
    orientation = models.CharField(max_length=500, blank=True)
    bench_note = models.CharField(max_length=500, blank=True)
    figure_item = models.CharField(max_length=50, blank=True)
    source = models.CharField("where this is stated", max_length=200, blank=True)
    from_on = models.DateField(null=True, blank=True)
    to_on = models.DateField(null=True, blank=True)
    from_serial = models.CharField(max_length=50, blank=True)
    to_serial = models.CharField(max_length=50, blank=True)
    folded = FoldedField(of=("position", "option", "from_on", "from_serial"))

    history = PastVersions()

    class Meta:
        ordering = ("parent", "order", "id")
        constraints = (
            once(
                "structure_line_once",
                "parent",
                "child",
                "folded",
                says="The parent holds this child at this position, option and first day or serial already.",
            ),
            holds("structure_line_quantity", Q(quantity__gt=0), "The quantity of a structure line is above 0."),
            holds("structure_line_itself", ~Q(parent=F("child")), "An item cannot hold itself."),
            one_of("structure_line_at_rebuild", "at_rebuild", AtRebuild, blank=True),
            one_of("structure_line_quantity_is_for", "quantity_is_for", QuantityIsFor),
            one_of("structure_line_together_over", "renew_together_over", RenewTogetherOver),
            holds(
                "structure_line_whole_pump",
                Q(quantity_is_for="one_parent") | Q(pump__isnull=False),
                "A quantity for the whole pump needs the pump that it was counted in.",
            ),
            holds(
                "structure_line_renewals",
                Q(renewals_per_100__isnull=True) | Q(renewals_per_100__gte=0, renewals_per_100__lte=100),
                "Renewals per 100 lie between 0 and 100.",
            ),
            not_before("structure_line_days", "from_on", "to_on", "The last day of a line is not before its first."),
        )

    def __str__(self) -> str:
        return f"{self.parent} / {self.child} {self.position}".strip()

    def clean(self) -> None:
        self.option = _canonical("option", self.option)
        super().clean()


class ScopeSection(FoldedModel):
    """One row of a scope: how many of a section a rebuild of this depth opens."""

    pump = models.ForeignKey(Item, models.PROTECT, related_name="scope_sections")
    scope = models.CharField(max_length=100)
    folded = FoldedField(of=("scope",))
    section = models.ForeignKey(Item, models.PROTECT, related_name="in_scopes")
    how_many = models.PositiveIntegerField()
    use_kits = models.BooleanField(default=True)
    option = models.CharField(max_length=500, blank=True)
    signed_for = models.BooleanField(default=False)

    history = PastVersions()

    class Meta:
        ordering = ("pump", "folded", "id")
        constraints = (
            once("scope_section_once", "pump", "folded", "section", says="The scope names this section already."),
            holds("scope_section_how_many", Q(how_many__gte=1), "A scope opens at least 1 of a section."),
        )

    def __str__(self) -> str:
        return f"{self.pump} {self.scope}: {self.how_many} x {self.section}"

    def clean(self) -> None:
        super().clean()
        self.option = _canonical("option", self.option)


class KitFit(FoldedModel):
    """A kit does so many instances of an assembly; kits of one set are alternatives."""

    kit = models.ForeignKey(Item, models.PROTECT, related_name="fits")
    fits = models.ForeignKey(Item, models.PROTECT, related_name="fitting_kits")
    option = models.CharField(max_length=300, blank=True)
    instances = models.PositiveIntegerField(default=1)
    set_name = models.CharField(max_length=100, blank=True)
    preferred = models.BooleanField(default=False)
    folded = FoldedField(of=("option", "set_name"))

    history = PastVersions()

    class Meta:
        ordering = ("kit", "id")
        constraints = (
            once("kit_fit_once", "kit", "fits", "folded", says="The kit fits this assembly in this set already."),
            holds("kit_fit_instances", Q(instances__gte=1), "A kit does at least 1 instance of the assembly."),
            holds("kit_fit_itself", ~Q(kit=F("fits")), "A kit cannot fit itself."),
        )

    def __str__(self) -> str:
        return f"{self.kit} fits {self.fits}"

    def clean(self) -> None:
        self.option = _canonical("option", self.option)
        super().clean()


class FindingRule(FoldedModel):
    """What a named finding means for an assembly: parts it adds, or inspected positions it renews."""

    finding = models.CharField(max_length=200)
    folded = FoldedField(of=("finding",))
    assembly = models.ForeignKey(Item, models.PROTECT, related_name="finding_rules")
    effect = models.CharField(max_length=10, choices=FindingEffect)
    item = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="+")
    quantity = QuantityField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("folded", "assembly", "id")
        constraints = (
            once(
                "finding_rule_once",
                "folded",
                "assembly",
                "effect",
                "item",
                says="The finding has this effect on the part in this assembly already.",
            ),
            once(
                "finding_rule_all_once",
                "folded",
                "assembly",
                "effect",
                condition=Q(item__isnull=True),
                says="The finding has this effect on everything in this assembly already.",
            ),
            one_of("finding_rule_effect", "effect", FindingEffect),
            holds(
                "finding_rule_quantity",
                Q(effect="renew", quantity__isnull=True) | Q(effect="add", item__isnull=False, quantity__gt=0),
                "A finding that adds names a part and a quantity above 0; one that renews has no quantity.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.finding}: {self.effect} {self.item or 'all'} in {self.assembly}"


class Substitute(models.Model):
    """An item that may stand in for another."""

    item = models.ForeignKey(Item, models.PROTECT, related_name="substitutes")
    substitute = models.ForeignKey(Item, models.PROTECT, related_name="stands_in_for")
    direction = models.CharField(max_length=10, choices=Direction)
    approved_by = models.CharField(max_length=100, blank=True)
    note = models.CharField(max_length=500, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("item", "id")
        constraints = (
            once("substitute_once", "item", "substitute", says="This substitute is listed for the item already."),
            one_of("substitute_direction", "direction", Direction),
            holds("substitute_itself", ~Q(item=F("substitute")), "An item is no substitute for itself."),
        )

    def __str__(self) -> str:
        return f"{self.substitute} for {self.item}"


class DismissedChange(models.Model):
    """Somebody said why a list stays as it is, although past rebuilds speak against it.

    ``of`` is the pump that takes a part besides, or the kit that leaves one over; the scope is empty for a kit.
    ``showing`` of ``pumps`` rebuilds showed it then. Rebuilds that were closed before ``at`` count for it no more.
    """

    of = models.ForeignKey(Item, models.PROTECT, related_name="+")
    scope = models.CharField(max_length=100, blank=True)
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    showing = models.PositiveIntegerField()
    pumps = models.PositiveIntegerField()
    why = models.CharField(max_length=500)
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)
        constraints = (
            once("dismissed_change_once", "key", says="This request put a proposal aside already."),
            holds("dismissed_change_why", ~Q(why=""), "Whoever lets a list stand says why."),
        )

    def __str__(self) -> str:
        return f"{self.item} in {self.of} stays as listed"


def _canonical(field: str, text: str) -> str:
    try:
        return canonical_options(text)
    except BomError as error:
        raise ValidationError({field: str(error)}) from error

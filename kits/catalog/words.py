"""What the closed lists of words in the catalog hold."""

from __future__ import annotations

from django.db.models import TextChoices


class ItemKind(TextChoices):
    PART = "part"
    ASSEMBLY = "assembly"
    KIT = "kit"
    PUMP = "pump"


class StockUnit(TextChoices):
    EACH = "each"
    MM = "mm", "mm"
    CM = "cm", "cm"
    M = "m", "m"
    IN = "in", "in"
    FT = "ft", "ft"
    G = "g", "g"
    KG = "kg", "kg"
    ML = "mL", "mL"
    L = "L", "L"


class Cleanliness(TextChoices):
    NORMAL = "normal"
    OXYGEN_CLEAN = "oxygen_clean"
    LUBRICANT_FREE = "lubricant_free"


class Source(TextChoices):
    BUY = "buy"
    PACK = "pack"
    PACK_ELSE_BUY = "pack_else_buy"
    MAKE = "make"
    IN_KIT_ONLY = "in_kit_only"
    IN_ASSEMBLY_ONLY = "in_assembly_only"


class IssueBy(TextChoices):
    COUNTED = "counted"
    BENCH = "bench"


class AtRebuild(TextChoices):
    OPEN = "open"
    RENEW = "renew"
    INSPECT = "inspect"
    KEEP = "keep"


class FindingEffect(TextChoices):
    ADD = "add"
    RENEW = "renew"


class QuantityIsFor(TextChoices):
    ONE_PARENT = "one_parent"
    WHOLE_PUMP = "whole_pump"


class RenewTogetherOver(TextChoices):
    ASSEMBLY = "assembly"
    SECTION = "section"
    PUMP = "pump"


class Direction(TextChoices):
    ONE_WAY = "one_way"
    BOTH = "both"

"""What the closed lists of words in the schedule hold."""

from __future__ import annotations

from django.db.models import TextChoices


class Stage(TextChoices):
    EXPECTED = "expected"
    HERE = "here"
    STRIPPED = "stripped"
    BUILDING = "building"
    BUILT = "built"
    TESTED = "tested"
    SHIPPED = "shipped"
    HELD = "held"
    CANCELLED = "cancelled"


class VerdictWord(TextChoices):
    RENEW = "renew"
    MISSING = "missing"
    KEEP = "keep"
    REWORK = "rework"
    NOT_AS_LISTED = "not_as_listed"

"""What the closed lists of words of the service lead hold."""

from __future__ import annotations

from django.db.models import TextChoices


class RuleSays(TextChoices):
    """What the shop's table says of a compound in a fluid."""

    FORBIDDEN = "forbidden", "forbidden"
    ALLOWED = "allowed", "named as usual"
    ASK = "ask", "ask the seal maker"


class Checked(TextChoices):
    """What a test looks at, in the order in which it is done."""

    STALL = "stall", "Pressure at stall"
    HELD = "held", "Minutes held"
    FALL = "fall", "Fall while held"
    LEAK_OUT = "leak_out", "Leak to the outside"
    LEAK_IN = "leak_in", "Leak inside"
    CYCLES = "cycles", "Cycles"


class QuoteFor(TextChoices):
    """What a line of a quote is for; found is what the strip report added."""

    SURE = "sure", "Parts that the work takes in any case"
    FOUND = "found", "Parts that the strip-down found"
    HOURS = "hours", "Work"

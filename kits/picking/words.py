"""What the closed lists of words in picking hold."""

from __future__ import annotations

from django.db.models import TextChoices

from kits.catalog.words import Cleanliness

CLASS_SAYS = {
    Cleanliness.NORMAL: "ordinary",
    Cleanliness.OXYGEN_CLEAN: "oxygen-clean",
    Cleanliness.LUBRICANT_FREE: "free of lubricant",
}
"""How a job, a round or a bag is called by what its parts have to be."""


class RoundState(TextChoices):
    RUNNING = "running"
    FINISHED = "finished"
    GIVEN_UP = "given_up"


class LineState(TextChoices):
    OPEN = "open"
    FULL = "full"
    SHORT = "short"
    LEFT = "left"


class NoteKind(TextChoices):
    PACK = "pack", "to be packed first"
    COMING = "coming", "on order"
    MISSING = "missing", "on no order"
    IN_BAG = "in_bag", "in the bag already"
    OTHER_ROUND = "other_round", "on another round"
    BENCH = "bench", "from the bench"


class LeftGoes(TextChoices):
    BACK = "back", "back to its lot"
    QUARANTINE = "quarantine", "into quarantine"
    SCRAP = "scrap", "scrapped"


class PumpAnswer(TextChoices):
    FITTED = "fitted", "fitted now"
    NOT_NEEDED = "not_needed", "not needed"

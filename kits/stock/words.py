"""What the closed lists of words in the storeroom hold."""

from __future__ import annotations

from django.db.models import TextChoices


class PlaceKind(TextChoices):
    BIN = "bin"
    STAGING = "staging"
    QUARANTINE = "quarantine"


class Condition(TextChoices):
    USABLE = "usable"
    QUARANTINE = "quarantine"


class Packet(TextChoices):
    SEALED = "sealed"
    RESEALED = "resealed"
    LOOSE = "loose"


class JobState(TextChoices):
    BAGGED = "bagged"
    ISSUED = "issued"


class PostingKind(TextChoices):
    OPENING = "opening"
    RECEIVE = "receive"
    COUNT = "count"
    PICK = "pick"
    EXTRA_ISSUE = "extra_issue"
    ISSUE = "issue"
    RETURN_TO_LOT = "return_to_lot"
    TO_QUARANTINE = "to_quarantine"
    MOVE = "move"
    SCRAP = "scrap"
    OPENING_RETURN = "opening_return"
    CONSUME = "consume"
    PACK = "pack"
    UNPACK = "unpack"
    ROB = "rob"
    FILL_UP = "fill_up"
    FREEZE = "freeze"
    LIFT = "lift"
    REVERSAL = "reversal"

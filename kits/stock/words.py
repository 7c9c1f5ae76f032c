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


class HeldAs(TextChoices):
    """How a job holds pieces: in its bag, at the bench, or at the bench besides what its lists ask for."""

    BAGGED = "bagged"
    ISSUED = "issued"
    EXTRA = "extra"


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
    RELEASE = "release"
    OPEN_PACKET = "open_packet"
    CLOSE_PACKET = "close_packet"
    ADJUST = "adjust"
    DISPOSE = "dispose"
    SEND_OUT = "send_out"
    COME_BACK = "come_back"
    REVERSAL = "reversal"


class Decides(TextChoices):
    """Who must say what becomes of pieces in quarantine."""

    LEAD = "lead", "Service lead"
    PURCHASING = "purchasing", "Purchasing"
    STOREROOM = "storeroom", "Storeroom"
    CUSTOMER = "customer", "Customer"


class DisposalWay(TextChoices):
    """How pieces leave the shop for good when they may not be used any more."""

    CUT = "cut", "Cut up and put into general waste"
    HAZARDOUS = "hazardous", "Handed over as hazardous waste"
    METAL = "metal", "Sold or handed over as scrap metal"
    SENT_BACK = "sent_back", "Sent back to the supplier"
    OTHER = "other", "Another way, written in the remark"


class CountKind(TextChoices):
    ROUND = "round"
    FIRST = "first"


class CountState(TextChoices):
    OPEN = "open"
    RECOUNT = "recount"
    AGREED = "agreed"
    DIFFERED = "differed"
    LEFT = "left"

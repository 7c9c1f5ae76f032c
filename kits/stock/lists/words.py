"""How postings and accounts are said on pages."""

from __future__ import annotations

from kits.stock.models import Balance
from kits.stock.words import Condition, HeldAs, Packet, PostingKind

KIND_SAYS = {
    PostingKind.OPENING: "opening stock",
    PostingKind.RECEIVE: "received",
    PostingKind.COUNT: "counted",
    PostingKind.PICK: "picked",
    PostingKind.EXTRA_ISSUE: "given as an extra",
    PostingKind.ISSUE: "handed over",
    PostingKind.RETURN_TO_LOT: "back from the bench",
    PostingKind.TO_QUARANTINE: "to quarantine",
    PostingKind.MOVE: "moved",
    PostingKind.SCRAP: "scrapped",
    PostingKind.OPENING_RETURN: "returned before the start",
    PostingKind.CONSUME: "used up",
    PostingKind.PACK: "packed into kits",
    PostingKind.UNPACK: "kit opened",
    PostingKind.ROB: "taken out of a kit",
    PostingKind.FILL_UP: "put back into a kit",
    PostingKind.FREEZE: "frozen",
    PostingKind.LIFT: "made usable again",
    PostingKind.RELEASE: "released",
    PostingKind.OPEN_PACKET: "packet opened",
    PostingKind.CLOSE_PACKET: "packet closed",
    PostingKind.ADJUST: "adjusted",
    PostingKind.DISPOSE: "disposed of",
    PostingKind.SEND_OUT: "sent out to be worked on",
    PostingKind.COME_BACK: "back from outside work",
    PostingKind.REVERSAL: "taken back",
}
"""A word for each kind of posting; a test holds that none is missing."""

HELD_SAYS = {HeldAs.BAGGED: "bag of", HeldAs.ISSUED: "issued to", HeldAs.EXTRA: "given as an extra to"}
PACKET_WORDS = {Packet.SEALED: "sealed", Packet.RESEALED: "opened, closed again", Packet.LOOSE: "loose"}


def account_says(balance: Balance) -> str:
    """Where pieces stand: a place with what is to be known of them, or a job."""
    if balance.job is not None:
        return f"{HELD_SAYS[HeldAs(balance.state)]} {balance.job}"
    notes = [
        "quarantine" if balance.condition == Condition.QUARANTINE else "",
        PACKET_WORDS[Packet(balance.packet)] if balance.packet != Packet.SEALED else "",
    ]
    said = ", ".join(filter(None, notes))
    return f"{balance.place} ({said})" if said else f"{balance.place}"

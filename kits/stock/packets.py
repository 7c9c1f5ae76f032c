"""What becomes of a packet that is opened to take part of it, and of pieces that come back."""

from __future__ import annotations

from bom.structure.packets import packet_bars
from kits.catalog.models import Item
from kits.catalog.words import Cleanliness, ItemKind
from kits.stock.words import Packet

CLEAN_SAYS = {
    Cleanliness.OXYGEN_CLEAN: "Oxygen-clean: clean gloves, a clean bag of its own.",
    Cleanliness.LUBRICANT_FREE: "Free of lubricant: clean gloves, a clean bag of its own.",
}

OPENED_FIRST = (Packet.LOOSE, Packet.RESEALED, Packet.SEALED)


def is_kept_sealed(item: Item) -> bool:
    """Whether it matters that a packet was opened: of seals with a life, and of clean parts.

    Each kit is a bag of its own, so that taking one opens none of the others; metal parts do not mind.
    """
    return item.kind == ItemKind.PART and packet_bars(item, Packet.LOOSE)


def may_be_resealed(item: Item) -> bool:
    """Whether pieces of an opened packet stay usable; clean parts never do."""
    return not packet_bars(item, Packet.RESEALED)


def usable_packets(item: Item) -> tuple[Packet, ...]:
    """The packets that may be taken from, the opened ones first, so that they are used up."""
    return tuple(packet for packet in OPENED_FIRST if not packet_bars(item, packet))


def packet_caution(item: Item, *, opens_a_packet: bool) -> str:
    """What to mind when a line is picked, empty where there is nothing."""
    says = [CLEAN_SAYS[Cleanliness(item.cleanliness)]] if item.cleanliness in CLEAN_SAYS else []
    if opens_a_packet and is_kept_sealed(item):
        says.append(
            "Close the rest again and label it."
            if may_be_resealed(item)
            else "What is left of an opened packet may not be used again: open no more than one."
        )
    return " ".join(says)

"""What becomes of a packet that is opened to take part of it, and of pieces that come back."""

from __future__ import annotations

from kits.catalog.models import Item
from kits.catalog.words import Cleanliness, ItemKind
from kits.stock.words import Packet

CLEAN_SAYS = {
    Cleanliness.OXYGEN_CLEAN: "Oxygen-clean: clean gloves, a clean bag of its own.",
    Cleanliness.LUBRICANT_FREE: "Free of lubricant: clean gloves, a clean bag of its own.",
}


def is_kept_sealed(item: Item) -> bool:
    """Whether it matters that a packet was opened: of seals with a life, clean parts, what may not be resealed.

    Each kit is a bag of its own, so that taking one opens none of the others; metal parts do not mind.
    """
    if item.kind != ItemKind.PART:
        return False
    ages = item.shelf_life_months is not None or item.shelf_life_unlimited
    return ages or not item.resealed_usable or item.cleanliness != Cleanliness.NORMAL


def may_be_resealed(item: Item) -> bool:
    """Whether pieces of an opened packet stay usable; for clean work they never do."""
    return item.resealed_usable and item.cleanliness == Cleanliness.NORMAL


def usable_packets(item: Item) -> tuple[Packet, ...]:
    """The packets that a pick may take from, the opened one first, so that it is used up."""
    return (Packet.RESEALED, Packet.SEALED) if item.resealed_usable else (Packet.SEALED,)


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

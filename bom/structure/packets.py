"""Whether the packet in which a part lies lets it be used: the one rule for plan, pick, packing and lists."""

from __future__ import annotations

from typing import Protocol


class InPacket(Protocol):
    """What the rule has to know of an item, in the core and in the tables alike."""

    @property
    def ageless(self) -> bool:
        """Whether no shelf life is stated for it."""

    @property
    def resealed_usable(self) -> bool:
        """Whether pieces of a packet that was opened and closed again stay usable."""

    @property
    def cleanliness(self) -> str:
        """Its class: normal, oxygen_clean or lubricant_free."""


def packet_bars(item: InPacket, packet: str, *, clean_work: bool = False) -> bool:
    """Whether the state of its packet keeps a piece from use.

    Parts for clean work, and whatever goes into a clean kit, come from sealed packets only, whatever the item says.
    Otherwise parts for which no shelf life is stated (metal, PTFE) do not mind their packet.

    Parameters
    ----------
    item : what lies in the packet
    packet : sealed, resealed or loose
    clean_work : whether the piece goes into a clean kit
    """
    if packet == "sealed":
        return False
    if clean_work or item.cleanliness != "normal":
        return True
    return not item.ageless and (packet == "loose" or not item.resealed_usable)

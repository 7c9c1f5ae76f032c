"""An assembly drawn as a strip: its parts in assembly order, each with its number, its kind and how it looks."""

from __future__ import annotations

from dataclasses import dataclass

from kits.catalog.amounts import Amount

LOOKS = ("new", "open", "back", "lack", "out")
"""How a part is drawn: what is new stands full, what is to be looked at open, what goes back in light, what is not
there dashed, what is out of the pump or in doubt dotted."""


@dataclass(frozen=True, slots=True)
class DrawnPart:
    """One part of a strip: ``count`` in words, empty for one piece; ``says`` is a word or two about it.

    ``turned`` is the side to which it is open: liquid, air, or empty; ``leads_to`` an anchor on the same sheet.
    """

    number: int
    part_number: str
    what: str
    kind: str
    count: str
    look: str
    says: str
    turned: str = ""
    leads_to: str = ""


@dataclass(frozen=True, slots=True)
class DrawnPieces:
    """Pieces of one part that look alike, and a word or two about them."""

    look: str
    pieces: Amount
    says: str

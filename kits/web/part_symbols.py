"""The symbol of each kind of part, drawn about an axis after the habits of technical drawings.

Seals are drawn in the simplified way of ISO 9222 (a square with a cross that touches no side, and where the side to
which they are open is known, their outline), springs as the zigzag of ISO 2162, cut faces hatched, the axis as a chain
line (ISO 128). From memory, and ours: no drawing of any maker stands behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

WIDTH, HEIGHT = 72, 84
"""The cell of one symbol; its middle lies on the axis."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """Paths about the middle of the cell: ``outline``, ``solid`` (filled where the part is new), ``hair`` for help.

    ``halves`` says that they are the upper half only, and the lower one is its mirror image.
    """

    outline: str = ""
    solid: str = ""
    hair: str = ""
    halves: bool = True

    @property
    def sides(self) -> tuple[bool, ...]:
        """Each time that it is drawn: whether mirrored."""
        return (False, True) if self.halves else (False,)


_CROSS = "M-7-30 7-16M7-30-7-16"
_SEAL = Symbol(outline="M-11-34H11V-12H-11Z", hair=_CROSS)

SYMBOLS = {
    "": Symbol(outline="M-16-26H16V26H-16Z", halves=False),
    "assembly": Symbol(outline="M-24-30H24V30H-24Z", hair="M-19-25H19V25H-19Z", halves=False),
    "o_ring": Symbol(solid="M-8-24A8 8 0 1 0 8-24A8 8 0 1 0-8-24Z"),
    "o_ring_cord": Symbol(outline="M-8-24A8 8 0 1 0 8-24A8 8 0 1 0-8-24Z", hair="M-4-24H4M0-28V-20"),
    "backup_ring": Symbol(outline="M-4-34H4V-14H-4Z", hair="M-4-16 4-32"),
    "retaining_ring": Symbol(solid="M-2-36H2V-24H-2Z"),
    "cup_seal": _SEAL,
    "wiper": _SEAL,
    "band": Symbol(outline="M-18-34H18V-26H-18Z", hair="M-14-26-6-34M-4-26 4-34M6-26 14-34"),
    "bearing": Symbol(outline="M-20-34H20V-18H-20Z", hair="M-16-18 0-34M-2-18 14-34"),
    "bumper": Symbol(outline="M-8-34H8V-14H-8Z", hair="M-8-28C-2-32 2-24 8-28M-8-20C-2-24 2-16 8-20"),
    "disc": Symbol(outline="M-5-26H5V26H-5Z", halves=False),
    "seat": Symbol(outline="M-15-34H15V-18L8-11H-8L-15-18Z", hair="M-11-18 5-34M1-16 13-28"),
    "cage": Symbol(outline="M-20-32H20V-26H-20Z", hair="M-12-26V-10M0-26V-10M12-26V-10"),
    "ball": Symbol(outline="M-19 0A19 19 0 1 0 19 0A19 19 0 1 0-19 0Z", hair="M-4 0H4M0-4V4", halves=False),
    "spring": Symbol(outline="M-28 0-24-26-14 26-4-26 6 26 16-26 24 26 28 0", halves=False),
    "spool": Symbol(outline="M-30-6H30V6H-30ZM-24-16H-14V16H-24ZM-5-16H5V16H-5ZM14-16H24V16H14Z", halves=False),
    "sleeve": Symbol(outline="M-26-32H26V-20H-26Z", hair="M-14-32V-20M0-32V-20M14-32V-20"),
    "nut": Symbol(outline="M-13-26H13V26H-13Z", hair="M-13-13H13M-13 13H13", halves=False),
    "screw": Symbol(outline="M-22-13H-11V13H-22ZM-11-7H24V7H-11Z", hair="M-4-4.5H24M-4 4.5H24", halves=False),
    "rod": Symbol(outline="M-30-12H30V12H-30Z", halves=False),
    "piston": Symbol(outline="M-12-34H8V34H-12ZM8-7H28V7H8Z", halves=False),
    "gasket": Symbol(solid="M-2-36H2V-10H-2Z"),
    "washer": Symbol(outline="M-3-30H3V-10H-3Z"),
    "screen": Symbol(outline="M-8-28H8V28H-8Z", hair="M-8-16 8-28M-8-2 8-14M-8 12 8 0M-8 26 8 14", halves=False),
    "body": Symbol(outline="M-30-38H30V-20H-30Z", hair="M-26-20-8-38M-8-20 10-38M10-20 28-38"),
    "grease": Symbol(outline="M0-24C9-8 13-2 13 6A13 13 0 0 1-13 6C-13-2-9-8 0-24Z", halves=False),
}
"""By the kind of part; what is of no known kind is a plain block."""

OPEN_TO_LEFT = {
    "cup_seal": Symbol(outline="M-14-36-10-33H7Q12-33 12-28V-17Q12-12 7-12H-10L-14-9"),
    "wiper": Symbol(outline="M3-14V-34H-6V-21L-15-8"),
    "disc": Symbol(outline="M-5-26H5V26H-5ZM-5-26H-11V-19H-5M-5 26H-11V19H-5", halves=False),
}
"""Parts that are fitted one way round, open to the left, where the liquid is."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A symbol as it is drawn, and whether it is turned to the right."""

    symbol: Symbol
    turned: bool


def symbol_of(kind: str, turned: str = "") -> Placed:
    """The symbol of a kind of part, open to the ``liquid`` (left), to the ``air`` (right), or without a direction."""
    shown = OPEN_TO_LEFT.get(kind) if turned else None
    if shown is None:
        return Placed(SYMBOLS.get(kind, SYMBOLS[""]), turned=False)
    return Placed(shown, turned=turned == "air")

"""What stands on a label, whatever it is stuck on."""

from __future__ import annotations

from dataclasses import dataclass

from kits.stock.codes.drawing import Drawing, draw_qr
from kits.stock.codes.texts import Code


@dataclass(frozen=True, slots=True)
class CodedLabel:
    """What stands on a label: its name large, what it is, facts with their words, and what nobody may overlook."""

    code: Code
    head: str
    what: str = ""
    size: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    mind: str = ""

    @property
    def picture(self) -> Drawing:
        """The QR code of the label."""
        return draw_qr(str(self.code))

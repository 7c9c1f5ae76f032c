"""The marks that a scanner reads: QR (ISO/IEC 18004), and Code 128 (ISO/IEC 15417) where the bars have room."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

import segno
from barcode.codex import Code128
from barcode.errors import BarcodeError

QR_QUIET = 4
"""Light modules around a QR code (ISO/IEC 18004)."""
BARS_QUIET = 10
"""Light modules before and behind the bars (ISO/IEC 15417)."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """Dark rectangles on a field of modules, its quiet zone in it: left, top, width, height of each.

    Bars have one row, which is drawn as high as there is room.
    """

    wide: int
    high: int
    dark: tuple[tuple[int, int, int, int], ...]

    @property
    def path(self) -> str:
        """The rectangles as the path of an SVG picture."""
        return "".join(f"M{left} {top}h{wide}v{high}h-{wide}z" for left, top, wide, high in self.dark)


@lru_cache(maxsize=2000)
def draw_qr(text: str) -> Drawing:
    """Draw a text as a QR code that is still read with a seventh of it dirty (level M)."""
    rows = [list(row) for row in segno.make(text, micro=False, error="m").matrix_iter(border=QR_QUIET)]
    dark = (
        (left, top, wide, 1) for top, row in enumerate(rows) for left, wide in _runs([bool(module) for module in row])
    )
    return Drawing(len(rows[0]), len(rows), tuple(dark))


@lru_cache(maxsize=2000)
def draw_bars(text: str) -> Drawing | None:
    """Draw a text as bars; None for a text with signs that Code 128 has no bars for."""
    if not text.isascii():
        return None
    try:
        bars = Code128(text).build()[0]
    except BarcodeError:
        return None
    dark = ((BARS_QUIET + left, 0, wide, 1) for left, wide in _runs([bar == "1" for bar in bars]))
    return Drawing(len(bars) + 2 * BARS_QUIET, 1, tuple(dark))


def _runs(modules: list[bool]) -> Iterator[tuple[int, int]]:
    """Where each run of dark modules begins, and how long it is."""
    left = 0
    for is_dark, run in groupby(modules):
        wide = len(list(run))
        if is_dark:
            yield left, wide
        left += wide

"""Labels on paper that is cut already: a PDF file in which every millimetre is where the paper has it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.drawing import Drawing, draw_bars
from kits.stock.codes.papers import LabelPaper

PLAIN, BOLD = "LabelText", "LabelTextBold"
EDGE = 2.0
"""Millimetres that stay free at every edge of a label, for a printer that pulls the sheet a little askew."""
QR_MODULE = (0.4, 0.75)
BAR_MODULES = (0.5, 0.375, 0.33)
"""How wide the finest bar is drawn, in millimetres: the widest that fits; 0.375 is three dots at 203 dots an inch."""
BARS_HIGH = 9.0
LINE = 1.18
SMALLEST = 6.0
SCALES = (1.7, 1.45, 1.2, 1.0, 0.9, 0.8, 0.7)
"""How large the words are written: all alike, by the first of these at which there is room."""


@dataclass(frozen=True, slots=True)
class _Words:
    """A text on a label, in lines as the room has them. What has the highest ``rank`` is left out first."""

    text: str
    points: float
    font: str
    rank: int


@dataclass(frozen=True, slots=True)
class _Line:
    """One line as it is written."""

    text: str
    points: float
    font: str
    rank: int

    @property
    def high(self) -> float:
        return self.points * LINE


def bars_fit(label: CodedLabel, paper: LabelPaper) -> bool:
    """Say whether the code of a label has room on a paper as bars; a QR code always has."""
    return _bars(label, paper) is not None


def write_labels(labels: Sequence[CodedLabel], paper: LabelPaper, *, bars: bool, first_free: int = 1) -> bytes:
    """Write labels as a PDF file, from the first free label of the first page on (1 is the one at its top left).

    With ``bars`` those that fit bear bars, the others a QR code.
    """
    _load_fonts()
    out = BytesIO()
    canvas = Canvas(out, pagesize=(paper.page[0] * mm, paper.page[1] * mm), invariant=True)
    canvas.setTitle("Labels")
    for number, label in enumerate(labels, start=first_free - 1):
        page, on_page = divmod(number, paper.on_a_page)
        if on_page == 0 and page:
            canvas.showPage()
        left, top = paper.place(on_page)
        canvas.saveState()
        canvas.translate(left * mm, (paper.page[1] - top - paper.label[1]) * mm)
        _draw(canvas, label, paper, bars)
        canvas.restoreState()
    canvas.save()
    return out.getvalue()


def _load_fonts() -> None:
    """Name the typeface that comes with the library; it has the letters of western and central Europe."""
    if PLAIN not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(PLAIN, "Vera.ttf"))
        pdfmetrics.registerFont(TTFont(BOLD, "VeraBd.ttf"))


def _bars(label: CodedLabel, paper: LabelPaper) -> tuple[Drawing, float] | None:
    """The bars of a label and how wide their finest one is."""
    drawing = draw_bars(str(label.code))
    room = paper.label[0] - EDGE
    if drawing is None:
        return None
    return next(((drawing, module) for module in BAR_MODULES if drawing.wide * module <= room), None)


def _draw(canvas: Canvas, label: CodedLabel, paper: LabelPaper, bars: bool) -> None:
    """Draw one label, whose lower left corner is the origin."""
    wide, high = paper.label
    if bars and (found := _bars(label, paper)):
        drawing, module = found
        _fill(canvas, drawing, (wide - drawing.wide * module) / 2, EDGE, module, BARS_HIGH)
        _write(canvas, label, wide - 2 * EDGE, EDGE + BARS_HIGH + 0.8, high - EDGE)
        return
    drawing = label.picture
    module = min(QR_MODULE[1], max(QR_MODULE[0], min(high - EDGE, 0.42 * wide) / drawing.wide))
    across = drawing.wide * module
    # The quiet zone of the code is the free edge of the label.
    _fill(canvas, drawing, wide - across, (high - across) / 2, module, module)
    _write(canvas, label, wide - across - EDGE, EDGE, high - EDGE)


def _fill(canvas: Canvas, drawing: Drawing, left: float, bottom: float, module: float, row_high: float) -> None:
    """Fill the dark rectangles in one stroke, so that no fine line shows between them."""
    path = canvas.beginPath()
    for x, top, wide, rows in drawing.dark:
        y = bottom + (drawing.high - top - rows) * row_high
        path.rect((left + x * module) * mm, y * mm, wide * module * mm, rows * row_high * mm)
    canvas.drawPath(path, stroke=0, fill=1)


def _write(canvas: Canvas, label: CodedLabel, room: float, bottom: float, top: float) -> None:
    """Write the words at the left, from the top, in a column of so many millimetres."""
    y = top * mm
    for line in _fitting(_words(label), room * mm, (top - bottom) * mm):
        canvas.setFont(line.font, line.points)
        canvas.drawString(EDGE * mm, y - line.points * 0.9, line.text)
        y -= line.high


def _words(label: CodedLabel) -> list[_Words]:
    """What a label says, in its order."""
    words = [_Words(label.head, 14, BOLD, 0)]
    if label.mind:
        words.append(_Words(label.mind, 8.5, BOLD, 1))
    if label.what:
        words.append(_Words(label.what, 8, PLAIN, 20))
    if label.size:
        words.append(_Words(label.size, 8, PLAIN, 9))
    words += [_Words(f"{name} {said}".strip(), 10, BOLD, 2 + rank) for rank, (name, said) in enumerate(label.facts)]
    words.append(_Words(str(label.code), 6.5, PLAIN, 10))
    return words


def _fitting(words: list[_Words], wide: float, high: float) -> list[_Line]:
    """The lines in the largest letters that have room; at the smallest, without what can be read elsewhere."""
    for scale in SCALES:
        lines = [line for one in words for line in _lines(one, max(SMALLEST, one.points * scale), wide)]
        if sum(line.high for line in lines) <= high:
            return lines
    while sum(line.high for line in lines) > high and (last := max(line.rank for line in lines)):
        lines = [line for line in lines if line.rank != last]
    return lines


def _lines(words: _Words, points: float, wide: float) -> list[_Line]:
    """The lines into which a text falls; a number that is too long goes on in the next line, never off the label."""

    def fits(text: str) -> bool:
        return bool(pdfmetrics.stringWidth(text.rstrip(), words.font, points) <= wide)

    lines = [""]
    for piece in re.findall(r"[^\s-]*-+|[^\s-]+\s*|\s+", words.text):
        if fits(lines[-1] + piece):
            lines[-1] += piece
            continue
        lines += [""] if lines[-1] else []
        for sign in piece:
            if not fits(lines[-1] + sign):
                lines.append("")
            lines[-1] += sign
    return [_Line(line.rstrip(), points, words.font, words.rank) for line in lines]

"""Papers for labels: sheets that are cut already, by what stands on their packet, and rolls."""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True)
class LabelPaper:
    """A sheet or roll in millimetres: the page, one label, where the first begins, and from one to the next.

    The sizes are common practice, from memory: shops measure theirs, and a first print on plain paper shows.
    """

    name: str
    says: str
    page: tuple[float, float]
    label: tuple[float, float]
    first: tuple[float, float]
    step: tuple[float, float]
    across: int
    down: int

    @property
    def on_a_page(self) -> int:
        """How many labels a page has."""
        return self.across * self.down

    def place(self, number: int) -> tuple[float, float]:
        """Return where the label of this number on a page begins, from the left and from the top; 0 is the first."""
        row, column = divmod(number, self.across)
        return self.first[0] + column * self.step[0], self.first[1] + row * self.step[1]


A4 = (210.0, 297.0)
LETTER = (8.5 * MM_PER_INCH, 11 * MM_PER_INCH)


def _sheet(
    name: str, page: tuple[float, float], across: int, down: int, size: tuple[float, float], gap: float
) -> LabelPaper:
    """Labels in the middle of a page, with a gap between columns and none between rows."""
    wide, high = size
    left = (page[0] - across * wide - (across - 1) * gap) / 2
    top = (page[1] - down * high) / 2
    paper = "A4" if page == A4 else "Letter"
    says = f"{paper}, {across * down} labels of {_mm(wide)} x {_mm(high)} mm"
    return LabelPaper(name, says, page, size, (left, top), (wide + gap, high), across, down)


def _roll(name: str, wide: float, high: float) -> LabelPaper:
    says = f"Roll, {_mm(wide)} x {_mm(high)} mm"
    return LabelPaper(name, says, (wide, high), (wide, high), (0.0, 0.0), (wide, high), 1, 1)


def _mm(length: float) -> str:
    return f"{length:.1f}".removesuffix(".0")


PAPERS = (
    _sheet("a4-21", A4, 3, 7, (63.5, 38.1), 2.5),
    _sheet("a4-24", A4, 3, 8, (70.0, 37.0), 0.0),
    _sheet("a4-14", A4, 2, 7, (99.1, 38.1), 2.5),
    _sheet("a4-8", A4, 2, 4, (99.1, 67.7), 2.5),
    _sheet("letter-30", LETTER, 3, 10, (2.625 * MM_PER_INCH, 1 * MM_PER_INCH), 0.125 * MM_PER_INCH),
    _sheet("letter-14", LETTER, 2, 7, (4 * MM_PER_INCH, 1.3333 * MM_PER_INCH), 0.1875 * MM_PER_INCH),
    _sheet("letter-10", LETTER, 2, 5, (4 * MM_PER_INCH, 2 * MM_PER_INCH), 0.1875 * MM_PER_INCH),
    _roll("roll-50x25", 50.0, 25.0),
    _roll("roll-57x32", 57.0, 32.0),
    _roll("roll-62x29", 62.0, 29.0),
    _roll("roll-76x51", 76.2, 50.8),
    _roll("roll-100x50", 100.0, 50.0),
)
PAPER_BY_NAME = {paper.name: paper for paper in PAPERS}

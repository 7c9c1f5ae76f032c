"""The size of a ring as it is written on a part: inside diameter by section, in inches or millimetres."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from kits.catalog.formats.in_force import MM, formats
from kits.catalog.reference import MM_PER_INCH

_LENGTH = re.compile(r"(?:(\d+)/(\d+)|(\d+(?:\.\d+)?))\s*(in|mm)", re.IGNORECASE)
_WRITTEN = re.compile(r"([\d.]+)\s*[x×]\s*([\d.]+)\s*(in|mm)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class RingSize:
    """Inside diameter and section in millimetres; ``metric`` says in which measure it was written."""

    inside_mm: float
    section_mm: float
    metric: bool

    @property
    def text(self) -> str:
        """Inch and millimetres beside each other, first the one that the shop wants first, else that of the part."""
        first = formats().sizes_first
        metric = first == MM if first else self.metric
        one, other = (self.millimetres, self.inches) if metric else (self.inches, self.millimetres)
        return f"{one} ({other})"

    @property
    def inches(self) -> str:
        """The size in inches alone."""
        per_inch = float(MM_PER_INCH)
        return formats().number(f"{self.inside_mm / per_inch:.3f} × {self.section_mm / per_inch:.3f} in")

    @property
    def millimetres(self) -> str:
        """The size in millimetres alone."""
        return formats().number(f"{self.inside_mm:.2f} × {self.section_mm:.2f} mm")


def in_both(text: str) -> str:
    """A size as the shop wrote it, in inch and in millimetres where it is a ring's, or one length."""
    size = written_size(text)
    return size.text if size else _length_in_both(text)


def _length_in_both(text: str) -> str:
    """One length, such as ``1/4 in`` of a ball or ``2.62 mm`` of cord; any other text stays as it is."""
    found = _LENGTH.fullmatch(text.strip())
    if found is None or (found[2] and not int(found[2])):
        return text
    length = Fraction(int(found[1]), int(found[2])) if found[1] else Fraction(found[3])
    metric, per_inch = found[4].lower() == "mm", Fraction(MM_PER_INCH)
    other = f"{float(length / per_inch):.3f} in" if metric else f"{float(length * per_inch):.2f} mm"
    one, other, first = formats().number(text.strip()), formats().number(other), formats().sizes_first
    return f"{other} ({one})" if first and (first == MM) != metric else f"{one} ({other})"


def written_size(text: str) -> RingSize | None:
    """Return the size that a text such as ``0.734 x 0.139 in`` gives, None where it is no ring's."""
    found = _WRITTEN.search(text)
    if found is None:
        return None
    metric = found[3].lower() == "mm"
    times = 1.0 if metric else float(MM_PER_INCH)
    try:
        return RingSize(float(found[1]) * times, float(found[2]) * times, metric)
    except ValueError:
        return None

"""The drawing of an assembly: its parts in assembly order as a strip of symbols."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from kits.planning.words.part_strip import DrawnPart
from kits.web.part_symbols import HEIGHT, WIDTH, symbol_of

register = template.Library()


@register.inclusion_tag("web/pieces/part_strip.html")
def part_strip(parts: Iterable[DrawnPart], label: str, *, spells_out: bool = True) -> dict[str, Any]:
    """The parts of one assembly, the first to be fitted on the left; ``label`` names it to a screen reader.

    ``spells_out`` says what each part is, where no table beside the drawing does so.
    """
    drawn = tuple(parts)
    return {
        "parts": [(part, symbol_of(part.kind, part.turned)) for part in drawn],
        "label": label,
        "spells_out": spells_out,
        "has_sides": any(part.turned for part in drawn),
        "box": f"{-WIDTH // 2} {-HEIGHT // 2} {WIDTH} {HEIGHT}",
        "half": WIDTH // 2,
    }

"""The drawing of an assembly: its parts in assembly order as a strip of symbols."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from bom.values import ONE
from kits.planning.words.part_strip import DrawnPart, DrawnPieces
from kits.web.part_symbols import HEIGHT, WIDTH, symbol_of

register = template.Library()
MOST_DRAWN = 4
"""Pieces of one part that are drawn one by one; more are one symbol and their number."""


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


@register.inclusion_tag("web/pieces/part_pieces.html")
def part_pieces(kind: str, groups: Iterable[DrawnPieces]) -> dict[str, Any]:
    """Pieces of one part side by side, some of each look; in words to a screen reader."""
    drawn = [(group, _one_by_one(group.pieces.millionths)) for group in groups if group.pieces]
    return {
        "groups": [(group, range(count or 1), not count) for group, count in drawn],
        "placed": symbol_of(kind),
        "box": f"{-WIDTH // 2} {-HEIGHT // 2} {WIDTH} {HEIGHT}",
    }


def _one_by_one(millionths: int) -> int:
    """How many pieces are drawn; 0 where there are too many, or what is measured."""
    pieces, rest = divmod(millionths, ONE)
    return pieces if not rest and pieces <= MOST_DRAWN else 0

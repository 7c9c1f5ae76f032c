"""Which ring was measured: the sizes of SAE AS568 and the shop's own that come near, several and never one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kits.catalog.models import Item
from kits.catalog.reference import MM_PER_INCH, o_ring_sizes
from kits.catalog.rings.sizes import RingSize, written_size

INSIDE_TOLERANCE_MM = 0.4
SECTION_TOLERANCE_MM = 0.1
FEWEST = 4
"""A ring that was in use has stretched, swollen or set: so many sizes are always offered."""
MOST = 40
SAME_MM = 0.015
"""Sizes that differ by less are one size, written once in inches and once in millimetres."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured, in millimetres, and how far off the measuring may be."""

    inside_mm: float
    section_mm: float
    inside_tolerance_mm: float = INSIDE_TOLERANCE_MM
    section_tolerance_mm: float = SECTION_TOLERANCE_MM


@dataclass(frozen=True, slots=True)
class Candidate:
    """A size that may have been meant, how far it is from what was measured, and the shop's rings of that size.

    ``dash`` is the number in SAE AS568, empty where the size is the shop's own; ``sure`` is False where only one of the
    listings used gives that size. ``within`` says that it lies within the tolerances.
    """

    dash: str
    sure: bool
    size: RingSize
    inside_off_mm: float
    section_off_mm: float
    within: bool
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class _Size:
    dash: str
    sure: bool
    size: RingSize
    inside_tolerance_mm: float
    section_tolerance_mm: float


def find_rings(measured: Measured) -> list[Candidate]:
    """Return the sizes near a measured ring, the nearest first; one statement."""
    items = [(item, size) for item in Item.objects.exclude(size="") if (size := written_size(item.size))]
    return candidates(measured, items)


def candidates(measured: Measured, items: Sequence[tuple[Item, RingSize]]) -> list[Candidate]:
    """Return the sizes near a measured ring, all within the tolerances, and never fewer than a few."""
    sizes = [*_standard_sizes(), *_own_sizes([size for _, size in items])]
    ranked = sorted(sizes, key=lambda one: (_distance(measured, one), one.dash))
    found = [_candidate(measured, one, items) for one in ranked]
    within = [one for one in found if one.within][:MOST]
    beyond = [one for one in found if not one.within]
    return within + beyond[: max(FEWEST - len(within), 0)]


def _standard_sizes() -> Iterable[_Size]:
    inch = float(MM_PER_INCH)
    for size in o_ring_sizes().values():
        yield _Size(
            size.dash,
            size.listings_agreeing > 1,
            RingSize(float(size.inside_diameter_in) * inch, float(size.section_in) * inch, metric=False),
            float(size.inside_tolerance_in) * inch,
            float(size.section_tolerance_in) * inch,
        )


def _own_sizes(sizes: Iterable[RingSize]) -> Iterable[_Size]:
    """The shop's sizes that are none of the standard, each once; nobody states their tolerances."""
    standard = [one.size for one in _standard_sizes()]
    own: list[RingSize] = []
    for size in sizes:
        if not any(is_same(size, other) for other in (*standard, *own)):
            own.append(size)
    return (_Size("", True, size, 0.0, 0.0) for size in own)


def is_same(one: RingSize, other: RingSize) -> bool:
    """Whether two sizes are one, however they are written."""
    return abs(one.inside_mm - other.inside_mm) < SAME_MM and abs(one.section_mm - other.section_mm) < SAME_MM


def _candidate(measured: Measured, one: _Size, items: Sequence[tuple[Item, RingSize]]) -> Candidate:
    inside_off, section_off = one.size.inside_mm - measured.inside_mm, one.size.section_mm - measured.section_mm
    return Candidate(
        dash=one.dash,
        sure=one.sure,
        size=one.size,
        inside_off_mm=inside_off,
        section_off_mm=section_off,
        within=abs(inside_off) <= measured.inside_tolerance_mm + one.inside_tolerance_mm
        and abs(section_off) <= measured.section_tolerance_mm + one.section_tolerance_mm,
        items=tuple(sorted((item for item, size in items if is_same(size, one.size)), key=lambda item: item.folded)),
    )


def _distance(measured: Measured, one: _Size) -> float:
    """How far off a size is, in tolerances: what is measured best counts most."""
    inside = (one.size.inside_mm - measured.inside_mm) / (measured.inside_tolerance_mm + one.inside_tolerance_mm)
    section = (one.size.section_mm - measured.section_mm) / (measured.section_tolerance_mm + one.section_tolerance_mm)
    return inside * inside + section * section

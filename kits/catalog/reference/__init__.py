"""Facts of open standards that the shop's lists are checked against: O-ring sizes and shelf lives by polymer.

README.md beside this file says where they come from.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from pathlib import Path
from types import MappingProxyType

MM_PER_INCH = Decimal("25.4")
HUNDREDTH = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class ORingSize:
    """One size of SAE AS568, in inches; ``listings_agreeing`` of the two listings used give it alike."""

    dash: str
    inside_diameter_in: Decimal
    inside_tolerance_in: Decimal
    section_in: Decimal
    section_tolerance_in: Decimal
    listings_agreeing: int

    @property
    def inside_diameter_mm(self) -> Decimal:
        """The inside diameter in millimetres, to hundredths as tables print it."""
        return _to_hundredths_mm(self.inside_diameter_in)

    @property
    def section_mm(self) -> Decimal:
        """The section in millimetres, to hundredths as tables print it."""
        return _to_hundredths_mm(self.section_in)


@dataclass(frozen=True, slots=True)
class ShelfLifeRule:
    """The shelf lives of one polymer under two standards.

    ``arp5316_years`` is a number or ``unlimited``, written as the sheet Items takes it. The years of ISO 2230 (first
    storage, and its extension after an inspection) are None where that standard has no group for the material.
    """

    polymer: str
    arp5316_years: str
    iso2230_group: str
    iso2230_first_years: int | None
    iso2230_extension_years: int | None


@cache
def o_ring_sizes() -> Mapping[str, ORingSize]:
    """Return the sizes of SAE AS568 by dash number, in the order of the standard."""
    sizes = {
        row["dash"]: ORingSize(
            row["dash"],
            Decimal(row["inside_diameter_in"]),
            Decimal(row["inside_tolerance_in"]),
            Decimal(row["section_in"]),
            Decimal(row["section_tolerance_in"]),
            int(row["listings_agreeing"]),
        )
        for row in _rows("as568.csv")
    }
    return MappingProxyType(sizes)


@cache
def shelf_life_rules() -> Mapping[str, ShelfLifeRule]:
    """Return the shelf lives by polymer code."""
    rules = {
        row["polymer"]: ShelfLifeRule(
            row["polymer"],
            row["arp5316_years"],
            row["iso2230_group"],
            _years(row["iso2230_first_years"]),
            _years(row["iso2230_extension_years"]),
        )
        for row in _rows("shelf_life.csv")
    }
    return MappingProxyType(rules)


def _rows(name: str) -> Iterator[dict[str, str]]:
    with (Path(__file__).parent / name).open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


def _years(text: str) -> int | None:
    return int(text) if text else None


def _to_hundredths_mm(inches: Decimal) -> Decimal:
    return (inches * MM_PER_INCH).quantize(HUNDREDTH, ROUND_HALF_UP)

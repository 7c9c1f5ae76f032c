"""Readings of a test: a number with a unit as it was typed, in the unit of the shop's limit.

``pint`` knows how the units hang together; what is typed is looked up, never evaluated.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Final

import pint

from kits.service.errors import ServiceRefusal
from kits.service.words import Checked

DEFINITIONS: Final = (
    "Pa = [pressure]",
    "kPa = 1000 * Pa",
    "MPa = 1000000 * Pa",
    "bar = 100000 * Pa",
    "psi = 6894.757293168361 * Pa",
    "min = [time]",
    "s = min / 60",
    "h = 60 * min",
    "mL = [volume]",
    "L = 1000 * mL",
    "drops = [drops]",
    "cycles = [cycles]",
)
"""A pound-force per square inch in pascals: 4.448 221 615 260 5 N (NIST SP 811) over 0.0254 m squared."""

PRESSURES: Final = ("bar", "psi", "MPa", "kPa")
LEAKS: Final = ("drops/min", "mL/min", "mL/h", "drops", "mL")
UNITS: Final = {
    Checked.STALL: PRESSURES,
    Checked.HELD: ("min", "s", "h"),
    Checked.FALL: PRESSURES,
    Checked.LEAK_OUT: LEAKS,
    Checked.LEAK_IN: LEAKS,
    Checked.CYCLES: ("cycles/min", "cycles"),
}
"""The units in which a shop may have each limit, the usual one first."""

TYPED = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(\S.*)?", re.ASCII)


def _build() -> pint.UnitRegistry[Decimal]:
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(None, non_int_type=Decimal, cache_folder=None)
    for definition in DEFINITIONS:
        registry.define(definition)
    return registry


# Built while the module loads: a registry that is filled on first use is not safe between threads.
_REGISTRY: Final = _build()
_KNOWN: Final = {unit: _REGISTRY.parse_units(unit) for units in UNITS.values() for unit in units}
_NAMES: Final = {unit.casefold(): unit for unit in _KNOWN}


def unit_for(check_of: Checked, text: str) -> str:
    """Return the unit that is meant, in which this check can be read; refuse any other."""
    unit = _NAMES.get("".join(text.split()).casefold())
    if unit is None or unit not in UNITS[check_of]:
        raise ServiceRefusal(
            f"“{text}” is no unit for {check_of.label.lower()}: write one of {', '.join(UNITS[check_of])}."
        )
    return unit


def read_measure(check_of: Checked, text: str, unit: str) -> Decimal:
    """Return what was typed in a unit; without a unit of its own it is in that unit already."""
    found = TYPED.fullmatch(text)
    if found is None or re.fullmatch(r"\d+,\d{3}", found[1]):
        raise ServiceRefusal(
            f"“{text}” is no reading of {check_of.label.lower()}: write a number such as 12.5, "
            f"in {unit} or with another unit behind it."
        )
    try:
        number = Decimal(found[1].replace(",", "."))
    except InvalidOperation:  # pragma: no cover - the pattern lets numbers only through
        raise ServiceRefusal(f"“{text}” is no number.") from None
    typed = unit_for(check_of, found[2]) if found[2] else unit
    if typed == unit:
        return _fitting(number, text)
    try:
        value: Decimal = _REGISTRY.Quantity(number, _KNOWN[typed]).to(_KNOWN[unit]).magnitude
    except pint.DimensionalityError:
        raise ServiceRefusal(
            f"“{text}” cannot be told in {unit}, in which the shop has its limit for {check_of.label.lower()}: "
            f"read it off in {unit}."
        ) from None
    return _fitting(value.quantize(Decimal("0.000001")), text)


def _fitting(number: Decimal, text: str) -> Decimal:
    if number >= 10**10 or number != number.quantize(Decimal("0.000001")):
        raise ServiceRefusal(f"“{text}” is more exact or larger than any gauge: check what was typed.")
    return number

"""Units of stock, and the exact way from a typed quantity to whole millionths of the stock unit.

``pint`` knows the units and their dimensions; the factors are taken from it once, as exact fractions, because a decimal
division (25.4 mm in inches) is not exact. Typed text is only ever looked up, never evaluated.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Final

import pint

from bom.errors import QuantityError, UnitError
from bom.values import ONE

DEFINITIONS: Final = (
    "each = [count]",
    "m = [length]",
    "cm = 0.01 * m",
    "mm = 0.001 * m",
    "in = 25.4 * mm",
    "ft = 12 * in",
    "g = [mass]",
    "kg = 1000 * g",
    "L = [capacity]",
    "mL = 0.001 * L",
)
"""The units a shop counts and measures its stock in; inch and foot are exact (NIST SP 811, appendix B.8)."""

ALIASES: Final = {
    "each": ("ea", "pc", "pce", "pcs", "piece", "pieces"),
    "m": ("mtr", "metre", "meter"),
    "cm": ("cmt",),
    "mm": ("mmt",),
    "in": ("inh", "inch"),
    "ft": ("fot", "foot", "feet"),
    "g": ("grm",),
    "kg": ("kgm",),
    "L": ("ltr", "litre", "liter"),
    "mL": ("mlt",),
}
"""Other spellings, the codes of UN/ECE Recommendation 20 among them; case does not matter."""

DECIMALS: Final = 6
LARGEST: Final = 2**63 - 1


def _build() -> dict[str, tuple[Fraction, str]]:
    """Return of every unit how many base units it is, and its dimension."""
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(None, non_int_type=Decimal, cache_folder=None)
    for definition in DEFINITIONS:
        registry.define(definition)
    units = {}
    for name in ALIASES:
        factor, _ = registry.get_base_units(name)
        units[name] = (Fraction(str(factor)), str(registry.get_dimensionality(name)))
    return units


# Built while the module loads: a registry that is filled on first use is not safe between threads.
_UNITS: Final = _build()
_NAMES: Final = {spelling.casefold(): name for name, others in ALIASES.items() for spelling in (name, *others)}
UNIT_NAMES: Final = tuple(_UNITS)
"""The units by their own names, as sheets write them."""


def unit_named(text: str) -> str:
    """Return the unit that ``text`` means, by its own name.

    Parameters
    ----------
    text : as it was typed

    Raises
    ------
    UnitError
        If no unit is spelled so.

    Examples
    --------
    >>> unit_named("EA"), unit_named(" MLT ")
    ('each', 'mL')
    """
    name = _NAMES.get(text.strip().casefold())
    if name is None:
        raise UnitError(f"The unit '{text}' is not known: write one of {', '.join(UNIT_NAMES)}.")
    return name


def to_millionths(quantity: Decimal, unit: str, stock_unit: str) -> int:
    """Convert a typed quantity into whole millionths of the stock unit, exactly or not at all.

    The sign is kept: whether a quantity may be negative or nil is for the caller to say.

    Parameters
    ----------
    quantity : as it was typed
    unit : in which it was typed
    stock_unit : of the item

    Raises
    ------
    UnitError
        If a unit is unknown, or the two measure different things.
    QuantityError
        If the quantity is no number, needs more than six decimals, is no whole number of pieces, or is too large.

    Examples
    --------
    >>> to_millionths(Decimal("25.4"), "mm", "in")
    1000000
    """
    name, stock_name = unit_named(unit), unit_named(stock_unit)
    factor, dimension = _UNITS[name]
    stock_factor, stock_dimension = _UNITS[stock_name]
    if dimension != stock_dimension:
        raise UnitError(
            f"The unit '{unit}' does not measure what the stock unit '{stock_name}' measures: "
            f"write {_names_of(stock_dimension)}."
        )
    if not quantity.is_finite():
        raise QuantityError(f"The quantity '{quantity}' is not a number: write how many {stock_name}.")
    if quantity == 0:
        return 0
    _refuse_extremes(quantity, stock_name)
    millionths = Fraction(quantity) * factor / stock_factor * ONE
    if stock_name == "each" and millionths % ONE:
        raise QuantityError(
            f"The quantity {quantity} is no whole number: '{stock_name}' is counted, so write whole pieces."
        )
    if millionths.denominator != 1:
        raise QuantityError(
            f"The quantity {quantity} {name} needs more than {DECIMALS} decimals in {stock_name}: round it, "
            "or choose a smaller stock unit."
        )
    if abs(millionths.numerator) > LARGEST:
        raise _too_large(quantity, stock_name)
    return millionths.numerator


def from_millionths(millionths: int) -> Decimal:
    """Return millionths of the stock unit as a plain number of stock units, without trailing zeros.

    Parameters
    ----------
    millionths : of the stock unit

    Examples
    --------
    >>> from_millionths(1_500_000), from_millionths(20_000_000)
    (Decimal('1.5'), Decimal('20'))
    """
    whole, rest = divmod(abs(millionths), ONE)
    sign = "-" if millionths < 0 else ""
    return Decimal(f"{sign}{whole}.{rest:0{DECIMALS}d}".rstrip("0").rstrip("."))


def _refuse_extremes(quantity: Decimal, stock_name: str) -> None:
    """Refuse by size what a fraction could only hold in gigabytes of digits, such as 1E+999999999."""
    if quantity.adjusted() > 2 * len(str(LARGEST)):
        raise _too_large(quantity, stock_name)
    digits, exponent = quantity.as_tuple().digits, quantity.as_tuple().exponent
    zeros_at_the_end = len(digits) - len("".join(map(str, digits)).rstrip("0"))
    # No two units lie so far apart that a digit this far behind the point could end within the decimals allowed.
    if isinstance(exponent, int) and exponent + zeros_at_the_end < -4 * DECIMALS:
        raise QuantityError(f"The quantity {quantity} needs more than {DECIMALS} decimals in {stock_name}: round it.")


def _too_large(quantity: Decimal, stock_name: str) -> QuantityError:
    largest = LARGEST // ONE
    return QuantityError(
        f"The quantity {quantity} is too large: stock is kept up to {largest} {stock_name}, so check it."
    )


def _names_of(dimension: str) -> str:
    return " or ".join(name for name, (_, measured) in _UNITS.items() if measured == dimension)

"""Units and their codes against their standards."""

from decimal import Decimal

import pytest

from bom.errors import UnitError
from bom.structure.units import from_millionths, to_millionths, unit_named


@pytest.mark.parametrize(
    ("unit", "stock_unit", "factor"),
    [("in", "mm", "25.4"), ("in", "cm", "2.54"), ("ft", "m", "0.3048"), ("ft", "in", "12")],
)
def test_inch_and_foot_are_exact(unit, stock_unit, factor):
    # NIST Special Publication 811, appendix B.8: the inch is 25.4 mm exactly.
    assert from_millionths(to_millionths(Decimal(1), unit, stock_unit)) == Decimal(factor)


@pytest.mark.parametrize(
    ("code", "unit"),
    [("EA", "each"), ("MTR", "m"), ("MMT", "mm"), ("INH", "in"), ("FOT", "ft"), ("GRM", "g"), ("KGM", "kg"),
     ("MLT", "mL"), ("LTR", "L")],
)  # fmt: skip
def test_unit_codes(code, unit):
    # UN/ECE Recommendation 20.
    assert unit_named(code) == unit


@pytest.mark.parametrize("code", ["PR", "SET"])
def test_a_pair_and_a_set_are_no_stock_units(code):
    # Codes of UN/ECE Recommendation 20 too, but they do not say what is counted: such a line is entered in pieces.
    with pytest.raises(UnitError, match="not known"):
        unit_named(code)

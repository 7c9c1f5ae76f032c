from decimal import ROUND_DOWN, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bom.errors import QuantityError, UnitError
from bom.structure.units import ALIASES, from_millionths, to_millionths, unit_named
from bom.values import ONE

METRES = {"m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000), "in": Fraction(254, 10000)}
METRES["ft"] = 12 * METRES["in"]
INT64 = st.integers(-(2**63) + 1, 2**63 - 1)


@pytest.mark.parametrize(
    ("quantity", "unit", "stock_unit", "millionths"),
    [
        ("3", "each", "each", 3_000_000),
        ("3.000", "EA", "each", 3_000_000),
        ("2.5", "m", "mm", 2_500_000_000),
        ("8400", "mm", "mm", 8_400_000_000),
        ("3", "in", "mm", 76_200_000),
        ("25.4", "mm", "in", 1_000_000),
        ("1", "ft", "m", 304_800),
        ("30.48", "cm", "ft", 1_000_000),
        ("0.25", "kg", "g", 250_000_000),
        ("1", "g", "kg", 1_000),
        ("5", "mL", "L", 5_000),
        ("-1.5", "L", "mL", -1_500_000_000),
        ("0E-999999999", "mm", "mm", 0),
        ("1E+3", "each", "each", 1_000_000_000),
        ("1.00000000000000000000000000000000000000000", "each", "each", 1_000_000),
    ],
)
def test_a_quantity_is_converted_exactly(quantity, unit, stock_unit, millionths):
    assert to_millionths(Decimal(quantity), unit, stock_unit) == millionths


@pytest.mark.parametrize(
    ("text", "name"),
    [("EA", "each"), ("pc", "each"), ("PCE", "each"), (" Each ", "each"), ("MTR", "m"), ("M", "m"), ("MMT", "mm"),
     ("INH", "in"), ("IN", "in"), ("FOT", "ft"), ("GRM", "g"), ("KGM", "kg"), ("MLT", "mL"), ("ml", "mL"), ("LTR", "L"),
     ("l", "L")],
)  # fmt: skip
def test_another_spelling_means_the_same_unit(text, name):
    assert unit_named(text) == name


def test_no_spelling_means_two_units():
    spellings = [spelling.casefold() for name, others in ALIASES.items() for spelling in (name, *others)]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize(
    "text", ["", "furlong", "mm2", "mm*mm", "each**99999999", "2 mm", "m m", "psi", "SET", "PR", "[length]"]
)
def test_an_unknown_unit_is_refused_and_never_evaluated(text):
    with pytest.raises(UnitError, match="each, m, cm, mm") as refusal:
        to_millionths(Decimal(1), text, "mm")
    assert f"'{text}'" in str(refusal.value)
    with pytest.raises(UnitError):
        unit_named(text)


@pytest.mark.parametrize(
    ("unit", "stock_unit", "remedy"),
    [
        ("mm", "each", "write each"),
        ("each", "mm", "write m or cm or mm"),
        ("g", "mL", "write L or mL"),
        ("L", "kg", "write g"),
    ],
)
def test_a_unit_of_another_dimension_is_refused(unit, stock_unit, remedy):
    with pytest.raises(UnitError, match=remedy):
        to_millionths(Decimal(1), unit, stock_unit)


@pytest.mark.parametrize("quantity", ["NaN", "sNaN", "Infinity", "-Infinity"])
def test_what_is_no_number_is_refused(quantity):
    with pytest.raises(QuantityError, match="not a number"):
        to_millionths(Decimal(quantity), "each", "each")


@pytest.mark.parametrize("quantity", ["0.5", "1.000001", "0.0000001", "1E-999999999"])
def test_a_part_of_a_piece_is_refused(quantity):
    with pytest.raises(QuantityError, match=r"whole pieces|decimals"):
        to_millionths(Decimal(quantity), "each", "each")


@pytest.mark.parametrize(
    ("quantity", "unit", "stock_unit"),
    [
        ("0.0000001", "mm", "mm"),
        ("1", "mm", "in"),
        ("0.001", "mL", "kg"),
        ("0.0001", "mm", "m"),
        ("1E-999999999", "m", "mm"),
    ],
)
def test_more_than_six_decimals_are_refused(quantity, unit, stock_unit):
    with pytest.raises((QuantityError, UnitError), match=r"more than 6 decimals|does not measure"):
        to_millionths(Decimal(quantity), unit, stock_unit)


@pytest.mark.parametrize("quantity", ["9223372036854.775808", "1E+13", "1E+40", "1E+999999999", "-1E+999999999"])
def test_what_does_not_fit_is_refused(quantity):
    with pytest.raises(QuantityError, match="too large"):
        to_millionths(Decimal(quantity), "mm", "mm")


def test_the_largest_quantity_still_fits():
    assert to_millionths(Decimal("9223372036854.775807"), "mm", "mm") == 2**63 - 1


def test_a_number_is_shown_plainly():
    assert [str(from_millionths(n)) for n in (0, 1, -1, ONE, 20 * ONE, -2_500_000)] == [
        "0", "0.000001", "-0.000001", "1", "20", "-2.5",
    ]  # fmt: skip


@given(INT64)
def test_millionths_come_back_as_they_went(millionths):
    with localcontext(prec=3, rounding=ROUND_DOWN):  # the precision of the thread must not matter
        assert to_millionths(from_millionths(millionths), "mm", "mm") == millionths


@given(
    st.decimals(allow_nan=False, allow_infinity=False), st.sampled_from(sorted(METRES)), st.sampled_from(sorted(METRES))
)
def test_lengths_agree_with_fractions_or_are_refused(quantity, unit, stock_unit):
    exact = Fraction(quantity) * METRES[unit] / METRES[stock_unit] * ONE
    if exact.denominator == 1 and abs(exact) < 2**63:
        assert to_millionths(quantity, unit, stock_unit) == exact
    else:
        with pytest.raises(QuantityError):
            to_millionths(quantity, unit, stock_unit)

"""What holds for every cell: texts come back as they went, numbers read the same however they are written."""

import string
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kits.exchange.columns.catalog_layouts import ITEMS, STRUCTURE
from kits.exchange.columns.stock_layouts import LOTS, ORDERS
from kits.exchange.columns.values import cell_value
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.days import read_day
from kits.exchange.reading.cells.known_marks import KnownMarks, days_read_into
from kits.exchange.reading.cells.marks import read_mark
from kits.exchange.reading.cells.numbers import read_number

NOTHING = KnownMarks()
MARKS = st.text(string.ascii_letters + string.digits + "-/.+*#()=@_", min_size=1, max_size=30)
NUMBERS = st.decimals(min_value=0, max_value=999_999, places=2)


@given(MARKS)
def test_a_mark_typed_as_text_comes_back_exactly_as_it_went(mark):
    cell = Cell(mark, LOTS.column("lot"), NOTHING)
    assert read_mark(cell) == mark
    assert not cell.notes


@given(MARKS, st.sampled_from(["\u00a0", " ", "\t", "\u200b"]))
def test_stray_spaces_never_make_another_mark(mark, space):
    assert read_mark(Cell(f"{space}{mark}{space}", LOTS.column("lot"), NOTHING)) == mark


@given(st.from_regex(r"0{1,3}[1-9][0-9]{0,5}", fullmatch=True))
def test_a_lost_zero_is_always_offered(mark):
    with pytest.raises(CellRefused) as refused:
        read_mark(Cell(int(mark), ITEMS.column("part_number"), KnownMarks([mark])))
    assert refused.value.remedy.endswith(f"it may be {mark}")


@given(
    st.dates(date(2000, 1, 1), date(2049, 12, 31)),
    st.sampled_from(["{d}-{m}", "{m}/{d}", "{d}.{m}.{y}", "{y}-{m}-{d}", "{m}-{y}"]),
)
def test_a_mark_that_may_be_a_day_is_offered_for_that_day(day, form):
    mark = form.format(d=day.day, m=day.month, y=day.year)
    assume(form != "{m}-{y}" or day.day == 1)
    assert days_read_into(mark)
    assert mark in KnownMarks([mark, "OR-1"]).read_as_day(day)


def written(number, thousands, point):
    whole, _, rest = f"{number:.2f}".partition(".")
    groups = []
    while whole:
        groups.insert(0, whole[-3:])
        whole = whole[:-3]
    return thousands.join(groups) + point + rest


@given(NUMBERS, st.sampled_from([(",", "."), (".", ","), (" ", "."), (" ", ","), ("'", "."), ("", "."), ("", ",")]))
def test_a_number_reads_the_same_whichever_marks_separate_it(number, marks):
    cell = Cell(written(number, *marks), STRUCTURE.column("quantity"), NOTHING)
    assert read_number(cell) == number


@given(st.integers(1, 999), st.integers(0, 999))
def test_a_comma_before_three_digits_is_never_guessed(whole, rest):
    with pytest.raises(CellRefused) as refused:
        read_number(Cell(f"{whole},{rest:03d}", STRUCTURE.column("quantity"), NOTHING))
    assert refused.value.remedy == f"write {whole}.{rest:03d} or {whole}{rest:03d}"


@given(st.floats(0.000001, 1e9, allow_nan=False).map(lambda value: round(value, 6)))
def test_a_number_cell_keeps_its_decimals(value):
    assert read_number(Cell(value, STRUCTURE.column("quantity"), NOTHING)) == Decimal(format(value, ".15g"))


@given(st.dates(date(1980, 1, 1), date(2099, 12, 31)))
def test_a_day_is_read_from_what_is_written_for_it(day):
    column = ORDERS.column("promised")
    assert read_day(Cell(cell_value(column, day), column, NOTHING)) == day
    assert read_day(Cell(day.isoformat(), column, NOTHING)) == day

"""Dates of GS1 barcodes; python-stdnum is the second opinion."""

import pytest
from stdnum import gs1_128

from bom.structure.shelf_life import parse_use_by


@pytest.mark.parametrize("month", range(1, 13))
def test_a_use_by_month_agrees_with_a_barcode_that_leaves_the_day_open(month):
    # GS1 General Specifications, application identifier 17: day 00 is the last day of the month.
    assert gs1_128.info(f"1728{month:02d}00")["17"] == parse_use_by(f"2028-{month:02d}")

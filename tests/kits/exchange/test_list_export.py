import csv
import io
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from openpyxl import load_workbook

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.exchange.workbooks.list_export import ListColumn, list_as_csv, list_as_workbook


@dataclass(frozen=True)
class Pieces:
    number: str
    quantity: Amount
    last_use_on: date | None = None
    at: datetime | None = None


COLUMNS = (
    ListColumn("part", "Part", lambda row: row.number),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("at", "When", lambda row: row.at),
)
ROWS = (
    Pieces("0012", Amount(2_500_000, "mm"), date(2026, 3, 4), datetime(2026, 3, 4, 9, 5, tzinfo=UTC)),
    Pieces("=1+1", Amount(12 * ONE)),
    Pieces("-3 ring", Amount(0)),
)


def test_text_holds_what_the_page_holds_and_starts_no_formula():
    rows = list(csv.reader(io.StringIO(list_as_csv(COLUMNS, ROWS).decode("utf-8-sig"))))
    assert rows == [
        ["Part", "Quantity", "Last use", "When"],
        ["0012", "2.5", "2026-03-04", "2026-03-04 09:05"],
        ["'=1+1", "12", "", ""],
        ["'-3 ring", "0", "", ""],
    ]


@pytest.mark.parametrize("title", ["Moves of 1/2 [all]", "Lots: everything that lies anywhere in the storeroom"])
def test_workbook_holds_numbers_as_numbers_and_texts_as_texts(title):
    sheet = load_workbook(io.BytesIO(list_as_workbook(title, COLUMNS, ROWS))).active
    assert [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)] == [
        ["0012", 2.5, datetime(2026, 3, 4), "2026-03-04 09:05"],
        ["=1+1", 12, None, None],
        ["-3 ring", 0, None, None],
    ]
    assert sheet["A3"].data_type == "s"
    assert isinstance(sheet["B2"].value, (int, float, Decimal))

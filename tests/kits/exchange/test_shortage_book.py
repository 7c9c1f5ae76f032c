"""The shortage workbook: real tables, totals that any program works out to the same figures, text that stays text."""

import io
import re
from datetime import date, datetime
from functools import cache

import openpyxl
import pytest
from openpyxl.utils import column_index_from_string

from bom.answers.rows import as_json
from kits.catalog.models import Item, Substitute
from kits.exchange.workbooks.shortage_book import SHEETS, column_of, shortage_workbook
from kits.planning.queries import plan_now
from kits.purchasing.models import Offer, Supplier

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 4)


@pytest.fixture(scope="module")
def demo(demo_shop):
    """The workbook of the demo shop, which is written and opened once for all tests that only read it."""
    return write()


def write(supplier=None, batch=None):
    made = plan_now(DAY)
    return shortage_workbook(made, as_json(made, batch), supplier)


@cache
def opened(content, *, results):
    return openpyxl.load_workbook(io.BytesIO(content), data_only=results)


def table_rows(sheet):
    """The rows of the one table of a sheet, as dictionaries."""
    (table,) = sheet.tables.values()
    head, *rows = [[cell.value for cell in row] for row in sheet[table.ref]]
    return [dict(zip(head, row, strict=True)) for row in rows]


def shortages_in(content):
    """The rows of its first sheet by key, without opening the three thousand figures beside it."""
    sheet = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)["Shortages"]
    head, *rows = sheet.iter_rows(min_row=7, values_only=True)
    return {row[head.index("Key")]: dict(zip(head, row, strict=True)) for row in rows}


def test_every_sheet_has_a_real_table_with_filters_that_prints_one_page_wide(demo):
    book = opened(demo, results=False)
    assert book.sheetnames == list(SHEETS)
    for sheet in book.worksheets[:-1]:
        (table,) = sheet.tables.values()
        head = int("".join(mark for mark in table.ref.split(":")[0] if mark.isdigit()))
        assert table.autoFilter.ref == table.ref
        assert sheet.freeze_panes.endswith(str(head + 1))
        assert sheet.print_title_rows == f"${head}:${head}"
        assert (sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (
            "landscape",
            1,
            0,
        )
        assert sheet.sheet_properties.pageSetUpPr.fitToPage


def test_what_is_printed_is_legible_on_one_page_wide(demo):
    """Some 200 characters side by side are about seven points on paper's long side; 220 are more than six."""
    book = opened(demo, results=False)
    for sheet in book.worksheets[:-1]:
        printed = sheet.print_area.split("!")[-1] if sheet.print_area else sheet.dimensions
        last = re.search(r":\$?([A-Z]+)", printed).group(1)
        letters = [cell.column_letter for cell in sheet[1][: column_index_from_string(last)]]
        assert sum(sheet.column_dimensions[one].width for one in letters) <= 220, sheet.title
    words = [cell.value for cell in book["Shortages"][7]]
    printed = words[: words.index("Reply: note") + 1]
    assert {"Our number", "For", "Short", "Suggested packs", "Supplier", "Order by", "Advice", "Certificate"} <= {
        *printed
    }


def test_sure_needs_come_first_and_wear_has_a_total_of_its_own(demo):
    sheet = opened(demo, results=True)["Shortages"]
    rows = table_rows(sheet)
    assert [row["For"] for row in rows] == sorted((row["For"] for row in rows), key=("sure", "top-up", "wear").index)
    totals = {sheet.cell(row, 1).value: sheet.cell(row, 6).value for row in range(2, 6)}
    ask = "only if found worn: ask first"
    assert totals["Sure needs"] == sum(row["Extension"] for row in rows if row["For"] == "sure") == 840.5
    wear = sum(row["Extension"] for row in rows if row["For"] == "wear" and row["Advice"] != ask)
    assert totals["Wear, to be ordered or decided after the strip-down"] == wear
    asked = sum(row["Extension"] for row in rows if row["Advice"] == ask)
    assert totals["Wear, only if found: ask first, in no total"] == asked > 0


def test_a_line_says_what_to_buy_by_when_and_for_whom(demo):
    rows = {row["Key"]: row for row in table_rows(opened(demo, results=True)["Shortages"])}
    ring = rows["OR-011-F75X / sure"]
    assert ring["Description"] == "O-ring 011, check valve, small, oxygen-clean"
    assert (ring["Compound"], ring["Hardness"], ring["Short"]) == ("FKM", "75 A", 2)
    assert (ring["Pack"], ring["Minimum packs"], ring["Suggested packs"], ring["Over after packs"]) == (5, 2, 2, 8)
    assert (ring["Supplier"], ring["Extension"], ring["Price per pack"]) == ("Norrvik Seals", 84, 42)
    assert ring["First need"] == datetime(2026, 3, 23)
    assert (ring["Jobs blocked"], ring["Certificate"]) == ("J-3110", "yes")
    assert ring["Left out and why"].startswith("5 in opened bags")
    seat = rows["SE-M / sure"]
    assert seat["Promises"] == "10 on PO-7104 line 1, 2026-03-27"
    assert rows["CS-34-U / sure"]["Oldest cure quarter"] == "2Q2021"
    assert all(row[name] is None for row in rows.values() for name in row if name.startswith("Reply"))


def test_substitutes_stand_beside_the_line(demo):
    Substitute.objects.create(
        item=Item.objects.get(part_number="SE-M"), substitute=Item.objects.get(part_number="SE-S"), direction="both"
    )
    assert shortages_in(write())["SE-M / sure"]["Substitutes"] == "SE-S (not approved yet)"


def test_how_each_number_came_about_is_listed_by_job(demo):
    rows = table_rows(opened(demo, results=True)["How worked out"])
    found = [row for row in rows if (row["Our number"], row["Job"]) == ("BR-112", "J-3106")]
    assert [(row["How it comes about"], row["Quantity"], row["Kit"]) for row in found] == [
        ("2 per E12 × 2 E12 × 2 pumps = 8", 8, "K-E12N")
    ]


def test_every_figure_of_a_part_is_taken_apart(demo):
    rows = table_rows(opened(demo, results=True)["Figures"])
    found = [row for row in rows if row["Our number"] == "BR-112"]
    told = {figure: [row["How it comes about"] for row in found if row["Figure"] == figure] for figure in FIGURES}
    assert told == {
        "Left out of the stock": ["Left out of the stock: 4", "    in quarantine: 4", "        lot NV-T44, at Q1: 4"],
        "Packs": ["Packs: 1 (2 in packs of 10)"],
        "Order by": [
            "Order by: 9 Mar = 16 Mar less 5 working days",
            "    needed: 16 Mar (the first of these days)",
            "        J-3106 needs it: 16 Mar",
            "        J-3112 needs it: 25 Mar",
            "    lead time: 5 working days",
        ],
    }
    assert [row["Quantity"] for row in found if row["Figure"] == "On hand"] == [3, 3]


FIGURES = ("Left out of the stock", "Packs", "Order by")


def test_broken_promises_and_late_orders_stand_together(demo):
    rows = table_rows(opened(demo, results=True)["Expedite"])
    assert [row["Why"] for row in rows if row["Order"] == "PO-7102"] == ["the promise is broken"]
    late = next(row for row in rows if (row["Order"], row["Our number"]) == ("PO-7104", "SE-M"))
    assert (late["Quantity"], late["Promised"], late["Here on, if bought today"]) == (
        4,
        datetime(2026, 3, 27),
        datetime(2026, 3, 20),
    )


def test_an_order_that_covers_wear_late_is_to_be_called_about(demo):
    (row,) = [row for row in table_rows(opened(demo, results=True)["Expedite"]) if row["Why"] == "covers wear late"]
    assert (row["Order"], row["Our number"], row["Quantity"], row["Working days late"]) == ("PO-7104", "CG-S", 3, 5)


def test_the_chance_of_wear_stands_beside_what_it_was_worked_out_from(demo):
    """Twelve balls lie here and three are sure: the 3 % are those of the nine that are left."""
    rows = {row["Key"]: row for row in table_rows(opened(demo, results=True)["Shortages"])}
    ball = rows["BA-716 / wear"]
    assert (ball["Usable on hand"], ball["Left for wear"]) == (12, 9)
    assert ball["Chance that this is enough"] == pytest.approx(0.0275, abs=5e-5)
    assert rows["SE-M / sure"]["Chance that this is enough"] is None


def test_a_price_break_that_saves_stands_in_the_line_with_its_saving(demo):
    """Three bags of seats are 180.00; from four bags on they are 45.00 each, which are 180.00, or 44.00: 176.00."""
    offer = Offer.objects.get(item__part_number="SE-M", price_from_packs=4)
    for price, told in ((45, (None, None, None)), (44, (4, 176, 4))):
        Offer.objects.filter(pk=offer.pk).update(price_per_pack=price)
        seat = shortages_in(write())["SE-M / sure"]
        assert tuple(seat[f"Next break, {fact}"] for fact in ("packs", "price in all", "saves")) == told


def test_a_supplier_gets_only_his_lines(demo):
    content = write(supplier="Norrvik Seals")
    rows = table_rows(opened(content, results=True)["Shortages"])
    assert rows
    assert {row["Supplier"] for row in rows} == {"Norrvik Seals"}
    assert opened(content, results=True)["Shortages"]["F2"].value == sum(
        row["Extension"] for row in rows if row["For"] == "sure"
    )


def test_every_formula_has_its_result_stored(demo):
    content = demo
    formulas, values = opened(content, results=False), opened(content, results=True)
    found = [
        (sheet.title, cell.coordinate)
        for sheet in formulas
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    ]
    assert len(found) == 8
    assert all(values[sheet][cell].value is not None for sheet, cell in found)


def test_a_text_is_never_a_formula(demo):
    evil = '=HYPERLINK("http://example.com")'
    Item.objects.filter(part_number="SE-M").update(description=evil, maker_number="+1", maker_code="@x")
    Supplier.objects.filter(supplier="Fernhope Turned Parts").update(supplier="-1+1")
    book = opened(write(), results=False)
    texts = [
        cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value in (evil, "+1", "@x", "-1+1")
    ]
    assert len(texts) > 3
    assert {cell.data_type for cell in texts} == {"s"}


def test_nothing_short_is_said_in_a_sentence(demo):
    sheet = opened(write(supplier="nobody"), results=True)["Shortages"]
    assert not sheet.tables
    assert sheet["A8"].value == "Nothing is short."
    assert [sheet.cell(row, 6).value for row in range(2, 6)] == [0, 0, 0, 0]


def test_only_the_shown_batch_stands_in_the_book(demo):
    book = opened(write(batch="Easter stop"), results=True)
    assert {row["Batch"] for row in table_rows(book["Jobs"]) if row["Batch"]} == {"Easter stop"}
    assert {row["Job"] for row in table_rows(book["How worked out"])} <= {
        f"J-31{number}" for number in range(14, 25)
    } | {None, "VAN-01"}


def test_the_dates_and_numbers_are_dates_and_numbers(demo):
    sheet = opened(demo, results=False)["Shortages"]
    need, extension = column_of("First need"), column_of("Extension")
    assert sheet[f"{need}8"].is_date
    assert (sheet[f"{need}8"].number_format, sheet[f"{extension}8"].number_format) == ("yyyy-mm-dd", "#,##0.00")


def test_whole_amounts_stand_without_a_point_behind_them(demo):
    """In #,##0.###### a spreadsheet program leaves the point when nothing follows: 5. (from memory)."""
    sheet = opened(demo, results=False)["Shortages"]
    need = column_of("Need, sure")
    cells = [cell for (cell,) in sheet[f"{need}8:{need}{sheet.max_row}"] if cell.value is not None]
    assert len(cells) > 10
    for cell in cells:
        assert cell.number_format == ("#,##0" if cell.value == int(cell.value) else "#,##0.######")
    assert sheet[f"{column_of('Reply: quantity')}8"].number_format == "General"

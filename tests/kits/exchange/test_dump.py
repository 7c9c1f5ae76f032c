"""What is written out comes back as it was, and gives the same plan."""

import csv
import io
import json
import zipfile
from datetime import date

import openpyxl
import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from bom.answers.rows import as_json
from bom.plan import plan
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item, Setting
from kits.exchange.actions import check_files, load_files
from kits.exchange.columns.catalog_layouts import ITEMS
from kits.exchange.columns.layouts import BY_NAME, LAYOUTS
from kits.exchange.columns.sheet_text import SheetRows, quote_formula, unquote_formula, write_text
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.workbooks.dump import dump_texts, dump_workbook, read_rows
from kits.exchange.workbooks.sheet_writer import write_workbook
from kits.planning.snapshot.shop import take_snapshot
from kits.stock.models import Movement, Posting
from tests.keeping import taken_back
from tests.kits.exchange.books import AT, FIXTURES, SHOP, items, load_sheets, text_file
from tests.kits.exchange.test_loading import ISSUED
from tests.kits.kept_rows import load_once, stored
from tests.kits.web.shops import load_demo

DAY = date(2026, 3, 4)
FORMULAS = (
    "=1+2",
    "+1",
    "-1-1",
    "@SUM(A1)",
    '=HYPERLINK("http://example.com")',
    "\t=1",
    "-12.5",
    "'quoted",
    "'=1",
    "''-x",
    "＝1",
)


def reload_dump(content):
    outcome = load_files(files=[SheetFile("dump.xlsx", content)], by=None, at=AT)
    assert outcome.stored, [problem.says for problem in outcome.problems]


def answer():
    return as_json(plan(take_snapshot(DAY, None)))


def sheets_of(content):
    book = openpyxl.load_workbook(io.BytesIO(content))
    return {sheet.title: [list(row) for row in sheet.iter_rows(values_only=True)] for sheet in book}


def assert_same_sheets(content, other):
    """Two workbooks hold the same values; where they are written alike they need not be opened."""
    if parts_of(content) != parts_of(other):
        assert sheets_of(content) == sheets_of(other)


def rows_of(outcome):
    return {sheet.sheet: len(sheet.rows) for sheet in outcome.sheets}


def parts_of(content):
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        return {name: book.read(name) for name in book.namelist() if not name.startswith("docProps/")}


@pytest.mark.django_db
def test_the_demo_shop_comes_back_with_the_same_plan_and_the_same_sheets():
    with taken_back():
        load_demo()
        before, content = answer(), dump_workbook()
    reload_dump(content)
    assert answer() == before
    assert_same_sheets(dump_workbook(), content)


@pytest.mark.django_db
def test_what_is_with_jobs_and_odd_lives_come_back():
    with taken_back():
        load_once("sheets", lambda: stored(load_sheets(SHOP)))
        load_sheets({"Issued": ISSUED})
        load_sheets({"Lots": [SHOP["Lots"][0], ["BA-1", "B-7", 0, "A1", None]]})
        Item.objects.filter(part_number="OR-014").update(shelf_life_months=10, min_life_at_receipt="75 %")
        Item.objects.filter(part_number="CO-1").update(shelf_life_months=33, minimum=1_234_567)
        before, content = answer(), dump_workbook()
    reload_dump(content)
    assert answer() == before
    assert_same_sheets(dump_workbook(), content)
    ring, cord = Item.objects.get(part_number="OR-014"), Item.objects.get(part_number="CO-1")
    assert (ring.shelf_life_months, cord.shelf_life_months, quantity_text(cord.minimum)) == (10, 33, "1.234567")


@pytest.mark.django_db
def test_a_changed_cell_of_the_dump_changes_the_plan(shop):
    before = answer()
    book = openpyxl.load_workbook(io.BytesIO(dump_workbook()))
    lots = book["Lots"]
    place = [cell.value for cell in lots[1]].index("quantity") + 1
    next(row for row in lots.iter_rows(min_row=2) if row[1].value == "L-1")[place - 1].value = 2
    out = io.BytesIO()
    book.save(out)
    assert load_files(files=[SheetFile("dump.xlsx", out.getvalue())], by=None, at=AT).stored
    assert answer() != before


@pytest.mark.django_db
def test_every_sheet_is_written_with_the_headings_of_its_layout(shop):
    written = sheets_of(dump_workbook())
    assert set(written) == {sheet.name for sheet in LAYOUTS}
    for name, rows in written.items():
        assert rows[0] == [column.name for column in BY_NAME[name].columns]
    assert list(sheets_of(dump_workbook({"Lots"}))) == ["Lots"]


@pytest.mark.django_db
def test_a_text_is_never_written_as_a_formula(shop):
    for number, text in enumerate(FORMULAS):
        Item.objects.create(part_number=f"F-{number}", description=text, kind="part", stock_unit="each", notes=text)
    book = openpyxl.load_workbook(io.BytesIO(dump_workbook({"Items"})))
    rows = [row for row in book["Items"].iter_rows(min_row=2) if str(row[0].value).startswith("F-")]
    assert {row[1].value for row in rows} == set(FORMULAS)
    assert {cell.data_type for row in rows for cell in row if isinstance(cell.value, str)} == {"s"}
    assert {row[0].number_format for row in rows} == {"@"}


@pytest.mark.django_db
def test_text_output_is_quoted_so_that_nothing_runs_it_and_read_back_as_it_was(shop):
    for number, text in enumerate(FORMULAS):
        Item.objects.create(part_number=f"F-{number}", description=text.strip(), kind="part", stock_unit="each")
    text = write_text(read_rows(ITEMS))
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert {cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "＝"))} == {"+1", "-12.5"}
    assert load_files(files=[text_file("items.csv", text)], by=None, at=AT).problems == ()
    assert {item.description for item in Item.objects.filter(folded__startswith="f-")} == {
        one.strip() for one in FORMULAS
    }


@pytest.mark.parametrize(
    ("text", "kept"), [("=A1", "'=A1"), ("-12.5", "-12.5"), ("-1-1", "'-1-1"), ("plain", "plain"), ("+49", "+49")]
)
def test_plain_numbers_need_no_quotation(text, kept):
    assert quote_formula(text) == kept


@given(st.text(alphabet="='+-@\t\r\n\uff1d1.a"))
def test_a_quoted_text_never_runs_and_gives_the_text_back(text):
    quoted = quote_formula(text)
    assert unquote_formula(quoted) == text
    assert quoted[:1] not in {"=", "+", "-", "@", "\t", "\r"} or quoted[1:].replace(".", "").isdigit() or "\n" in text


@pytest.mark.django_db
@pytest.mark.parametrize("decimal_comma", [False, True])
def test_the_demo_shop_comes_back_from_text_files_as_well(decimal_comma):
    with taken_back():
        load_demo()
        Item.objects.filter(part_number="OR-014-N70").update(minimum=1_234_000, safety_stock=1_500_000)
        before, workbook = answer(), dump_workbook()
        packed = dump_texts(decimal_comma=decimal_comma)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        files = [SheetFile(name, archive.read(name)) for name in archive.namelist()]
    assert len(files) == len(LAYOUTS)
    outcome = load_files(files=files, by=None, at=AT)
    assert outcome.stored, [problem.says for problem in outcome.problems]
    assert answer() == before
    assert_same_sheets(dump_workbook(), workbook)
    unpacked = check_files(files=[SheetFile("lists.zip", packed)], at=AT)
    assert not any(sheet.changes_something for sheet in unpacked.sheets)
    assert rows_of(unpacked) == rows_of(outcome)


@pytest.mark.django_db
def test_the_command_writes_text_files_one_by_one_or_all_together(shop, tmp_path, capsys):
    call_command("dump", str(tmp_path / "items.csv"))
    call_command("dump", str(tmp_path / "one.csv"), sheet=["Lots"], decimal_comma=True)
    call_command("dump", str(tmp_path / "all.zip"))
    assert (tmp_path / "items.csv").read_bytes().startswith(b"\xef\xbb\xbfpart_number,description")
    assert b"part_number;lot;quantity" in (tmp_path / "one.csv").read_bytes()
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        assert {"items.csv", "kitfits.csv"} < set(archive.namelist())
    for name in ("things.csv", "lists.ods"):
        with pytest.raises(CommandError, match=r"name it with --sheet|end in \.xlsx, \.zip or \.csv"):
            call_command("dump", str(tmp_path / name))


def test_characters_that_no_workbook_holds_are_left_out():
    content = write_workbook([SheetRows(ITEMS, [["X\x07-1", *[None] * 27]])])
    assert openpyxl.load_workbook(io.BytesIO(content))["Items"]["A2"].value == "X-1"


@pytest.mark.django_db
def test_settings_and_postings_are_those_of_the_file(shop):
    assert set(Setting.objects.values_list("name", flat=True)) == {"today", "currency"}
    assert Posting.objects.get().reason == "loaded from lists.xlsx"
    assert Movement.objects.count() == 2
    assert json.dumps(answer())


@pytest.mark.django_db
def test_an_item_of_every_column_comes_back_as_it_went(db):
    values = {
        "part_number": "0012",
        "description": "ring",
        "kind": "part",
        "stock_unit": "each",
        "material": "FKM",
        "hardness": "75 A",
        "size": "0.489 x 0.070 in",
        "form": "O-ring",
        "cleanliness": "oxygen_clean",
        "shelf_life_years": "unlimited",
        "resealed_usable": "no",
        "source": "buy",
        "issue": "counted",
        "lead_time": 70,
        "safety_stock": 4,
        "minimum": 2,
        "maximum": 8,
        "how_sure_percent": 95,
        "unit_cost": 1.25,
        "min_life_at_receipt": "75 %",
        "certificate_needed": "yes",
        "maker_code": "MK",
        "maker_number": "003E5",
        "other_numbers": "2-014; 0417",
        "home_place": "A1",
        "notes": "first line\nsecond line",
    }
    assert load_sheets({"Places": [["place"], ["A1"]], **items(tuple(values.values()), headings=tuple(values))}).stored
    row = dict(zip([column.name for column in ITEMS.columns], read_rows(ITEMS).rows[0], strict=True))
    assert {name: row[name] for name in values} == {**values, "unit_cost": row["unit_cost"]}
    assert float(row["unit_cost"]) == 1.25


@pytest.mark.django_db
def test_what_came_of_many_files_names_the_first_two():
    files = [SheetFile(path.name, path.read_bytes()) for path in sorted(FIXTURES.glob("*.csv"))]
    assert load_files(files=files, by=None, at=AT).stored
    reasons = set(Posting.objects.values_list("reason", flat=True))
    assert reasons == {f"loaded from findingrules.csv, holidays.csv and {len(files) - 2} more"}

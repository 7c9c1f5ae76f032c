"""LibreOffice opens what we write, works it out to the figures that are stored, and what it saves is read back."""

import io
from datetime import date, datetime

import openpyxl
import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from kits.catalog.models import Item
from kits.exchange.actions import load_files
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.taking_back import take_reply_back
from kits.exchange.workbooks.dump import dump_workbook
from kits.exchange.workbooks.list_export import ListColumn, list_as_workbook
from kits.exchange.workbooks.sheet_templates import template_workbook
from kits.exchange.workbooks.shortage_book import column_of, shortage_workbook
from kits.planning.queries import plan_now
from kits.planning.snapshot.shop import take_snapshot
from kits.purchasing.models import PurchaseOrder, Supplier
from kits.web import request_keys
from tests.keeping import taken_back
from tests.kits.exchange.books import AT
from tests.kits.exchange.office import EVERY_SHEET, ODS
from tests.kits.exchange.test_dump import assert_same_sheets
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in
from tests.kits.web.shops import load_demo

pytestmark = [pytest.mark.office, pytest.mark.django_db]
DAY = date(2026, 3, 4)


class Sent:
    """What is made of the demo shop: its plan, the workbook of its lists, and that of what is short."""

    def __init__(self):
        made = plan_now(DAY)
        self.answer, self.lists = answer(), dump_workbook()
        self.shortages = shortage_workbook(made, as_json(made))
        self.opened = openpyxl.load_workbook(io.BytesIO(self.shortages))
        self.bare = saved(self.opened)
        """The workbook with its formulas only, so that nobody can copy what was stored."""


@pytest.fixture(scope="module")
def sent(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock(), taken_back():
        load_demo()
        return Sent()


@pytest.fixture
def demo(db):
    load_demo()


def answer():
    return as_json(plan(take_snapshot(DAY, None)))


def saved(book):
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def values_of(content):
    book = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    return {
        (sheet.title, cell.coordinate): plain(cell.value)
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def plain(value):
    return round(float(value), 9) if isinstance(value, int | float) and not isinstance(value, bool) else value


def loads_equal(files, sent):
    outcome = load_files(files=files, by=None, at=AT)
    assert outcome.stored, [problem.says for problem in outcome.problems][:10]
    assert answer() == sent.answer
    assert_same_sheets(dump_workbook(), sent.lists)


def test_the_lists_saved_as_a_workbook_load_back_equal(sent, db, office):
    loads_equal([SheetFile("lists.xlsx", office.as_workbook(sent.lists))], sent)


def test_the_lists_saved_as_text_load_back_equal(sent, db, office):
    made = office.save_as(sent.lists, EVERY_SHEET)
    files = [SheetFile(name.partition("-")[2].casefold(), text) for name, text in made.items()]
    assert len(files) == len(openpyxl.load_workbook(io.BytesIO(sent.lists), read_only=True).sheetnames)
    loads_equal(files, sent)


def test_the_lists_saved_as_ods_are_refused_with_the_remedy_and_come_back_as_a_workbook(sent, db, office):
    ods = office.save_as(sent.lists, ODS)["book.ods"]
    outcome = load_files(files=[SheetFile("lists.ods", ods)], by=None, at=AT)
    assert [problem.reason for problem in outcome.problems] == ["this is an OpenDocument file"]
    assert ".xlsx" in outcome.problems[0].remedy
    loads_equal([SheetFile("lists.xlsx", office.as_workbook(ods, "again.ods"))], sent)


def test_texts_that_look_like_numbers_and_formulas_survive(db, office):
    texts = ["0012", "3E10", "2-012", "=1+2", "+1", "-1", "@x", "1/2", "003E5", "TRUE", "é–ß"]
    for number in texts:
        Item.objects.create(part_number=number, description=number, kind="part", stock_unit="each")
    back = openpyxl.load_workbook(io.BytesIO(office.as_workbook(dump_workbook({"Items"}))))["Items"]
    kept = {row[0].value: row[1].value for row in back.iter_rows(min_row=2)}
    assert kept == {text: text for text in texts}
    assert {cell.data_type for row in back.iter_rows(min_row=2, max_col=2) for cell in row} == {"s"}


def test_templates_open_with_their_headings(db, office):
    content = template_workbook()
    theirs = openpyxl.load_workbook(io.BytesIO(office.as_workbook(content)))
    ours = openpyxl.load_workbook(io.BytesIO(content))
    assert theirs.sheetnames == ours.sheetnames
    for sheet in ours:
        assert [cell.value for cell in theirs[sheet.title][1]] == [cell.value for cell in sheet[1]]


def test_an_exported_list_opens_with_the_values_that_were_written(office):
    columns = [
        ListColumn("part", "Part", lambda row: row[0]),
        ListColumn("day", "Day", lambda row: row[1]),
        ListColumn("price", "Price", lambda row: row[2], figure=True),
    ]
    content = list_as_workbook("Offers", columns, [("0012", DAY, 12), ("=1+2", None, None)])
    assert values_of(office.as_workbook(content)) == values_of(content)


def test_every_cell_of_the_shortage_workbook_is_worked_out_to_what_is_stored(sent, office):
    bare = openpyxl.load_workbook(io.BytesIO(sent.bare), read_only=True, data_only=True)
    assert bare["Shortages"]["F2"].value is None
    ours, theirs = values_of(sent.shortages), values_of(office.as_workbook(sent.bare))
    differ = {cell for cell in ours | theirs if ours.get(cell) != theirs.get(cell)}
    assert {cell: (ours.get(cell), theirs.get(cell)) for cell in differ} == {}


def test_an_order_comes_to_what_libreoffice_works_out_charges_included(demo, office, client, monkeypatch):
    # Below the minimum of 10 000, with a certificate for the oxygen ring: goods + 35.00 + 12.50.
    charges = {"order_minimum_value": 10_000, "small_order_charge": 35, "certificate_charge": "12.50"}
    Supplier.objects.filter(supplier="Norrvik Seals").update(**charges)
    client.force_login(person_of("Purchasing", "purchaser"))
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 0)
    page = client.get("/purchasing/draft/?supplier=Norrvik+Seals")
    said = {"key": key_in(page)}
    for line in page.context["form"].lines:
        if line.is_ticked:
            said |= {f"take-{line.name}": "on", f"packs-{line.name}": line.packs, f"wanted-{line.name}": line.wanted_on}
            said[f"price-{line.name}"] = "9.995"
    answer = client.post("/purchasing/draft/?supplier=Norrvik+Seals", said)
    assert answer.status_code == 302, answer.context["form"].errors
    order = PurchaseOrder.objects.get()
    content = client.get(f"/purchasing/orders/workbook/{order.number}/").content
    ours, theirs = values_of(content), values_of(office.as_workbook(saved(openpyxl.load_workbook(io.BytesIO(content)))))
    assert ours == theirs
    sheet = openpyxl.load_workbook(io.BytesIO(content), data_only=True).active
    sums = {row[1].value: row[5].value for row in sheet.iter_rows() if row[1].value and row[5].value}
    assert (sums["Charge for a small order"], sums["Certificates"]) == (35, 12.5)
    assert round(sums["Total, EUR"] - sums["Goods"], 2) == 47.5


def test_where_a_line_is_changed_and_a_reply_filled_in_the_totals_follow_and_it_is_heard_as_typed(demo, sent, office):
    book = sent.opened
    for name in ("Figures", "How worked out"):  # three thousand rows, which neither total nor reply reads
        book[name].delete_rows(20, book[name].max_row)
    sheet = book["Shortages"]
    cell = f"{column_of('Extension')}8"
    more = 10_000 - sheet[cell].value
    sheet[cell] = 10_000
    head = {cell.value: cell.column for cell in sheet[7]}
    row = next(one for one in range(9, sheet.max_row + 1) if sheet.cell(one, head["Key"]).value == "SE-M / sure")
    for name, value in (("quote", 61.5), ("promised", datetime(2026, 3, 20)), ("quantity", 15), ("note", "0012")):
        sheet.cell(row, head[f"Reply: {name}"], value)
    back = office.as_workbook(saved(book))
    ours, theirs = totals_of(sent.shortages), totals_of(back)
    assert theirs == pytest.approx([ours[0] + more, *ours[1:]])
    line = take_reply_back(file=SheetFile("r.xlsx", back), by=None, at=AT, today=DAY).lines.get()
    heard = {name: line.stated[name] for name in ("price", "promised", "quantity", "note")}
    assert heard == {"price": "61.5", "promised": "2026-03-20", "quantity": "15", "note": "0012"}
    assert line.is_plain, (line.questions, line.remarks)


def totals_of(content):
    sheet = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)["Shortages"]
    return [cell.value for (cell,) in sheet["F2:F5"]]

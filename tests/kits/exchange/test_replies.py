"""A filled-in shortage workbook: whatever was done to it, every row is heard and nothing is taken up in silence."""

import io
import random
from datetime import date, datetime
from decimal import Decimal

import openpyxl
import pytest
from django.core.management import call_command

from bom.answers.rows import as_json
from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.errors import Refusal
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.taking_back import take_reply_back
from kits.exchange.workbooks.shortage_book import shortage_workbook
from kits.planning.queries import plan_now
from kits.purchasing.models import Offer, OrderLine, Reply, Supplier, SupplierQuote
from kits.purchasing.replies.actions import accept_answer, accept_as_stated, accept_promise
from kits.purchasing.replies.answers import SupplierAnswer
from kits.stock.models import Lot
from tests.kits.exchange.books import AT, FIXTURES, SHOP, load_sheets, text_file, with_answers_only
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 4)
RING = "OR-011-F75X / sure"


@pytest.fixture(scope="module")
def whole(demo_shop):
    """The workbook of the demo shop as it is sent."""
    made = plan_now(DAY)
    return shortage_workbook(made, as_json(made))


@pytest.fixture(scope="module")
def only_answered(whole):
    return with_answers_only(whole)


@pytest.fixture
def sent(only_answered, db):
    """The workbook as it was sent."""
    return only_answered


@pytest.fixture
def buyer(db):
    return person_of("Purchasing", "buyer")


class Filled:
    """The workbook while somebody works on it."""

    def __init__(self, content):
        self.book = openpyxl.load_workbook(io.BytesIO(content))

    def sheet(self, name="Shortages"):
        return self.book[name]

    def head(self, name="Shortages"):
        row = 7 if name == "Shortages" else 3
        return row, {cell.value: cell.column for cell in self.book[name][row] if cell.value}

    def row_of(self, key):
        row, head = self.head()
        sheet = self.sheet()
        return next(one for one in range(row + 1, sheet.max_row + 1) if sheet.cell(one, head["Key"]).value == key)

    def fill(self, line, /, **said):
        row = self.row_of(line) if isinstance(line, str) else line
        _, head = self.head()
        for name, value in said.items():
            column = head.get(f"Reply: {name}") or head[name.replace("_", " ").capitalize()]
            self.sheet().cell(row, column, value)
        return row

    def add_row(self, **said):
        _, head = self.head()
        row = self.sheet().max_row + 1
        for name, value in said.items():
            self.sheet().cell(row, head[name] if name in head else head[f"Reply: {name}"], value)
        return row

    def back(self, name="back.xlsx"):
        out = io.BytesIO()
        self.book.save(out)
        return take_reply_back(file=SheetFile(name, out.getvalue()), by=None, at=AT, today=DAY)


def only_line(reply):
    (line,) = reply.lines.all()
    return line


def asks(line):
    """What is asked about a line, in one text."""
    return " ".join(says for question in line.questions for says in question["says"])


def accept(line, buyer, **changed):
    """Accept a line as it was heard, whatever is asked about it."""
    heard = line.stated | changed
    answer = SupplierAnswer(
        supplier=Supplier.objects.by_name(heard["supplier"]),
        item=line.item,
        pack_size=int(Decimal(heard["pack"]) * ONE),
        price_per_pack=Decimal(heard["price"]) if heard.get("price") else None,
        lead_days=int(heard["lead"]) if heard.get("lead") else None,
        quantity=int(Decimal(heard["quantity"]) * ONE) if heard.get("quantity") else None,
        promised_on=date.fromisoformat(heard["promised"]) if heard.get("promised") else None,
    )
    answers = {question["topic"]: "as it stands" for question in line.questions}
    return accept_answer(
        reply_line=line.pk, answer=answer, answers=answers, key=f"accept {line.pk}", by=buyer, at=AT, today=DAY
    )


def test_a_plain_answer_is_heard_beside_what_stands_here(whole, db):
    book = Filled(whole)
    book.fill(RING, quote=43.5, promised=datetime(2026, 3, 18), quantity=10, note="ex stock")
    line = only_line(book.back())
    assert line.stated == {
        "supplier": "Norrvik Seals",
        "pack": "5",
        "price": "43.5",
        "quantity": "10",
        "promised": "2026-03-18",
        "note": "ex stock",
    }
    assert (line.before["price"], line.before["quantity"], line.before["short"]) == ("42", "10", "2")
    assert line.is_plain


def test_what_is_accepted_is_a_quote_with_its_price_and_promise_and_no_order(sent, buyer):
    book = Filled(sent)
    book.fill(RING, quote=43.5, promised=datetime(2026, 3, 18), quantity=10)
    line, orders = only_line(book.back()), OrderLine.objects.count()
    first, second = accept(line, buyer), accept(line, buyer)
    assert first.outcome == second.outcome
    quote = SupplierQuote.objects.get()
    assert (quote.quantity, quote.promised_on, quote.price_per_pack) == (10 * ONE, date(2026, 3, 18), Decimal("43.5"))
    assert (quote.by, quote.quoted_on, quote.why) == (buyer, DAY, "sure")
    assert OrderLine.objects.count() == orders
    offer = Offer.objects.get(item__part_number="OR-011-F75X", supplier__supplier="Norrvik Seals")
    assert (offer.price_per_pack, offer.quoted_on) == (Decimal("43.5"), DAY)
    assert "was 42" in first.outcome
    assert "10 promised for 18 Mar 2026, to be ordered" in first.outcome


def test_rows_may_come_back_in_any_order_and_columns_too(sent):
    book = Filled(sent)
    book.fill(RING, promised=datetime(2026, 3, 18), quantity=10)
    sheet = book.sheet()
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=7)]
    turned = openpyxl.Workbook()
    turned.active.title = "Shortages"
    for row in [rows[0], *reversed(rows[1:])]:
        turned.active.append(row[::-1])
    out = io.BytesIO()
    turned.save(out)
    reply = take_reply_back(file=SheetFile("turned.xlsx", out.getvalue()), by=None, at=AT, today=DAY)
    assert only_line(reply).key == RING
    assert any("About is missing" in says for says in reply.remarks)


def test_a_split_delivery_makes_two_quotes(sent, buyer):
    book = Filled(sent)
    book.fill(RING, promised=datetime(2026, 3, 18), quantity=5)
    book.add_row(Key=RING, **{"Our number": "OR-011-F75X"}, promised=datetime(2026, 3, 25), quantity=5)
    one, other = book.back().lines.all()
    assert one.remarks == ["Delivery 1 of 2 under this key, 10 together."]
    assert "Delivery 2 of 2 under this key, 10 together." in other.remarks
    accept(one, buyer), accept(other, buyer)
    quotes = SupplierQuote.objects.order_by("promised_on")
    assert [(quote.quantity // ONE, quote.promised_on.day) for quote in quotes] == [(5, 18), (5, 25)]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"quantity": "ten", "promised": datetime(2026, 3, 18)}, "Reply: quantity is “ten”: it is no number"),
        ({"quantity": "1,250", "promised": datetime(2026, 3, 18)}, "it may mean 1.250 or 1250"),
        ({"quantity": 10, "promised": "31.02.2026"}, "Reply: promised is “31.02.2026”"),
        ({"quantity": 10, "promised": "03/04/2026"}, "Reply: promised is “03/04/2026”"),
        ({"quantity": 10, "promised": datetime(2126, 3, 18)}, "wrong century"),
        ({"quantity": 10, "promised": datetime(2026, 3, 2)}, "has passed"),
        ({"quantity": 7, "promised": datetime(2026, 3, 18)}, "no whole number of packs of 5"),
        ({"quantity": 50, "promised": datetime(2026, 3, 18)}, "more than the 10 that were suggested"),
        ({"quote": "42 thaler"}, "Reply: quote is “42 thaler”"),
        ({"supplier": "Somebody", "quote": 40}, "Somebody is no supplier of ours"),
        ({"quote": 80, "pack": 10}, "The pack was changed from 5 to 10"),
        ({"quantity": 10, "promised": datetime(2026, 3, 18), "unit": "mm"}, "The unit was changed to mm"),
        ({"quantity": 2, "promised": datetime(2026, 3, 18), "unit": "packs"}, "The unit was changed to packs"),
        ({"quote": 42, "key": "OR-011 / sure"}, "was changed"),
        ({"quote": 42, "our_number": "SE-M"}, "choose which is meant"),
    ],
)
def test_what_is_odd_is_asked_and_not_taken_up_without_an_answer(sent, buyer, said, words):
    book = Filled(sent)
    book.fill(book.row_of(RING), **said)
    line = only_line(book.back())
    assert words in asks(line)
    with pytest.raises(Refusal, match="Look at the line and say how it is meant"):
        accept_as_stated(reply=line.reply_id, lines=[line.pk], key="k", by=buyer, at=AT, today=DAY)
    assert not SupplierQuote.objects.exists()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"quantity": 10}, "a quantity but no promised day"),
        ({"promised": datetime(2026, 3, 18)}, "the suggested 10 stands here"),
        ({"quantity": 10, "promised": datetime(2026, 3, 27)}, "after the first need"),
    ],
)
def test_what_is_only_to_be_known_stands_beside_the_line(sent, said, words):
    book = Filled(sent)
    book.fill(RING, **said)
    line = only_line(book.back())
    assert any(words in says for says in line.remarks)
    assert (line.questions, line.is_plain) == ([], False)


def test_a_damaged_number_is_left_blank_never_nil(sent):
    book = Filled(sent)
    book.fill(RING, quantity="ten", promised=datetime(2026, 3, 18))
    assert "quantity" not in only_line(book.back()).stated


def test_a_unit_of_the_same_dimension_is_worked_out(db):
    load_sheets({**SHOP, "Offers": [*SHOP["Offers"], ["Ring House", "CO-1", 1000, "2 w", 12]]})
    made = plan_now(DAY)
    book = Filled(shortage_workbook(made, as_json(made)))
    book.fill("CO-1 / sure", quantity=2, promised=datetime(2026, 3, 13), unit="m")
    line = only_line(book.back())
    assert line.stated["quantity"] == "2000"
    (question,) = line.questions
    assert question["says"] == ["The unit was changed to m."]
    assert [(one["says"], one["takes"]) for one in question["readings"]] == [
        ("2 m = 2000 mm", {"quantity": "2000"}),
        ("2 mm", {"quantity": "2"}),
    ]


def test_an_added_row_and_a_row_that_is_short_no_more_are_heard(sent):
    book = Filled(sent)
    book.add_row(**{"Our number": "SE-S"}, quote=12, supplier="Norrvik Seals")
    book.fill(RING, promised=datetime(2026, 3, 18), quantity=10)
    ring = Lot.objects.select_related("item").filter(item__part_number="OR-011-F75X").first()
    OrderLine.objects.create(
        order="PO-9", line="1", supplier=Supplier.objects.first(), item=ring.item, quantity=20 * ONE, promised_on=DAY
    )
    mark_shop()
    reply = book.back()
    gone, added = reply.lines.order_by("row")
    assert "is not short any more" in asks(gone)
    assert "has no key" in asks(added)
    assert (gone.item.part_number, added.item.part_number) == ("OR-011-F75X", "SE-S")
    assert any("lists have changed since" in says for says in reply.remarks)


def test_rows_without_an_answer_and_rows_that_did_not_come_back_are_named(sent):
    book = Filled(sent)
    book.fill(RING, quote=43)
    book.sheet().delete_rows(book.row_of("CS-34-U / sure"))
    reply = book.back()
    assert any("without an answer" in says and "SE-M / sure" in says for says in reply.remarks)
    assert any("did not come back: CS-34-U / sure" in says for says in reply.remarks)


def test_the_same_file_again_is_the_reply_that_is_kept(sent):
    book = Filled(sent)
    book.fill(RING, quote=43)
    assert book.back().pk == book.back("again.xlsx").pk
    assert Reply.objects.count() == 1


def test_a_supplier_who_answers_twice_is_not_ordered_from_twice_unawares(sent, buyer):
    book = Filled(sent)
    book.fill(RING, promised=datetime(2026, 3, 18), quantity=10)
    accept(only_line(book.back()), buyer)
    book.fill(RING, note="as I said")
    again = only_line(book.back())
    assert "stands in reply" in asks(again)
    assert "accepted: 10 promised for 18 Mar 2026, to be ordered" in asks(again)


def test_a_new_promise_moves_the_order_and_is_remembered(sent, buyer):
    book = Filled(sent)
    row, head = book.head("Expedite")
    sheet = book.sheet("Expedite")
    late = next(one for one in range(row + 1, sheet.max_row + 1) if sheet.cell(one, head["Order"]).value == "PO-7102")
    sheet.cell(late, head["Reply: new promise"], datetime(2026, 3, 20))
    sheet.cell(late, head["Reply: note"], "press broke down")
    line = only_line(book.back())
    assert line.stated["promised"] == "2026-03-20"
    was = line.order_line.promised_on
    for _ in range(2):
        accept_promise(
            reply_line=line.pk,
            promised_on=date(2026, 3, 20),
            note="press broke down",
            answers={},
            key="k",
            by=buyer,
            at=AT,
            today=DAY,
        )
    moved = OrderLine.objects.get(pk=line.order_line_id)
    (change,) = moved.promise_changes.all()
    assert (moved.promised_on, change.was_on, change.by) == (date(2026, 3, 20), was, buyer)
    assert "press broke down" in change.reason


def test_a_list_that_moves_a_promise_leaves_the_day_it_had(sent):
    sheet = [["order", "line", "supplier", "part_number", "quantity", "promised"]]
    line = OrderLine.objects.select_related("supplier", "item").get(order="PO-7101", line="1")
    row = [line.order, line.line, line.supplier.supplier, line.item.part_number, line.quantity // ONE]
    for _ in range(2):
        load_sheets({"Orders": [*sheet, [*row, date(2026, 3, 24)]]})
    change = line.promise_changes.get()
    assert (change.was_on, change.promised_on) == (line.promised_on, date(2026, 3, 24))
    assert change.reason == "loaded from lists.xlsx"


def test_a_reply_that_comes_as_text_is_heard_too(sent):
    book = Filled(sent)
    _, head = book.head()
    cells = [book.sheet().cell(book.row_of(RING), column).value for column in head.values()]
    said = dict(zip(head, cells, strict=True)) | {"Reply: quote": "43,50", "Reply: quantity": "10"}
    said |= {"Reply: promised": "2026-03-18", "First need": "2026-03-23", "Order by": ""}
    said |= {"Here on, if ordered today": ""}
    text = "\r\n".join(
        ";".join(f'"{value}"' if value is not None else "" for value in one) for one in (said, said.values())
    )
    reply = take_reply_back(file=text_file("Shortages.csv", text, "cp1252"), by=None, at=AT, today=DAY)
    line = only_line(reply)
    assert {name: line.stated[name] for name in ("price", "quantity", "promised")} == {
        "price": "43.5",
        "quantity": "10",
        "promised": "2026-03-18",
    }
    assert "Reply: quote “43,50”: a comma was read as the decimal point." in line.notes


def test_hidden_rows_are_read_and_said(sent):
    book = Filled(sent)
    row = book.fill(RING, quote=43)
    book.sheet().row_dimensions[row].hidden = True
    reply = book.back()
    assert "Sheet Shortages has 1 hidden row, read all the same." in reply.remarks
    assert only_line(reply).stated["price"] == "43"


def test_a_damaged_file_is_heard_or_refused_in_a_sentence(sent):
    """Whatever bytes are turned over, nobody gets a trace."""
    book = Filled(sent)
    book.fill(RING, quote=43)
    out = io.BytesIO()
    book.book.save(out)
    whole, refusals = out.getvalue(), []
    for seed in range(12):
        drawn, content = random.Random(seed), bytearray(whole)
        for _ in range(drawn.choice((1, 5, 200))):
            content[drawn.randrange(len(content))] = drawn.randrange(256)
        if seed % 4 == 3:
            del content[drawn.randrange(len(content)) :]
        try:
            assert take_reply_back(file=SheetFile("r.xlsx", bytes(content)), by=None, at=AT, today=DAY).pk
        except Refusal as refused:
            refusals.append(str(refused))
    assert refusals
    assert {says[:7] for says in refusals} == {"r.xlsx:"}


ODD = (True, "#REF!", "-5", "(10)", "1e9999", "\u202e10", 1e300, -1, "NaN", "∞", "V", "12 ducats", "10/2")


@pytest.mark.parametrize("column", ["quote", "promised", "quantity"])
def test_odd_cells_are_quoted_back_and_never_taken_up(sent, column):
    book = Filled(sent)
    for row, odd in enumerate(ODD, start=8):
        book.fill(row, **{column: odd})
    lines = list(book.back().lines.order_by("row"))
    assert len(lines) == len(ODD)
    for line, odd in zip(lines, ODD, strict=True):
        quoted = f"Reply: {column} is “" in asks(line) and str(odd) in asks(line)
        assert quoted, (odd, line.questions)
        assert {"price", "promised", "quantity"}.isdisjoint(line.stated)


def test_a_file_that_is_no_reply_is_refused_in_one_sentence(sent):
    with pytest.raises(Refusal, match="is no shortage workbook"):
        take_reply_back(
            file=SheetFile("findingrules.csv", (FIXTURES / "findingrules.csv").read_bytes()),
            by=None,
            at=AT,
            today=DAY,
        )
    with pytest.raises(Refusal, match="no row holds a reply"):
        Filled(sent).back()
    with pytest.raises(Refusal, match=r"x\.xlsx"):
        take_reply_back(file=SheetFile("x.xlsx", b"PK\x03\x04 nothing"), by=None, at=AT, today=DAY)


def test_the_command_says_what_to_mind(sent, tmp_path, capsys):
    book = Filled(sent)
    book.fill(RING, quantity="ten")
    book.book.save(tmp_path / "r.xlsx")
    call_command("take_reply", str(tmp_path / "r.xlsx"))
    assert f"Shortages row {book.row_of(RING)}, {RING}: Reply: quantity is “ten”" in capsys.readouterr().out


def test_a_suppliers_workbook_holds_nothing_of_the_shops_jobs(sent):
    made = plan_now(DAY)
    book = openpyxl.load_workbook(io.BytesIO(shortage_workbook(made, as_json(made), "Norrvik Seals")))
    assert book.sheetnames == ["Shortages", "Expedite", "About"]
    texts = {str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None}
    assert not any(job.job in text for job in made.shop.jobs for text in texts)
    assert not texts & {"Usable on hand", "Promises", "Jobs blocked", "Substitutes"}
    others = set(Supplier.objects.values_list("supplier", flat=True)) - {"Norrvik Seals"}
    assert not others & texts

"""A request to a supplier: what he reads and what he does not, and how his answer comes back."""

import csv
import io
import random
from datetime import date, datetime, timedelta
from decimal import Decimal

import openpyxl
import pytest

from kits.catalog.errors import Refusal
from kits.catalog.models import Setting
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.taking_back import take_reply_back
from kits.exchange.workbooks.request_book import COLUMNS, PRINTED, request_workbook
from kits.planning.buying.lines_to_ask import lines_to_ask
from kits.planning.queries import plan_now
from kits.purchasing.asking.actions import WantedLine, make_requests, mark_sent, withdraw_request
from kits.purchasing.asking.request_list import request_list, request_sheet
from kits.purchasing.models import Item, Offer, PriceRequest, RequestLine, Supplier, SupplierQuote
from kits.purchasing.replies.actions import accept_as_stated
from tests.kits.exchange.books import AT
from tests.kits.exchange.office import ODS
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 4)


@pytest.fixture(scope="module")
def demo(demo_shop):
    """The lines to ask for in the demo shop."""
    return lines_to_ask(plan_now(DAY))


@pytest.fixture
def buyer(demo, db):
    return person_of("Purchasing", "buyer")


@pytest.fixture
def busiest(demo, db):
    """The supplier who offers most of the sure lines."""
    names = [name for line in demo if line.is_ticked for name in line.offered_by]
    return Supplier.objects.by_name(max(sorted(set(names)), key=names.count))


def wanted(lines):
    items = Item.objects.in_bulk({line.due.item_id for line in lines})
    return [
        WantedLine(items[line.due.item_id], line.due.why, line.short.millionths, line.wanted_on, line.oldest_cure)
        for line in lines
    ]


def ask(buyer, suppliers, lines, key="ask", **more):
    said = {"only_offered": True, "reply_by": DAY + timedelta(7), "note": "", **more}
    return make_requests(suppliers=suppliers, lines=lines, by=buyer, at=AT, today=DAY, key=key, **said)


@pytest.fixture
def request_to(demo, buyer, busiest):
    return ask(buyer, [busiest], wanted([line for line in demo if line.is_ticked]))[0]


def book_of(request):
    return request_workbook(request_sheet(request.number, DAY))


class Answer:
    """The workbook of a request while the supplier works on it."""

    def __init__(self, request):
        self.book = openpyxl.load_workbook(io.BytesIO(book_of(request)))
        self.sheet = self.book["Request"]
        self.top = next(row for row in range(1, 40) if self.sheet.cell(row, 1).value == "Line and number")
        self.head = {cell.value: cell.column for cell in self.sheet[self.top]}

    def rows(self):
        return range(self.top + 1, self.sheet.max_row + 1)

    def fill(self, place, **said):
        names = {
            "price": "Price per pack", "pack": "Pack size", "packs": "Packs", "promised": "Promised at our door",
            "rest": "The rest on", "other": "Alternative number", "no_bid": "No bid", "note": "Your note",
            "valid": "Price holds until", "start": "From packs", "then": "Price per pack from there",
            "start2": "From packs, next", "then2": "Price per pack from there, next", "key": "Key",
        }  # fmt: skip
        for name, value in said.items():
            self.sheet.cell(self.top + place, self.head[names[name]]).value = value
        return self

    def content(self):
        out = io.BytesIO()
        self.book.save(out)
        return out.getvalue()

    def back(self, buyer=None, name="answer.xlsx"):
        return take_reply_back(file=SheetFile(name, self.content()), by=buyer, at=AT, today=DAY)


def accept_all(reply, buyer):
    return accept_as_stated(
        reply=reply.pk, lines=reply.lines.values_list("pk", flat=True), key="accept", by=buyer, at=AT, today=DAY
    )


def asks(line):
    return [says for question in line.questions for says in question["says"]]


# --- the document


def test_each_supplier_gets_a_request_of_his_own_in_his_packs_once(demo, buyer, busiest):
    lines = wanted([line for line in demo if line.is_ticked])
    other = Supplier.objects.filter(offers__item__in=[line.item for line in lines]).exclude(pk=busiest.pk).first()
    made = ask(buyer, [busiest, other], lines)
    assert [one.number for one in made] == ["ASK-0001", "ASK-0002"]
    assert ask(buyer, [busiest, other], lines) == made
    assert PriceRequest.objects.count() == 2
    line = made[0].lines.first()
    offer = Offer.objects.filter(supplier=busiest, item=line.item, price_from_packs=1).first()
    assert (line.pack_size, line.supplier_part_number) == (offer.pack_size, offer.supplier_part_number)
    assert line.packs * line.pack_size >= line.quantity
    offered = set(busiest.offers.values_list("item", flat=True))
    assert {one.item_id for one in made[0].lines.all()} == {one.item.pk for one in lines} & offered


def test_a_number_is_given_once_also_when_its_request_was_taken_back(demo, buyer, busiest):
    lines = wanted([line for line in demo if line.is_ticked])
    (first,) = ask(buyer, [busiest], lines)
    withdraw_request(request=first.pk, by=buyer, at=AT, key="back")
    (second,) = ask(buyer, [busiest], lines, key="again")
    assert (first.number, second.number) == ("ASK-0001", "ASK-0002")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"suppliers": []}, "No supplier was ticked"),
        ({"lines": []}, "No line was ticked"),
        ({"reply_by": DAY - timedelta(1)}, "has passed"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_a_sentence(demo, buyer, busiest, said, words):
    suppliers, lines = said.pop("suppliers", [busiest]), said.pop("lines", wanted(demo[:1]))
    with pytest.raises(Refusal, match=words):
        ask(buyer, suppliers, lines, **said)


def test_a_request_is_sent_once_on_a_day_that_has_come(request_to, buyer):
    with pytest.raises(Refusal, match="still to come"):
        mark_sent(request=request_to.pk, sent_on=DAY + timedelta(1), by=buyer, at=AT, today=DAY, key="a")
    mark_sent(request=request_to.pk, sent_on=DAY, by=buyer, at=AT, today=DAY, key="b")
    (row,) = request_list(today=DAY)
    assert (row.state, row.sent_on) == ("sent, no answer yet", DAY)
    (row,) = request_list(today=DAY + timedelta(8))
    assert row.state == "no answer, past its day"


def test_the_supplier_reads_nothing_of_the_shops_own(request_to, demo):
    Setting.objects.update_or_create(name="shop_address", defaults={"value": "12 Dock Road; Harbour Town"})
    Setting.objects.update_or_create(name="shop_contact", defaults={"value": "buying desk, extension 12"})
    answer = Answer(request_to)
    told = {str(cell.value) for row in answer.sheet.iter_rows() for cell in row if cell.value is not None}
    assert {"12 Dock Road", "Harbour Town", "buying desk, extension 12", "Reply by"} <= told
    assert answer.book.sheetnames == ["Request"]
    text = " ".join(told).casefold()
    jobs = {job.name for line in demo for job in line.due.jobs}
    assert jobs
    assert not any(job.casefold() in text for job in jobs)
    assert not any(word in text for word in ("on hand", "order by", "late,", "advice", "short", " wear", "blocked"))
    offered = Offer.objects.filter(supplier=request_to.supplier, price_per_pack__isnull=False)
    assert not {f"{offer.price_per_pack.normalize():f}" for offer in offered if offer.price_per_pack > 20} & told


def test_fields_for_the_answer_are_open_and_marked_and_everything_else_is_locked(request_to):
    answer = Answer(request_to)
    assert answer.sheet.protection.sheet
    assert not answer.sheet.protection.password
    for place, column in enumerate(COLUMNS, start=1):
        cell = answer.sheet.cell(answer.top + 1, place)
        assert cell.protection.locked == (column.value_of is not None), column.words
        assert (cell.fill.fgColor.rgb == "00FFF6D6") == (column.value_of is None)
    ruled = {str(rule.sqref) for rule in answer.sheet.data_validations.dataValidation}
    assert len(ruled) == sum(column.value_of is None for column in COLUMNS)
    lists = [rule for rule in answer.sheet.data_validations.dataValidation if rule.type == "list"]
    assert [rule.formula1 for rule in lists] == ['"no bid"']


def test_twelve_columns_are_printed_one_page_wide_on_a4(request_to):
    sheet = Answer(request_to).sheet
    assert PRINTED == 12
    assert sheet.print_area.startswith("'Request'!$A$1:$L$")
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.orientation) == (1, "landscape")
    assert int(sheet.page_setup.paperSize) == 9
    assert sum(column.width for column in COLUMNS[:PRINTED]) <= 165


# --- the answer


def test_a_plain_answer_becomes_a_quote_with_breaks_and_validity(request_to, buyer):
    line = request_to.lines.first()
    price = Offer.objects.filter(supplier=request_to.supplier, item=line.item).first().price_per_pack
    said = {
        "price": float(price),
        "packs": line.packs,
        "promised": datetime(2026, 3, 20),
        "valid": datetime(2026, 5, 1),
    }
    reply = Answer(request_to).fill(1, **said, start=line.packs + 5, then=float(price) / 2).back(buyer)
    (heard,) = reply.lines.all()
    assert (heard.asked_line, heard.item, asks(heard)) == (line, line.item, [])
    assert heard.stated["quantity"] == f"{Decimal(line.packs * line.pack_size).scaleb(-6).normalize():f}"
    accept_all(reply, buyer)
    quote = SupplierQuote.objects.get()
    assert (quote.supplier, quote.why, quote.pack_size) == (request_to.supplier, line.why, line.pack_size)
    assert (quote.promised_on, quote.valid_to_on) == (date(2026, 3, 20), date(2026, 5, 1))
    assert [(row.from_packs, row.price_per_pack) for row in quote.breaks.all()] == [(line.packs + 5, price / 2)]
    assert Offer.objects.filter(item=line.item, price_from_packs=line.packs + 5, price_per_pack=price / 2).exists()
    (row,) = request_list(today=DAY)
    assert row.state in ("answered", f"answered for 1 of {request_to.lines.count()} lines")


def test_a_second_delivery_is_a_quote_of_its_own(request_to, buyer):
    line = next(one for one in request_to.lines.all() if one.packs > 1)
    said = {"price": 5, "packs": 1, "promised": datetime(2026, 3, 16), "rest": datetime(2026, 4, 20)}
    reply = Answer(request_to).fill(line.place, **said).back(buyer)
    first, rest = reply.lines.order_by("pk")
    assert Decimal(first.stated["quantity"]) * 10**6 == line.pack_size
    assert Decimal(rest.stated["quantity"]) * 10**6 == line.pack_size * (line.packs - 1)
    assert rest.stated["promised"] == "2026-04-20"
    assert any("Delivery 2 of 2" in says for says in rest.remarks)


def test_a_day_for_a_rest_that_there_is_not_is_asked(request_to, buyer):
    line = request_to.lines.first()
    said = {"price": 5, "packs": line.packs, "promised": datetime(2026, 3, 16), "rest": datetime(2026, 4, 20)}
    rest = Answer(request_to).fill(1, **said).back(buyer).lines.order_by("pk").last()
    assert any("a day for the rest" in says for says in asks(rest))


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"price": "18.5o", "packs": 1}, "Reply: quote is “18.5o”"),
        ({"price": 5, "packs": "two or three"}, "Reply: quantity is “two or three”"),
        ({"price": 5, "packs": 1, "promised": "soon"}, "Reply: promised is “soon”"),
        ({"price": 5, "packs": 1, "other": "XX-77"}, "offers another number than the one asked for: XX-77"),
        ({"price": 5, "no_bid": "no bid"}, "gives a price or a delivery as well"),
        ({"price": 5, "no_bid": "perhaps"}, "Reply: no bid is “perhaps”"),
        ({"price": 5, "pack": 7, "packs": 1}, "The pack was changed"),
        ({"price": 5, "packs": 1, "start": 10}, "price breaks are not lower prices"),
        ({"price": 5, "packs": 1, "start": 10, "then": 6}, "price breaks are not lower prices"),
        ({"pack": 7}, "The pack was changed"),
        ({"price": 5, "packs": 1, "key": "ASK-9999 / 1"}, "is none that we gave"),
        ({"price": 5, "packs": 1, "key": None}, "has no key"),
    ],
)
def test_what_is_odd_is_asked_and_not_taken_up(request_to, buyer, said, words):
    reply = Answer(request_to).fill(1, **said).back(buyer)
    assert any(words in says for line in reply.lines.all() for says in asks(line)), [
        asks(line) for line in reply.lines.all()
    ]
    with pytest.raises(Refusal):
        accept_all(reply, buyer)
    assert not SupplierQuote.objects.exists()


@pytest.mark.parametrize("word", ["no bid", "x", "Yes"])
def test_no_bid_is_kept_as_a_refusal(request_to, buyer, word):
    accept_all(Answer(request_to).fill(1, no_bid=word).back(buyer), buyer)
    quote = SupplierQuote.objects.get()
    assert (quote.refused, quote.price_per_pack, quote.quantity) == (True, None, None)


def test_two_suppliers_answer_the_same_line_without_a_question(demo, buyer):
    line = next(line for line in demo if line.is_ticked and len(line.offered_by) > 1)
    suppliers = [Supplier.objects.by_name(name) for name in line.offered_by[:2]]
    for request in ask(buyer, suppliers, wanted([line])):
        price = Offer.objects.filter(supplier=request.supplier, item=line.due.item_id).first().price_per_pack
        reply = Answer(request).fill(1, price=float(price), packs=request.lines.get().packs).back(buyer)
        assert asks(reply.lines.get()) == []
        accept_all(reply, buyer)
    assert SupplierQuote.objects.count() == 2


def test_lines_without_an_answer_and_lines_that_did_not_come_back_are_named(request_to, buyer):
    answer = Answer(request_to)
    count = request_to.lines.count()
    assert count > 2
    answer.sheet.delete_rows(answer.top + count)
    reply = answer.fill(1, price=5).back(buyer)
    told = " ".join(reply.remarks)
    assert f"{count - 2} row{'s' if count > 3 else ''} came back without an answer" in told
    assert f"1 row of the request did not come back: {request_to.number} / {count}" in told


def test_a_request_that_was_taken_back_says_so_when_it_is_answered(request_to, buyer):
    answer = Answer(request_to)
    withdraw_request(request=request_to.pk, by=buyer, at=AT, key="back")
    (line,) = answer.fill(1, price=5, packs=1).back(buyer).lines.all()
    assert f"Request {request_to.number} was taken back." in line.remarks


def test_an_answered_request_is_not_taken_back(request_to, buyer):
    Answer(request_to).fill(1, price=5).back(buyer)
    with pytest.raises(Refusal, match="was answered"):
        withdraw_request(request=request_to.pk, by=buyer, at=AT, key="back")


def test_text_that_was_typed_is_read_as_the_workbook_is(request_to, buyer):
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["Key", "Our number", "Price per pack", "Pack size", "Packs", "No bid", "Your note", "Key again"])
    first, second = request_to.lines.all()[:2]
    writer.writerow([f"{first}", first.item.part_number, "5.00", "", "1", "", "", ""])
    writer.writerow([f"{second}", second.item.part_number, "", "", "", "no bid", "", ""])
    reply = take_reply_back(file=SheetFile("typed.csv", out.getvalue().encode()), by=buyer, at=AT, today=DAY)
    assert [line.asked_line for line in reply.lines.order_by("pk")] == [first, second]


# --- saved by an office program


@pytest.mark.office
@pytest.mark.parametrize("seed", [1, 2])
def test_a_request_that_was_sorted_damaged_and_saved_by_libreoffice_is_heard_line_by_line(
    request_to, buyer, office, seed
):
    rng = random.Random(seed)
    answer = Answer(request_to)
    damage = [
        {"price": "5,00 EUR", "packs": 1}, {"price": "?", "packs": 1}, {"no_bid": "no bid"}, {"packs": "1 pack"},
        {"price": 5, "packs": 1, "promised": "KW 12"}, {"price": 5, "other": "XX-77"}, {"key": "gone", "price": 5},
        {"price": 5, "packs": 1, "promised": datetime(2026, 3, 20)},
    ]  # fmt: skip
    filled = 0
    for place in range(1, request_to.lines.count() + 1):
        answer.fill(place, **rng.choice(damage))
        filled += 1
    rows = [[cell.value for cell in answer.sheet[row]] for row in answer.rows()]
    rng.shuffle(rows)
    for row, values in zip(answer.rows(), rows, strict=True):
        for place, value in enumerate(values, start=1):
            answer.sheet.cell(row, place).value = value
    ods = office.save_as(answer.content(), ODS, "sent.xlsx")["sent.ods"]
    content = office.as_workbook(ods, "sent.ods")
    reply = take_reply_back(file=SheetFile("sent.xlsx", content), by=buyer, at=AT, today=DAY)
    assert reply.lines.values("row").distinct().count() == filled
    heard = {line.asked_line_id for line in reply.lines.exclude(asked_line=None)}
    lost = reply.lines.filter(asked_line=None)
    assert len(heard) + lost.count() == filled
    for line in lost:
        assert any("none that we gave" in says for says in asks(line))
    known = {line.pk: line.item_id for line in RequestLine.objects.all()}
    for line in reply.lines.exclude(asked_line=None):
        assert line.item_id == known[line.asked_line_id]
        if line.stated.get("price") == "" and "refused" not in line.stated:
            assert asks(line)

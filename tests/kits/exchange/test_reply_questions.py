"""What a supplier may have meant is offered, and taken only when somebody said which it is."""

import io
from datetime import date, datetime
from decimal import Decimal
from functools import cache

import openpyxl
import pytest

from bom.answers.rows import as_json
from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.reply_questions import quantity_readings
from kits.exchange.replies.taking_back import take_reply_back
from kits.exchange.workbooks.shortage_book import shortage_workbook
from kits.planning.queries import plan_now
from kits.purchasing.models import Offer, OrderLine, SupplierQuote
from kits.purchasing.replies.actions import accept_as_stated
from kits.purchasing.replies.answers import with_readings
from tests.keeping import keeping_plans, load_planned
from tests.kits.exchange.books import AT, SHOP, load_sheets, with_answers_only
from tests.kits.kept_rows import load_once, stored
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 4)
SOON = datetime(2026, 3, 12)
RING = "OR-014 / sure"
LOOSE = {name: [row for row in rows if "K-1" not in row] for name, rows in SHOP.items()}
RINGS = {
    **LOOSE,
    "Items": [*LOOSE["Items"], ["OR-214", "O-ring of the other makers", "part", "each", "NBR", 15, None]],
    "Lots": [SHOP["Lots"][0], ["BA-1", "B-7", 9, "A1", None]],
    "Orders": [SHOP["Orders"][0]],
    "Suppliers": [["supplier", "currency"], ["Ring House", "EUR"], ["Other Rings", "EUR"]],
    "Offers": [
        ["supplier", "part_number", "supplier_part_number", "pack_size", "lead_time", "price_per_pack"],
        ["Ring House", "OR-014", "RH-14", 5, 5, 42],
        ["Ring House", "OR-214", "RH-214", 5, 5, 50],
    ],
}
"""Six rings are short, sold in packs of five at 42 EUR: two packs are suggested."""


@pytest.fixture
def sent(db):
    """The rows of the workbook that was sent, which come back as they are told."""
    with keeping_plans():
        load_planned("rings", lambda: load_once("rings", lambda: stored(load_sheets(RINGS))))
        yield book_of_rings()


@cache
def book_of_rings():
    plan = plan_now(DAY)
    return with_answers_only(shortage_workbook(plan, as_json(plan)))


@pytest.fixture
def buyer(db):
    return person_of("Purchasing", "buyer")


def line_of(content, **said):
    """The line that comes of a filled-in row of the ring."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet = book["Shortages"]
    head = {cell.value: cell.column for cell in sheet[7] if cell.value}
    row = next(one for one in range(8, sheet.max_row + 1) if sheet.cell(one, head["Key"]).value == RING)
    for name, value in said.items():
        sheet.cell(row, head.get(f"Reply: {name}") or head[name], value)
    out = io.BytesIO()
    book.save(out)
    return take_reply_back(file=SheetFile("r.xlsx", out.getvalue()), by=None, at=AT, today=DAY).lines.get()


def offered(line, topic):
    """What is offered for a topic: in words, and what becomes of the line by each."""
    (question,) = [one for one in line.questions if one["topic"] == topic]
    return [(one["says"], with_readings(line, {topic: str(n)})) for n, one in enumerate(question["readings"])]


def accept(line, buyer):
    return accept_as_stated(reply=line.reply_id, lines=[line.pk], key=f"k{line.pk}", by=buyer, at=AT, today=DAY)


# --- read as it is written


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ({"quote": "€ 43,00"}, {"price": "43"}),
        ({"quote": "43.50 EUR per bag"}, {"price": "43.5"}),
        ({"quantity": "10 pcs", "promised": SOON}, {"quantity": "10"}),
        ({"quantity": "2 bags", "promised": SOON}, {"quantity": "10"}),
        ({"quantity": "2 bags of 5", "promised": SOON}, {"quantity": "10"}),
        ({"quote": 43, "note": "valid 30 days"}, {"valid": "2026-04-03"}),
    ],
)
def test_usual_spellings_are_read_and_ask_nothing(sent, said, read):
    line = line_of(sent, **said)
    assert {name: line.stated[name] for name in read} == read
    assert line.questions == []


def test_how_a_quantity_was_read_stands_beside_it(sent):
    assert "2 × 5 in a pack = 10." in line_of(sent, quantity="2 bags", promised=SOON).notes


# --- pieces or packs


def test_a_quantity_that_is_no_multiple_may_be_packs_or_pieces(sent, buyer):
    line = line_of(sent, quantity=7, promised=SOON)
    assert offered(line, "quantity") == [
        ("7 packs of 5: 35", {"quantity": "35"}),
        ("7, not in whole packs", {"quantity": "7"}),
        ("2 packs of 5, the next whole: 10", {"quantity": "10"}),
    ]
    with pytest.raises(Refusal, match="7 is no whole number of packs of 5"):
        accept(line, buyer)


def test_pieces_that_fill_no_pack_are_asked_about_too(sent):
    assert "7 is no whole number of packs of 5." in line_of(sent, quantity="7 pcs", promised=SOON).questions[0]["says"]


def test_as_many_as_packs_were_suggested_may_be_packs(db):
    """Packs of two: two are a whole pack, and as many as the three packs that were suggested are three."""
    pairs = [[*row[:3], 2 if n else row[3], *row[4:]] for n, row in enumerate(RINGS["Offers"])]
    assert load_sheets({**RINGS, "Offers": pairs}).stored
    plan = plan_now(DAY)
    line = line_of(shortage_workbook(plan, as_json(plan)), quantity=3, promised=SOON)
    assert ("3 packs of 2: 6", {"quantity": "6"}) in offered(line, "quantity")


def test_a_unit_changed_to_packs_is_asked_about(sent):
    line = line_of(sent, quantity=2, promised=SOON, Unit="packs")
    assert offered(line, "quantity")[0] == ("2 packs of 5: 10", {"quantity": "10"})


def test_a_changed_pack_goes_with_its_price(sent):
    line = line_of(sent, quote=80, Pack=10)
    assert line.questions[0]["says"] == ["The pack was changed from 5 to 10."]
    takes = [takes for _, takes in offered(line, "price")]
    assert takes[:2] == [{"price": "80", "pack": "10"}, {"price": "80", "pack": "5"}]


def test_packs_are_worth_what_the_chosen_pack_holds(sent):
    line = line_of(sent, quote=80, Pack=10, quantity=7, promised=SOON)
    assert with_readings(line, {"price": "0", "quantity": "0"})["quantity"] == "70"
    assert with_readings(line, {"price": "1", "quantity": "0"})["quantity"] == "35"


# --- prices


@pytest.mark.parametrize(("price", "asked"), [(83, False), (85, True), (21.5, False), (20.5, True), (8.4, True)])
def test_a_price_that_jumps_by_more_than_twice_is_asked_about(sent, price, asked):
    line = line_of(sent, quote=price)
    assert bool(line.questions) is asked
    assert line.is_plain is not asked


def test_the_jump_is_a_setting_of_the_shop(sent):
    assert load_sheets({"Settings": [["name", "value"], ["price_jump", "1.1"]]}).stored
    assert line_of(sent, quote=50).questions


def test_a_low_price_may_be_that_of_a_piece(sent, buyer):
    line = line_of(sent, quote="8,40")
    assert line.questions[0]["says"] == ["It makes 1.68 a piece, and what is offered here makes 8.40."]
    assert ("8.40 a piece, 42.00 for a pack of 5", {"price": "42", "pack": "5"}) in offered(line, "price")
    with pytest.raises(Refusal):
        accept(line, buyer)


def test_a_high_price_may_be_that_of_the_whole_line(sent):
    line = line_of(sent, quote=86, quantity=10, promised=SOON)
    assert ("86.00 for all 2 packs, 43.00 for one", {"price": "43", "pack": "5"}) in offered(line, "price")


def test_a_price_for_one_piece_says_so(sent):
    line = line_of(sent, quote="€ 8.40 each")
    assert "The price is given for one piece, and a pack holds 5." in line.questions[0]["says"]


def test_a_price_in_another_currency_is_asked_about(sent):
    line = line_of(sent, quote="$ 43")
    assert ("in USD", {"currency": "USD"}) in offered(line, "currency")
    assert ("in EUR", {"currency": "EUR"}) in offered(line, "currency")


# --- ours or another


def test_an_alternative_named_in_the_note_is_offered_beside_ours(sent, buyer):
    line = line_of(sent, quote=43, note="we offer OR-214 instead")
    assert offered(line, "part") == [
        ("OR-014 O-ring", {"part": "OR-014"}),
        ("OR-214 O-ring of the other makers", {"part": "OR-214"}),
    ]
    with pytest.raises(Refusal, match="speaks of something else than OR-014"):
        accept(line, buyer)


def test_an_alternative_that_is_none_of_ours_is_told_apart(sent):
    line = line_of(sent, quote=43, note="superseded by XK-9000")
    assert [takes for _, takes in offered(line, "part")] == [{"part": "OR-014"}]
    assert any("enter the part in Items first" in says for says in line.questions[0]["says"])


def test_another_number_of_his_is_asked_about(sent):
    line = line_of(sent, quote=43, **{"Supplier's number": "RH-214"})
    assert line.questions[0]["says"] == ["The supplier's number was changed from RH-14 to RH-214."]
    assert [takes["part"] for _, takes in offered(line, "part")] == ["OR-014", "OR-214"]


def test_a_number_of_ours_that_the_key_does_not_name_is_asked_about(sent):
    line = line_of(sent, quote=43, **{"Our number": "OR-214"})
    assert [takes["part"] for _, takes in offered(line, "part")] == ["OR-014", "OR-214"]


# --- refusals


@pytest.mark.parametrize(
    "said", [{"quote": "no bid"}, {"note": "No bid, tool is broken"}, {"quantity": "cannot supply"}]
)
def test_no_bid_is_kept_as_his_refusal_with_the_day(sent, buyer, said):
    line = line_of(sent, **said)
    assert line.is_plain
    (done,) = accept(line, buyer)
    quote = SupplierQuote.objects.get()
    assert (quote.refused, quote.supplier.supplier, quote.item.part_number) == (True, "Ring House", "OR-014")
    assert (quote.quoted_on, quote.price_per_pack, quote.quantity) == (DAY, None, None)
    assert done.outcome == "Ring House does not bid for OR-014"
    assert Offer.objects.get(item__part_number="OR-014").price_per_pack == 42


@pytest.mark.parametrize(("packs", "says"), [(1, "1 pack of 5: 5"), (2, "2 packs of 5: 10")])
def test_packs_are_counted_as_one_speaks(packs, says):
    assert quantity_readings(Decimal(packs), Decimal(5), "each")[0][0] == says


def test_no_bid_beside_a_price_is_asked_about(sent):
    line = line_of(sent, quote=43, note="no bid")
    assert [takes for _, takes in offered(line, "refused")] == [{"refused": "yes"}, {"refused": ""}]


# --- promises


def test_an_absurd_promise_is_taken_only_when_it_is_said_to_be_meant(sent, buyer):
    far = line_of(sent, quantity=10, promised=datetime(2029, 3, 12))
    assert offered(far, "promised") == [("12 Mar 2029 is meant", {"promised": "2029-03-12"})]
    past = line_of(sent, quantity=10, promised=datetime(2026, 3, 2))
    assert offered(past, "promised") == []
    for line in (far, past):
        with pytest.raises(Refusal):
            accept(line, buyer)


# --- together


def test_lines_beside_which_nothing_stands_are_accepted_together_all_or_none(sent, buyer):
    book = openpyxl.load_workbook(io.BytesIO(sent))
    sheet = book["Shortages"]
    head = {cell.value: cell.column for cell in sheet[7] if cell.value}
    rows = {sheet.cell(row, head["Key"]).value: row for row in range(8, sheet.max_row + 1)}
    sheet.cell(rows[RING], head["Reply: quote"], 43)
    sheet.cell(rows["CO-1 / sure"], head["Reply: supplier"], "Other Rings")
    sheet.cell(rows["CO-1 / sure"], head["Reply: quote"], 12)
    out = io.BytesIO()
    book.save(out)
    reply = take_reply_back(file=SheetFile("r.xlsx", out.getvalue()), by=None, at=AT, today=DAY)
    lines = list(reply.lines.all())
    odd = line_of(sent, quantity=7, promised=SOON)
    with pytest.raises(Refusal):
        accept_as_stated(
            reply=odd.reply_id, lines=[*(line.pk for line in lines), odd.pk], key="k", by=buyer, at=AT, today=DAY
        )
    done = accept_as_stated(reply=reply.pk, lines=[line.pk for line in lines], key="k2", by=buyer, at=AT, today=DAY)
    assert len(done) == 2
    assert SupplierQuote.objects.count() == 2
    assert not OrderLine.objects.exists()
    again = accept_as_stated(reply=reply.pk, lines=[line.pk for line in lines], key="k2", by=buyer, at=AT, today=DAY)
    assert again == ()


def test_an_accepted_price_keeps_its_validity_in_the_offers(sent, buyer):
    accept(line_of(sent, quote="43,50", note="valid until 2026-04-30", quantity=10, promised=SOON), buyer)
    offer = Offer.objects.get(item__part_number="OR-014")
    assert (offer.price_per_pack, offer.valid_to_on, offer.quoted_on) == (Decimal("43.5"), date(2026, 4, 30), DAY)
    quote = SupplierQuote.objects.get()
    assert (quote.valid_to_on, quote.quantity) == (date(2026, 4, 30), 10 * ONE)

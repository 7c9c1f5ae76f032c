"""Purchasing on its pages: the list of what to order, move a promise, take a reply back and accept it line by line."""

import html
import io
import re
from datetime import date, datetime

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from bom.values import ONE
from kits.purchasing.models import Offer, OrderLine, PromiseChange, PurchaseOrder, ReplyLine, Supplier, SupplierQuote
from kits.purchasing.replies.answers import BY_HAND
from kits.web.request_keys import new_key
from tests.keeping import forget_plans
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
CORD = "CO-1 / sure"


@pytest.fixture
def buyer(client, small_shop):
    """A browser in which purchasing has signed in."""
    client.force_login(person_of("Purchasing", "purchaser", first_name="Bo", last_name="Buyer"))
    return client


def filled(client, *rows, extra=()):
    """The workbook as it was sent, filled in: each row is a key and what is said under the reply columns."""
    book = openpyxl.load_workbook(io.BytesIO(client.get("/shortages/workbook/").content))
    sheet = book["Shortages"]
    head = {cell.value: cell.column for cell in sheet[7]}
    by_key = {sheet.cell(row, head["Key"]).value: row for row in range(8, sheet.max_row + 1)}
    for key, said in (*rows, *extra):
        row = by_key.get(key) or sheet.max_row + 1
        sheet.cell(row, head["Key"], key)
        for name, value in said.items():
            sheet.cell(row, head[f"Reply: {name}"], value)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def bring(client, content, name="reply.xlsx"):
    return client.post("/purchasing/replies/", {"filled": SimpleUploadedFile(name, content)}, follow=True)


def asked_in(answer):
    """What the tick of a page stands for."""
    (found,) = re.findall(r'<input type="checkbox" name="meant" value="([^"]+)"', answer.content.decode())
    return html.unescape(found)


def test_what_to_order_stands_by_the_day_by_which(buyer):
    sheet = sheet_of(buyer.get("/purchasing/due/"))
    assert "17 Mar 2026 CO-1 cord sure 240 mm 1 1000 mm Ring House 12.00 23 Mar 2026 10 Mar 2026" in sheet
    assert "no day K-1 end seal kit sure 2 2 1 no offer" in sheet
    assert "1 line has no day, for no lead time is known." in sheet
    assert "Draft an order to Ring House" in sheet_of(buyer.get("/purchasing/due/?supplier=Ring+House"))


def test_lists_come_out_as_files(buyer):
    for address in ("/purchasing/", "/purchasing/due/", "/purchasing/offers/"):
        answer = buyer.get(f"{address}?export=csv")
        assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
        assert "CO-1" in answer.content.decode("utf-8-sig")


def test_offers_of_one_supplier_leave_the_others_to_be_chosen(buyer):
    other = Supplier.objects.create(supplier="Other House")
    ring = Offer.objects.first()
    Offer.objects.create(item=ring.item, supplier=other, pack_size=ring.pack_size, price_per_pack="1.125")
    page = buyer.get("/purchasing/offers/?supplier=Ring+House")
    assert page.context["suppliers"] == ("Other House", "Ring House")
    assert "1.125" in sheet_of(buyer.get("/purchasing/offers/"))
    assert "12.00 EUR 0.012 a mm" in sheet_of(page)


@pytest.mark.parametrize("address", ["/shortages/", "/shortages/workbook/"])
@pytest.mark.parametrize("name", ["supplier", "batch"])
def test_a_misspelled_name_does_not_stand_for_the_whole_shop(buyer, address, name):
    assert buyer.get(f"{address}?{name}=nobody").status_code == 404


def test_a_list_is_sorted_by_its_headings(buyer):
    rows = [row.order for row in buyer.get("/purchasing/?sort=-promised").context["list"].rows]
    assert rows == ["PO-1", "PO-2"]


def test_an_odd_promise_of_a_line_is_asked_about_once(buyer):
    line = OrderLine.objects.get(order="PO-1")
    said = {"promised_on": "2029-03-12", "reason": "he said so"}
    said["key"] = key_on(buyer, f"/purchasing/lines/{line.pk}/", f"/purchasing/lines/{line.pk}/promise/")
    answer = buyer.post(f"/purchasing/lines/{line.pk}/promise/", said)
    assert "The day lies more than 2 years ahead" in sheet_of(answer)
    line.refresh_from_db()
    assert line.promised_on == date(2026, 3, 20)
    buyer.post(f"/purchasing/lines/{line.pk}/promise/", {**said, "meant": asked_in(answer)})
    line.refresh_from_db()
    assert line.promised_on == date(2029, 3, 12)


def test_a_promise_moves_with_its_reason_and_its_history(buyer):
    line = OrderLine.objects.get(order="PO-2")
    said = {"promised_on": "2026-03-13", "reason": "the press broke"}
    said["key"] = key_on(buyer, f"/purchasing/lines/{line.pk}/", f"/purchasing/lines/{line.pk}/promise/")
    for _ in range(2):
        answer = buyer.post(f"/purchasing/lines/{line.pk}/promise/", said, follow=True)
    assert PromiseChange.objects.count() == 1
    sheet = sheet_of(answer)
    assert "2 Mar 2026 13 Mar 2026 9 later the press broke Bo Buyer" in sheet
    assert "Promised for 13 Mar 2026 ." in sheet
    assert "moved 1 time" in sheet_of(buyer.get("/purchasing/"))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"promised_on": "2026-02-13"}, "has passed"),
        ({"promised_on": "13.3."}, "“13.3.” is no day"),
        ({"reason": ""}, "No reason was given"),
    ],
)
def test_a_promise_that_cannot_be_is_refused(buyer, changed, words):
    line = OrderLine.objects.get(order="PO-2")
    said, page = {"promised_on": "2026-03-13", "reason": "the press broke", **changed}, f"/purchasing/lines/{line.pk}/"
    assert words in sheet_of(tap(buyer, f"{page}promise/", said, on=page))
    assert not PromiseChange.objects.exists()


def test_the_back_office_moves_no_promise_past_its_history(admin_client, small_shop):
    line = OrderLine.objects.get(order="PO-2")
    page = admin_client.get(f"/back-office/purchasing/orderline/{line.pk}/change/").content.decode()
    assert 'name="promised_on"' not in page
    assert 'name="promised_on"' in admin_client.get("/back-office/purchasing/orderline/add/").content.decode()


def reply_address(line):
    return f"/purchasing/replies/{line.reply_id}/"


def accept_ticked(buyer, *lines):
    """Accept lines together; the key is that of the page, also where the page has no button for it."""
    page = reply_address(lines[0])
    said = {"line": [line.pk for line in lines], "key": new_key("accept", lines[0].reply_id)}
    return buyer.post(f"{page}accept/", said, follow=True)


def test_a_reply_is_taken_back_and_what_is_plain_is_accepted_together(buyer):
    said = {"quote": 13, "promised": datetime(2026, 3, 13), "quantity": 1000}
    answer = bring(buyer, filled(buyer, (CORD, said), ("K-1 / sure", {"supplier": "Ring House", "quote": "€ 18,00"})))
    sheet = sheet_of(answer)
    assert "2 of 2 lines still to be decided." in sheet
    assert "Price per pack 12.00 → 13.00" in sheet
    assert "Nothing stands beside 1 of them: they may be accepted together." in sheet
    cord, kit = ReplyLine.objects.order_by("key")
    assert kit.remarks == ["The plan reckoned with no offer."], "looked at by itself, since something stands beside it"
    sheet = sheet_of(accept_ticked(buyer, cord))
    assert "accepted offer of Ring House, pack of 1000 mm, 13.00 a pack (was 12.00); 1000 mm promised for" in sheet
    assert "Order the 1 quoted line from Ring House" in sheet
    assert Offer.objects.get(item__part_number="CO-1").price_per_pack == 13
    assert not OrderLine.objects.filter(order__startswith="R").exists()
    assert "Every line is decided." in sheet_of(accept_ticked(buyer, kit))
    assert Offer.objects.get(item__part_number="K-1").price_per_pack == 18


def test_a_quote_is_drafted_by_a_step_of_its_own_and_once(buyer):
    said = {"quote": 13, "promised": datetime(2026, 3, 13), "quantity": 1000}
    bring(buyer, filled(buyer, (CORD, said)))
    accept_ticked(buyer, ReplyLine.objects.get())
    quote = SupplierQuote.objects.get()
    address = "/purchasing/draft/?supplier=Ring+House"
    page = buyer.get(address)
    assert "quoted 4 Mar 2026 at 13.00 EUR a pack of 1000 mm" in sheet_of(page)
    form = page.context["form"]
    row = next(line for line in form.lines if line.quote)
    assert (row.quote.pk, row.is_ticked, [line.part_number for line in form.lines].count("CO-1")) == (quote.pk, True, 1)
    said = {f"take-{row.name}": "on", f"packs-{row.name}": "1", f"price-{row.name}": "13"}
    said |= {f"wanted-{row.name}": "2026-03-13", "key": key_in(buyer.get(address))}
    other = {**said, "key": key_in(buyer.get(address))}
    assert "Order PO-3" in sheet_of(buyer.post(address, said, follow=True))
    assert "PO-3" not in sheet_of(buyer.get("/purchasing/quotes/?show=waiting"))
    assert "drafted, PO-3 line 1" in sheet_of(buyer.get("/purchasing/quotes/"))
    assert buyer.post(address, other).status_code == 422, "the page of a second purchaser shows it no more"
    order = PurchaseOrder.objects.get()
    page = f"/purchasing/orders/sheet/{order}/"
    tap(buyer, f"/purchasing/draft/{order.pk}/send/", {"sent_on": "2026-03-04"}, on=page)
    line = OrderLine.objects.get(order="PO-3")
    quote.refresh_from_db()
    assert quote.order_line == line
    assert line.entry.reason.endswith(f"what to order, quoted in reply {quote.reply_line.reply_id}")
    assert "ordered, PO-3 line 1" in sheet_of(buyer.get("/purchasing/quotes/"))


def test_a_quote_may_be_dropped_and_is_not_ordered_then(buyer):
    bring(buyer, filled(buyer, (CORD, {"quote": 13, "promised": datetime(2026, 3, 13), "quantity": 1000})))
    accept_ticked(buyer, ReplyLine.objects.get())
    quote, page = SupplierQuote.objects.get(), "/purchasing/quotes/"
    assert "1 quote waits to be ordered." in sheet_of(buyer.get(page))
    answer = tap(buyer, f"{page}{quote.pk}/drop/", {}, on=page, follow=True)
    assert "CO-1 from Ring House is not to be ordered." in sheet_of(answer)
    assert not any(row.quote for row in buyer.get("/purchasing/draft/?supplier=Ring+House").context["form"].lines)


def test_a_refusal_stands_among_the_quotes_with_its_day(buyer):
    bring(buyer, filled(buyer, (CORD, {"quote": "no bid"})))
    assert "Does not bid yes" in sheet_of(buyer.get(reply_address(ReplyLine.objects.get())))
    accept_ticked(buyer, ReplyLine.objects.get())
    assert "does not bid" in sheet_of(buyer.get("/purchasing/quotes/"))
    exported = buyer.get("/purchasing/quotes/?export=csv").content.decode("utf-8-sig")
    assert "Ring House" in exported
    assert "2026-03-04" in exported
    assert "Ring House did not bid on 4 Mar" in sheet_of(buyer.get("/purchasing/due/"))


def test_a_line_that_asks_is_accepted_with_the_reading_that_is_chosen(buyer):
    said = {"quote": 13, "promised": datetime(2026, 3, 13), "quantity": 700}
    assert "Asked: 700 is no whole number of packs of 1000." in sheet_of(bring(buyer, filled(buyer, (CORD, said))))
    line = ReplyLine.objects.get()
    refused = sheet_of(accept_ticked(buyer, line))
    assert "Look at the line and say how it is meant." in refused
    address = f"/purchasing/replies/lines/{line.pk}/"
    form = filled_form(buyer, address)
    answer = tap(buyer, address, form)
    assert (answer.status_code, "Say how it is meant: choose one." in sheet_of(answer)) == (422, True)
    number = next(n for n, one in enumerate(line.questions[0]["readings"]) if "next whole" in one["says"])
    answer = tap(buyer, address, {**form, "ask-quantity": str(number), "quantity": "500"})
    assert "You chose how it is meant and wrote something else below" in sheet_of(answer)
    tap(buyer, address, {**form, "ask-quantity": str(number)})
    line.refresh_from_db()
    assert (line.state, line.quote.quantity) == ("accepted", 1000 * ONE)
    assert line.answers == {"quantity": "1 pack of 1000, the next whole: 1000 mm"}
    assert "Asked about the quantity, and answered: 1 pack of 1000" in sheet_of(buyer.get(address))


def filled_form(buyer, address):
    """What the form of a line says before anybody touches it."""
    form = buyer.get(address).context["form"]
    return {name: value for name, value in form.initial.items() if value and name in form.fields}


def test_days_of_a_reply_stand_as_pages_write_them(buyer):
    shown = sheet_of(bring(buyer, filled(buyer, (CORD, {"promised": datetime(2026, 3, 13), "quote": 13}))))
    assert "Promised 13 Mar 2026" in shown
    assert re.search(r"needed \d+ Mar 2026", shown)


def test_a_line_with_a_damaged_number_waits_until_it_is_put_right(buyer):
    answer = bring(buyer, filled(buyer, (CORD, {"promised": datetime(2026, 3, 13), "quantity": "1 roll of cord"})))
    assert "Reply: quantity is “1 roll of cord”" in sheet_of(answer)
    line = ReplyLine.objects.get()
    address = f"/purchasing/replies/lines/{line.pk}/"
    form = {**filled_form(buyer, address), "quantity": "1000"}
    assert tap(buyer, address, form).status_code == 422
    tap(buyer, address, {**form, "ask-quantity": BY_HAND})
    assert SupplierQuote.objects.get().quantity == 1000 * ONE


def test_two_taps_on_accept_accept_the_line_that_was_shown_and_no_other(buyer):
    kit = ("K-1 / sure", {"supplier": "Ring House", "quote": "18"})
    bring(buyer, filled(buyer, (CORD, {"quote": 13}), kit))
    cord, kit = ReplyLine.objects.order_by("key")
    page = reply_address(cord)
    said = {"line": [cord.pk], "key": key_on(buyer, page, f"{page}accept/")}
    for _ in range(2):
        buyer.post(f"{page}accept/", said)
    changed = buyer.post(f"{page}accept/", {**said, "line": [kit.pk]}, follow=True)
    assert "This page was used already, for something else" in sheet_of(changed)
    kit.refresh_from_db()
    assert (SupplierQuote.objects.count(), kit.state) == (1, "open")


def test_a_row_that_was_added_keeps_its_strange_number_and_says_what_to_do(buyer):
    book = openpyxl.load_workbook(io.BytesIO(filled(buyer)))
    sheet = book["Shortages"]
    head = {cell.value: cell.column for cell in sheet[7]}
    row = sheet.max_row + 1
    sheet.cell(row, head["Our number"], "ZZ-9")
    sheet.cell(row, head["Supplier"], "Ring House")
    sheet.cell(row, head["Reply: quote"], 4.5)
    out = io.BytesIO()
    book.save(out)
    shown = sheet_of(bring(buyer, out.getvalue()))
    assert "ZZ-9 is no number of ours: write ours, or enter the part in Items first." in shown
    assert "Our number ZZ-9 Supplier Ring House Price per pack 4.50" in shown
    line = ReplyLine.objects.get()
    form = buyer.get(f"/purchasing/replies/lines/{line.pk}/").context["form"]
    assert [form[name].value() for name in ("part", "supplier", "price")] == ["ZZ-9", "Ring House", "4.5"]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"quantity": "-5", "promised": "2026-03-20"}, "A delivery holds more than 0"),
        ({"price": "13", "valid": "2026-03-01"}, "The price lapsed on 1 Mar 2026"),
        ({"price": "13", "promised": "2026-03-01"}, "The promised day 1 Mar 2026 has passed"),
        ({"price": "-1"}, "-1 is too little: write 0 or more."),
        ({"lead": "9999"}, "9999 is too much: write 2000 or less."),
        ({"note": "x" * 401}, "This has 401 characters, and at most 400 are kept: shorten it."),
    ],
)
def test_an_answer_that_cannot_be_says_so_beside_its_field(buyer, said, words):
    bring(buyer, filled(buyer, (CORD, {"quote": 11})))
    line = ReplyLine.objects.get()
    said = {"part": "CO-1", "supplier": "Ring House", "pack": "1000", **said}
    answer = tap(buyer, f"/purchasing/replies/lines/{line.pk}/", said)
    assert answer.status_code == 422
    assert words in sheet_of(answer)
    line.refresh_from_db()
    assert line.state == "open"


def test_an_odd_promise_of_a_reply_is_looked_at_and_taken_when_it_is_meant(buyer):
    said = {"quote": 11, "promised": datetime(2029, 3, 12), "quantity": 1000}
    shown = sheet_of(bring(buyer, filled(buyer, (CORD, said))))
    assert "The day lies more than 2 years ahead: correct it, or ask the supplier whether it is meant." in shown
    line = ReplyLine.objects.get()
    address = f"/purchasing/replies/lines/{line.pk}/"
    form = filled_form(buyer, address)
    assert tap(buyer, address, form).status_code == 422
    odder = tap(buyer, address, {**form, "ask-promised": BY_HAND, "promised": "2030-03-12"})
    assert "The day lies more than 2 years ahead: correct it, or tick below that it is meant." in sheet_of(odder)
    tap(buyer, address, {**form, "ask-promised": "0"})
    line.refresh_from_db()
    assert (line.state, line.quote.promised_on) == ("accepted", date(2029, 3, 12))


def test_a_line_set_aside_can_be_taken_up_later(buyer):
    bring(buyer, filled(buyer, (CORD, {"quote": 13})))
    line = ReplyLine.objects.get()
    page, address = reply_address(line), f"/purchasing/replies/lines/{line.pk}/decide/"
    assert "set aside Bo Buyer" in sheet_of(tap(buyer, address, {"aside": "1"}, on=page, follow=True))
    tap(buyer, address, {"open": "1"}, on=page)
    assert "accepted" in sheet_of(accept_ticked(buyer, line))
    assert "1 of 1 line still" not in sheet_of(buyer.get("/purchasing/replies/"))


def test_a_file_that_is_no_reply_says_so_beside_the_field(buyer):
    answer = bring(buyer, b"nothing", "letter.xlsx")
    assert answer.status_code == 422
    assert "letter.xlsx" in sheet_of(answer)
    assert "Take the reply back" in sheet_of(answer)


def test_who_does_not_order_sees_but_changes_nothing(reader, small_shop):
    line = OrderLine.objects.get(order="PO-2")
    for address in ("/purchasing/", "/purchasing/due/", "/purchasing/offers/", "/purchasing/replies/"):
        assert reader.get(address).status_code == 200
    assert "Another promise" not in sheet_of(reader.get(f"/purchasing/lines/{line.pk}/"))
    assert reader.get("/purchasing/draft/?supplier=Ring+House").status_code == 403
    assert reader.post(f"/purchasing/lines/{line.pk}/promise/", {}).status_code == 403
    assert reader.post("/purchasing/replies/", {}).status_code == 403


def test_lists_take_the_same_number_of_statements_for_many_rows(buyer, django_assert_max_num_queries):
    one = OrderLine.objects.get(order="PO-2")
    OrderLine.objects.bulk_create(
        OrderLine(
            order=f"B-{n}",
            folded_order=f"b-{n}",
            line="1",
            folded="1",
            supplier=one.supplier,
            item=one.item,
            quantity=ONE,
            promised_on=one.promised_on,
        )
        for n in range(30)
    )
    forget_plans()
    with django_assert_max_num_queries(12):
        assert buyer.get("/purchasing/").context["list"].whole == 32


def test_what_packs_bring_over_is_told_with_its_life(buyer):
    # One pack of 1000 mm of cord cured this quarter lives 15 years, and nothing of it was used up so far.
    shown = sheet_of(buyer.get("/shortages/"))
    assert re.search(r"\d+ mm none used in \d+ months?, expires after 31 Mar 2041", shown)
    text = buyer.get("/shortages/?export=csv").content.decode("utf-8-sig")
    assert "Of what is over" in text

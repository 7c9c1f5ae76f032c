"""Requests and the comparison on their pages: ask in one step, send, type an answer in, compare."""

import io

import openpyxl
import pytest

from kits.purchasing.models import PriceRequest, PurchaseOrder, Reply, SupplierQuote
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
NEW, CHOOSE = "/purchasing/requests/new/", "/purchasing/comparison/order/"


def form_of(client, **changed):
    """The form as its page shows it, with the first supplier ticked, and whatever is changed."""
    page = client.get(NEW)
    form = page.context["form"]
    said = {"key": key_in(page), "reply_by": "2026-03-11", f"ask-{form.suppliers[0].pk}": "on"}
    for line, fields in form.rows:
        said |= {fields["take"].html_name: "on", fields["quantity"].html_name: fields["quantity"].value() or ""}
        said[fields["quantity"].html_name] = line.short.figure
    return {**said, **changed}


def ask_ring_house(client):
    """One request to the only supplier of the small shop."""
    answer = client.post(NEW, form_of(client), follow=True)
    assert answer.status_code == 200
    return PriceRequest.objects.get()


@pytest.fixture
def buyer(client, small_shop):
    """A browser in which purchasing has signed in."""
    client.force_login(person_of("Purchasing", "purchaser"))
    return client


def test_ticked_lines_become_a_request_once(buyer):
    said = form_of(buyer)
    first = buyer.post(NEW, said, follow=True)
    assert "Request ASK-0001 to Ring House is made" in sheet_of(first)
    buyer.post(NEW, said)
    assert PriceRequest.objects.count() == 1
    assert "not sent yet" in sheet_of(buyer.get("/purchasing/requests/"))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"reply_by": ""}, "No day was given"),
        ({"reply_by": "soon"}, "“soon” is no day"),
        ({"reply_by": "2026-03-01"}, "has passed"),
    ],
)
def test_a_request_that_cannot_be_made_says_why_and_keeps_what_was_typed(buyer, changed, words):
    answer = buyer.post(NEW, form_of(buyer, note="carriage paid", **changed))
    assert answer.status_code == 422
    assert words in sheet_of(answer)
    assert "carriage paid" in answer.content.decode()
    assert not PriceRequest.objects.exists()


def test_a_quantity_that_is_none_is_refused_beside_its_field(buyer):
    said = form_of(buyer)
    name = next(name for name in said if name.startswith("quantity-"))
    answer = buyer.post(NEW, {**said, name: "a few"})
    assert "“a few” is not a quantity" in sheet_of(answer)


def test_a_request_is_printed_downloaded_and_marked_as_sent(buyer):
    request = ask_ring_house(buyer)
    page = f"/purchasing/requests/{request.number}/"
    book = openpyxl.load_workbook(io.BytesIO(buyer.get(f"{page}workbook/").content))
    assert book.sheetnames == ["Request"]
    late = tap(buyer, f"{page}sent/", {"sent_on": "2026-03-05"}, on=page)
    assert late.status_code == 422
    assert "still to come" in sheet_of(late)
    tap(buyer, f"{page}sent/", {"sent_on": "2026-03-04"}, on=page)
    assert "sent, no answer yet" in sheet_of(buyer.get("/purchasing/requests/"))


def test_a_request_is_taken_back(buyer):
    request = ask_ring_house(buyer)
    page = f"/purchasing/requests/{request.number}/"
    tap(buyer, f"{page}back/", {}, on=page)
    assert "taken back" in sheet_of(buyer.get("/purchasing/requests/"))


def test_an_answer_that_is_typed_in_is_looked_at_line_by_line_and_compared(buyer):
    request = ask_ring_house(buyer)
    page = f"/purchasing/requests/{request.number}/answer/"
    nothing = buyer.post(page, {})
    assert "Nothing was typed" in sheet_of(nothing)
    line = request.lines.get(item__part_number="CO-1", why="sure")
    said = {f"price-{line.place}": "13.00", f"packs-{line.place}": line.packs, f"promised-{line.place}": "2026-03-13"}
    buyer.post(page, said)
    buyer.post(page, said)
    reply = Reply.objects.get()
    (heard,) = reply.lines.all()
    assert heard.asked_line == line
    tap(buyer, f"/purchasing/replies/{reply.pk}/accept/", {"line": [heard.pk]}, on=f"/purchasing/replies/{reply.pk}/")
    assert SupplierQuote.objects.get().price_per_pack == 13
    shown = sheet_of(buyer.get("/purchasing/comparison/"))
    assert "The cheapest set costs" in shown
    assert "CO-1" in shown
    assert "CO-1" in sheet_of(buyer.get("/purchasing/comparison/parts/"))


def test_ticked_lines_of_the_cheapest_set_become_drafted_orders_once(buyer):
    page = "/purchasing/comparison/?whose=record"
    shown = buyer.get(page)
    lines = [line.name for line in shown.context["found"].lines]
    assert lines
    said = {"key": key_in(shown, CHOOSE), "line": lines[:1], "whose": "record", "late": "least"}
    for _ in range(2):
        buyer.post(CHOOSE, said)
    (order,) = PurchaseOrder.objects.all()
    (terms,) = order.lines.all()
    chosen = shown.context["found"].lines[0]
    assert (str(order.supplier), str(terms.item), terms.packs) == (chosen.supplier, chosen.part_number, chosen.packs)
    assert (terms.price_per_pack, terms.wanted_on) == (chosen.price_per_pack, chosen.arrives_on)


def test_without_a_tick_nothing_is_drafted(buyer):
    shown = buyer.get("/purchasing/comparison/?whose=record")
    said = {"key": key_in(shown, CHOOSE), "whose": "record"}
    answer = buyer.post(CHOOSE, said, follow=True)
    assert "No line was ticked" in sheet_of(answer)
    assert not PurchaseOrder.objects.exists()


def test_what_was_typed_wrongly_is_asked_about_and_not_lost(buyer):
    request = ask_ring_house(buyer)
    buyer.post(f"/purchasing/requests/{request.number}/answer/", {"price-1": "13 or so", "note-1": "carriage paid"})
    (heard,) = Reply.objects.get().lines.all()
    assert "13 or so" in str(heard.questions)
    assert heard.stated["note"] == "carriage paid"


def test_without_quotes_the_comparison_says_what_to_do(buyer):
    assert "No quote can be compared yet" in sheet_of(buyer.get("/purchasing/comparison/"))
    assert "Ring House" in sheet_of(buyer.get("/purchasing/comparison/?whose=record"))

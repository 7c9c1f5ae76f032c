"""Orders on their pages: drafted from what is short, put right, printed, sent and cancelled."""

import html
import re

import pytest

from bom.values import ONE
from kits.catalog.models import Item
from kits.purchasing.models import LineTerms, Offer, OrderLine, PurchaseOrder, Supplier
from tests.keeping import forget_plans
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
DRAFT = "/purchasing/draft/"


@pytest.fixture
def buyer(client, small_shop):
    """A browser in which purchasing has signed in; the kits are offered too, and small orders cost."""
    client.force_login(person_of("Purchasing", "purchaser", first_name="Bo", last_name="Buyer"))
    Supplier.objects.filter(supplier="Ring House").update(
        order_minimum_value=100, small_order_charge=15, certificate_charge="7.50"
    )
    house, kit = Supplier.objects.get(), Item.objects.get(part_number="K-1")
    Offer.objects.create(supplier=house, item=kit, lead_days=5, price_per_pack=20, currency="EUR")
    return client


def form_of(buyer, address=DRAFT, **changed):
    """What the form says as it stands, some of it changed: LINE stands for the row of the cord."""
    page = buyer.get(address)
    form = page.context["form"]
    said = {"key": key_in(page)}
    for line in form.lines:
        if line.is_ticked:
            said |= {f"take-{line.name}": "on", f"packs-{line.name}": line.packs, f"wanted-{line.name}": line.wanted_on}
            said |= {f"price-{line.name}": line.price_per_pack or ""}
    cord = next(line for line in form.lines if line.part_number == "CO-1")
    return {**said, **{name.replace("LINE", cord.name): value for name, value in changed.items()}}


def order_page(number="PO-3"):
    return f"/purchasing/orders/sheet/{number}/"


def drafted(buyer):
    """The order that is drafted from the list as it stands."""
    buyer.post(DRAFT, form_of(buyer))
    return PurchaseOrder.objects.get()


def test_the_form_says_what_each_order_comes_to_with_its_charges(buyer):
    Item.objects.filter(part_number="CO-1").update(certificate_needed=True)
    sheet = sheet_of(buyer.get(DRAFT))
    # kits: 2 at 20.00, cord: 1 pack of 1000 mm at 12.00; below 100: 15.00; one certificate: 7.50
    assert "74.50 EUR, with 15.00 for a small order, below 100 and 7.50 for certificates" in sheet


def test_what_is_short_becomes_a_draft_in_one_step_and_once(buyer):
    said = form_of(buyer)
    for _ in range(2):
        answer = buyer.post(DRAFT, said, follow=True)
    assert "Drafted: order PO-3. Look at it, then send it." in sheet_of(answer)
    assert PurchaseOrder.objects.get().lines.count() == 2
    assert not OrderLine.objects.filter(order="PO-3").exists(), "a draft is no supply"
    sheet = sheet_of(buyer.get(order_page()))
    assert "A draft: the plan does not count on it yet. 2 lines with Ring House: 67.00 EUR" in sheet
    assert "short of it: " in sheet


def test_a_second_purchaser_is_shown_what_was_drafted_meanwhile(buyer):
    said, other = form_of(buyer), form_of(buyer)
    buyer.post(DRAFT, said)
    answer = buyer.post(DRAFT, other)
    assert (answer.status_code, PurchaseOrder.objects.count()) == (422, 1)
    sheet = sheet_of(answer)
    assert "This has changed since the page was opened" in sheet
    assert "drafted already: 1000 mm on PO-3" in sheet
    assert not any(line.is_ticked for line in buyer.get(DRAFT).context["form"].lines)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"packs-LINE": "many"}, "“many” packs cannot be ordered: write a whole number."),
        ({"packs-LINE": ""}, "Write how many packs, or take the tick away."),
        ({"packs-LINE": "-5"}, "“-5” packs cannot be ordered"),
        ({"price-LINE": "cheap"}, "“cheap” is no price"),
        ({"price-LINE": "-1"}, "“-1” is no price"),
        ({"wanted-LINE": "soon"}, "“soon” is no day"),
        ({"wanted-LINE": "2026-03-01"}, "has passed"),
        ({"key": "x"}, "open it anew"),
    ],
)
def test_a_draft_that_cannot_be_says_why_and_keeps_what_was_typed(buyer, changed, words):
    answer = buyer.post(DRAFT, form_of(buyer, **changed))
    assert answer.status_code == 422
    assert words in sheet_of(answer)
    (typed,) = changed.values()
    assert f'value="{typed}"' in answer.content.decode() or "key" in changed
    assert not PurchaseOrder.objects.exists()


def test_nothing_ticked_is_nothing_drafted(buyer):
    said = {name: value for name, value in form_of(buyer).items() if not name.startswith("take")}
    assert "No line was ticked" in sheet_of(buyer.post(DRAFT, said))


def test_totals_are_worked_out_again_without_drafting(buyer):
    answer = buyer.post(DRAFT, {**form_of(buyer, **{"packs-LINE": "9"}), "reckon": "1"})
    # 40.00 + 9 x 12.00 = 148.00, not below 100 any more
    assert "148.00 EUR" in sheet_of(answer)
    assert not PurchaseOrder.objects.exists()


def test_an_odd_day_is_asked_about_once(buyer):
    said = form_of(buyer, **{"wanted-LINE": "2029-03-12"})
    answer = buyer.post(DRAFT, said)
    assert "The day lies more than 2 years ahead: correct it, or tick below that it is meant." in sheet_of(answer)
    (asked,) = re.findall(r'<input type="checkbox" name="meant" value="([^"]+)"', answer.content.decode())
    buyer.post(DRAFT, {**said, "meant": html.unescape(asked)})
    assert LineTerms.objects.filter(wanted_on="2029-03-12").exists()


def test_a_number_that_is_taken_is_refused_beside_the_form(buyer):
    house = Supplier.objects.get(supplier="Ring House")
    answer = buyer.post(DRAFT, {**form_of(buyer), f"number-{house.pk}": "po-1"})
    assert "There is an order po-1 already" in sheet_of(answer)


def test_each_supplier_gets_an_order_of_its_own(buyer):
    other = Supplier.objects.create(supplier="Kit House", currency="EUR")
    Offer.objects.filter(item__part_number="K-1").update(supplier=other)
    answer = buyer.post(DRAFT, form_of(buyer), follow=True)
    assert "Drafted: order PO-3, PO-4." in sheet_of(answer)
    assert {str(one.supplier) for one in PurchaseOrder.objects.all()} == {"Ring House", "Kit House"}
    assert "2 drafts wait to be sent." in sheet_of(answer)


def test_a_draft_is_put_right_then_printed_then_sent(buyer):
    order = drafted(buyer)
    lines = {line.item.part_number: line.pk for line in order.lines.select_related("item")}
    said = {}
    for line in order.lines.all():
        said |= {
            f"packs-{line.pk}": line.packs,
            f"price-{line.pk}": line.price_per_pack,
            f"wanted-{line.pk}": "2026-03-13",
        }
    said |= {f"packs-{lines['CO-1']}": "3", f"packs-{lines['K-1']}": "0"}
    answer = tap(buyer, f"{DRAFT}{order.pk}/lines/", said, on=order_page(), follow=True)
    # 3 x 12.00 = 36.00, and 15.00
    assert "1 line with Ring House: 51.00 EUR, with 15.00 for a small order" in sheet_of(answer)
    paper = sheet_of(buyer.get("/purchasing/orders/print/PO-3/"))
    assert "3 × 1000 mm 3000 mm 12.00 36.00 13 Mar 2026" in paper
    assert "Total, EUR 51.00" in paper
    assert "J-1" not in paper, "nothing of the shop's own"
    answer = tap(buyer, f"{DRAFT}{order.pk}/send/", {"sent_on": "2026-03-04"}, on=order_page(), follow=True)
    assert "the plan counts on its lines now" in sheet_of(answer)
    line = OrderLine.objects.get(order="PO-3")
    assert (line.quantity, str(line.promised_on)) == (3000 * ONE, "2026-03-13")
    sheet = sheet_of(buyer.get(order_page()))
    assert "1 line is not confirmed yet." in sheet
    assert re.search(r"for \d needs? J-\d : ", sheet)


def test_a_draft_is_cancelled_and_stands_among_all_orders(buyer):
    order = drafted(buyer)
    answer = tap(buyer, f"{DRAFT}{order.pk}/cancel/", {}, on=order_page(), follow=True)
    assert "Order PO-3 is cancelled; its number is not given again." in sheet_of(answer)
    assert "PO-3" not in sheet_of(buyer.get("/purchasing/orders/"))
    assert "PO-3 Ring House cancelled" in sheet_of(buyer.get("/purchasing/orders/?show=all"))


def test_what_was_sent_meanwhile_is_not_changed_or_sent_again(buyer):
    order = drafted(buyer)
    address, said = f"{DRAFT}{order.pk}/send/", {"sent_on": "2026-03-04"}
    other = {**said, "key": key_on(buyer, order_page(), address)}
    first = {**said, "key": key_on(buyer, order_page(), address)}
    for _ in range(2):
        assert buyer.post(address, first).status_code == 302
    answer = buyer.post(address, other)
    assert (answer.status_code, OrderLine.objects.filter(order="PO-3").count()) == (422, 2)
    assert "changed since the page was opened" in sheet_of(answer)


def test_an_order_of_a_list_is_shown_without_prices(buyer):
    sheet = sheet_of(buyer.get(order_page("po-1")))
    assert "it came in by a list, without packs and prices" in sheet
    assert "confirmed" in sheet
    assert buyer.get("/purchasing/orders/print/PO-1/").status_code == 404
    assert buyer.get(order_page("PO-999")).status_code == 404


def test_who_does_not_order_sees_orders_and_changes_nothing(buyer, planner):
    order = drafted(buyer)
    buyer.force_login(planner)
    page = sheet_of(buyer.get(order_page()))
    assert "It was sent" not in page
    assert buyer.get(DRAFT).status_code == 403
    for step in ("lines", "send", "cancel"):
        assert buyer.post(f"{DRAFT}{order.pk}/{step}/", {}).status_code == 403


def test_orders_take_the_same_number_of_statements_for_many(buyer, django_assert_max_num_queries):
    drafted(buyer)
    cord = Item.objects.get(part_number="CO-1")
    house, entry = Supplier.objects.get(supplier="Ring House"), PurchaseOrder.objects.get().entry
    for number in range(30):
        order = PurchaseOrder.objects.create(number=f"B-{number}", supplier=house, entry=entry)
        LineTerms.objects.create(order=order, number=1, item=cord, packs=1, wanted_on="2026-03-12")
    forget_plans()
    with django_assert_max_num_queries(12):
        assert buyer.get("/purchasing/orders/").context["list"].whole == 33

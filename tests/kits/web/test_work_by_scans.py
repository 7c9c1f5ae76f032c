"""Counting, receiving and putting away with a scanner: what a scan leads to, and what it never does by itself."""

import pytest

from bom.values import ONE
from kits.catalog.models import Item
from kits.purchasing.models import Offer, OrderLine
from kits.stock.counts.actions import begin_count
from kits.stock.models import Balance, Lot, Place, Posting
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of
from tests.kits.web.test_walker_pages import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(small_shop):
    return person("clerk")


@pytest.fixture
def sheet(clerk):
    """A count sheet of everything that lies in A1."""
    by = clerk.get("/picking/").wsgi_request.user
    balances = list(Balance.objects.on_shelf().filter(quantity__gt=0).values_list("pk", flat=True))
    return begin_count(balance_ids=balances, by=by, at=AT, key="count")


def line_at(sheet, lot):
    return sheet.lines.get(balance__lot__lot=lot)


def test_packet_scanned_leads_to_its_line_and_a_bin_to_its_first_open_one(clerk, sheet):
    page = f"/storeroom/counts/{sheet.pk}/"
    line = line_at(sheet, "L-1")
    assert clerk.get(page, {"code": "LOT OR-014 L-1"}).url == f"{page}?at={line.pk}"
    first = next(row.pk for row in clerk.get(page).context["sheet"].rows if row.open)
    assert clerk.get(page, {"code": "PLACE A1"}).url == f"{page}?at={first}"
    held = sheet.lines.get(pk=first).balance.quantity // ONE
    tap(clerk, f"{page}lines/{first}/", {"counted": str(held)}, on=page)
    assert clerk.get(page, {"code": "PLACE A1"}).url != f"{page}?at={first}", "what is counted is not counted again"
    answer = clerk.get(page, {"code": "PLACE Z9"})
    assert answer.status_code == 409
    assert "“PLACE Z9” is on no line of this sheet" in sheet_of(answer)


def test_count_field_has_number_keys_and_shows_no_book_figure(clerk, sheet):
    page = clerk.get(f"/storeroom/counts/{sheet.pk}/").content.decode()
    assert 'name="counted" data-pad' in page
    assert "web/pad.js" in page


def test_places_to_count_are_chosen_by_their_label(clerk):
    assert clerk.get("/storeroom/counts/", {"place": "PLACE A1"}).context["place"] == "A1"


def test_scanned_order_shows_its_lines_and_a_line_opens_its_form_with_nothing_filled_in(clerk):
    line = OrderLine.objects.open().select_related("item").first()
    shown = clerk.get("/storeroom/receive/", {"code": f"ORDER {line.order}"})
    assert shown.url == f"/storeroom/receive/?q={line.order}"
    form = clerk.get("/storeroom/receive/", {"code": f"PART {line.item.part_number}"})
    assert form.url == f"/storeroom/receive/lines/{line.pk}/"
    page = clerk.get(form.url)
    assert page.context["form"]["quantity_1"].value() is None, "how many came is counted, not taken over"
    refused = tap(clerk, form.url, {"quantity_1": "", "place_1": Place.objects.get(place="A1").pk})
    assert refused.status_code == 422
    assert "Write how many came of this lot." in sheet_of(refused)


def test_suppliers_own_number_on_the_delivery_note_is_known(clerk):
    line = OrderLine.objects.open().first()
    Offer.objects.create(supplier=line.supplier, item=line.item, supplier_part_number="XQ 77-1")
    assert clerk.get("/storeroom/receive/", {"code": "xq 77-1"}).url == f"/storeroom/receive/lines/{line.pk}/"


def test_part_on_no_order_is_received_without_one_and_what_is_unknown_is_said(clerk):
    on_order = OrderLine.objects.open().values("item")
    part = Item.objects.filter(kind="part").exclude(pk__in=on_order).first()
    assert clerk.get("/storeroom/receive/", {"code": f"PART {part}"}).url == f"/storeroom/receive/parts/{part}/"
    answer = clerk.get("/storeroom/receive/", {"code": "nobody knows this"}, follow=True)
    assert "names no order and no part" in sheet_of(answer)


def test_search_of_an_order_leads_the_clerk_to_receiving_and_the_buyer_to_purchasing(clerk):
    order = OrderLine.objects.open().first().order
    assert clerk.get("/search/", {"q": order}).url == f"/storeroom/receive/?q={order}"
    assert person("buyer", "Purchasing").get("/search/", {"q": order}).url == f"/purchasing/?order={order}"


@pytest.fixture
def waiting(clerk):
    """Rings that wait on a staging shelf; their home is A1."""
    Place.objects.create(place="IN", kind="staging")
    Place.objects.create(place="B7", walk_order=70)
    Item.objects.filter(part_number="OR-014").update(home_place="A1")
    ring, shelf = Lot.objects.get(lot="L-1"), Place.objects.get(place="IN")
    came = Balance.objects.create(lot=ring, place=shelf, quantity=0)
    tap(
        clerk,
        "/storeroom/receive/parts/OR-014/",
        {"quantity_1": "5", "lot_1": "L-9", "cure_1": "4Q25", "place_1": shelf.pk},
    )
    came.delete()
    return Balance.objects.get(lot__lot="L-9")


def into(clerk, place):
    answer = clerk.get("/storeroom/put-away/", {"code": f"PLACE {place}"})
    return answer.url, f"/storeroom/put-away/into/{Place.objects.get(place=place).pk}/"


def test_bin_then_packet_puts_all_of_it_away_once(clerk, waiting):
    page, address = into(clerk, "A1")
    sent = {"key": key_on(clerk, page, address), "code": "LOT OR-014 L-9"}
    before = Posting.objects.count()
    for _ in range(2):
        assert clerk.post(address, sent).url == page
    assert Posting.objects.count() == before + 1
    assert Balance.objects.get(lot__lot="L-9", place__place="A1").quantity == 5 * ONE
    assert ledger_differences() == []
    again = tap(clerk, address, {"code": "LOT OR-014 L-9"}, on=page, follow=True)
    assert "is not to be put away" in sheet_of(again)


@pytest.mark.parametrize(
    ("place", "code", "says"),
    [
        ("B7", "LOT OR-014 L-9", "belongs in A1, and this is B7. Nothing was moved."),
        ("A1", "BAG 4", "names no lot"),
        ("A1", "LOT OR-014 L-1", "is not to be put away"),
    ],
)
def test_what_does_not_belong_in_the_bin_stays_where_it_is(clerk, waiting, place, code, says):
    page, address = into(clerk, place)
    before = Posting.objects.count()
    assert says in sheet_of(tap(clerk, address, {"code": code}, on=page, follow=True))
    assert Posting.objects.count() == before


def test_field_for_a_place_asks_which_place_a_label_names(clerk):
    assert clerk.get("/scan/place/", {"code": "PLACE A1"}).json() == {"place": Place.objects.get(place="A1").pk}
    assert clerk.get("/scan/place/", {"code": "a1"}).json() == {"place": Place.objects.get(place="A1").pk}
    assert "names no place" in clerk.get("/scan/place/", {"code": "LOT OR-014 L-1"}).json()["refused"]
    assert "data-places" in clerk.get("/storeroom/receive/parts/OR-014/").content.decode()

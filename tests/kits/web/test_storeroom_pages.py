"""The storeroom's pages on the small shop: what they show, what they post, what they refuse without losing a word."""

import csv
import io
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.purchasing.models import OrderLine
from kits.stock.models import Balance, Certificate, Count, Lot, Place, Posting
from kits.stock.suspects.actions import freeze_lot
from kits.web.request_keys import new_key
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db

LISTS = [
    "/storeroom/", "/storeroom/receive/", "/storeroom/put-away/", "/storeroom/movements/", "/storeroom/quarantine/",
    "/storeroom/disposal/", "/storeroom/disposal/record/", "/storeroom/bench/", "/storeroom/counts/",
    "/storeroom/first/", "/storeroom/certificates/",
]  # fmt: skip


def ring():
    return Balance.objects.get(lot__lot="L-1", place__place="A1", condition="usable", packet="sealed")


def delivery(**given):
    return {"quantity_1": "1", "place_1": Place.objects.get(place="A1").pk, **given}


def test_front_page_says_what_waits_and_leads_to_the_work(clerk):
    sheet = sheet_of(clerk.get("/storeroom/"))
    assert "Receive 1 order line overdue" in sheet
    assert "Count 4 due" in sheet


@pytest.mark.parametrize("address", LISTS)
def test_every_list_goes_out_as_a_file_of_what_it_shows(clerk, address):
    page = clerk.get(address)
    assert page.status_code == 200
    text = clerk.get(address, {"export": "csv"})
    rows = list(csv.reader(io.StringIO(text.content.decode("utf-8-sig"))))
    assert text.headers["Content-Disposition"].startswith("attachment")
    assert len(rows) == 1 + (page.context["list"].count)
    assert clerk.get(address, {"export": "xlsx"}).content.startswith(b"PK")


def test_list_is_sorted_by_the_heading_that_was_chosen_both_ways(clerk):
    lots = lambda sort: re.findall(  # noqa: E731
        r"^A1,([^,]+),", clerk.get("/storeroom/", {"sort": sort, "export": "csv"}).content.decode(), re.M
    )
    assert lots("quantity") == ["K-1", "BA-1", "OR-014", "CO-1"]
    assert lots("-quantity") == ["CO-1", "OR-014", "BA-1", "K-1"]
    assert 'aria-sort="descending"' in clerk.get("/storeroom/", {"sort": "-quantity"}).content.decode()


def test_delivery_is_received_against_its_line_and_its_code_is_made_where_none_is_given(clerk):
    line = OrderLine.objects.get(order="PO-1")
    answer = tap(clerk, f"/storeroom/receive/lines/{line.pk}/", delivery(), follow=True)
    assert "SE-1 is received: lot 260304-1" in sheet_of(answer)
    assert Balance.objects.get(lot__lot="260304-1").quantity == ONE
    line.refresh_from_db()
    assert (line.quantity, line.received_quantity) == (0, ONE)


def test_refused_delivery_keeps_what_was_typed(clerk):
    answer = tap(clerk, "/storeroom/receive/parts/OR-014/", delivery(quantity_1="7", batch_1="M-5"))
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "no cure date and no use-by date" in page
    assert 'value="M-5"' in page
    assert 'value="7"' in page
    assert not Lot.objects.filter(maker_batch="M-5").exists()


def test_what_is_no_quantity_is_said_beside_its_field(clerk):
    answer = tap(clerk, "/storeroom/receive/parts/OR-014/", delivery(quantity_1="a few"))
    assert answer.status_code == 422
    assert "“a few” is not a quantity" in sheet_of(answer)


def test_more_than_ordered_is_asked_about(clerk):
    line = OrderLine.objects.get(order="PO-1")
    address = f"/storeroom/receive/lines/{line.pk}/"
    assert "2 more of SE-1 came" in sheet_of(tap(clerk, address, delivery(quantity_1="3")))
    assert tap(clerk, address, delivery(quantity_1="3", over_reason="whole box")).status_code == 302


@pytest.mark.parametrize(
    ("deed", "given", "kind"),
    [
        ("move", {"quantity": "2", "place": "other"}, "move"),
        ("hold", {"quantity": "2", "place": "other", "decides": "lead", "reason": "odd colour"}, "to_quarantine"),
        ("packet", {"quantity": "2", "packet": "resealed"}, "open_packet"),
        ("adjust", {"quantity": "-2", "reason": "fell behind the drawer"}, "adjust"),
        ("scrap", {"quantity": "2", "reason": "cut"}, "scrap"),
    ],
)
def test_a_double_tap_on_any_deed_posts_once_and_shows_in_the_parts_history(clerk, deed, given, kind):
    other = Place.objects.create(place="B7")
    given = {**given, **({"place": other.pk} if "place" in given else {}), "do": deed}
    given["key"] = key_on(clerk, f"/storeroom/stock/{ring().pk}/", do=deed)
    for _ in range(2):
        assert clerk.post(f"/storeroom/stock/{ring().pk}/", given).status_code == 302
    assert Posting.objects.filter(kind=kind).count() == 1
    assert ring().quantity == 10 * ONE
    sheet = sheet_of(clerk.get("/parts/OR-014/")).split("Movements", 1)[1]
    assert "Cleo" in sheet
    assert given.get("reason", "") in sheet


def test_all_of_it_scrapped_by_a_double_tap_leads_to_the_lot_both_times(clerk):
    given = {"do": "scrap", "quantity": "12", "reason": "cut"}
    given["key"] = key_on(clerk, f"/storeroom/stock/{ring().pk}/", do="scrap")
    for _ in range(2):
        answer = clerk.post(f"/storeroom/stock/{ring().pk}/", given, follow=True)
        assert "Nothing of it is left" in sheet_of(answer)


def test_what_waits_at_the_door_is_put_into_its_home_bin_by_one_tap_or_two(clerk):
    door = Place.objects.create(place="DOOR", kind="staging")
    Item.objects.filter(part_number="OR-014").update(home_place="a1")
    tap(clerk, f"/storeroom/stock/{ring().pk}/", {"do": "move", "quantity": "5", "place": door.pk})
    waits = Balance.objects.get(place=door)
    assert "1 lot waits on the staging shelves" in sheet_of(clerk.get("/storeroom/put-away/"))
    address = f"/storeroom/put-away/{waits.pk}/"
    given = {"key": key_on(clerk, "/storeroom/put-away/", address)}
    for _ in range(2):
        answer = clerk.post(address, given, follow=True)
        assert "OR-014 L-1 lies in its home bin" in sheet_of(answer)
    assert ring().quantity == 12 * ONE


def test_another_is_named_who_must_decide(clerk):
    place = Place.objects.create(place="CAGE", kind="quarantine")
    given = {"quantity": "2", "place": place.pk, "decides": "lead", "reason": "odd colour"}
    tap(clerk, f"/storeroom/stock/{ring().pk}/", {**given, "do": "hold"})
    held = Balance.objects.get(place=place)
    asked = {"do": "decide", "decides": "customer", "reason": "his own rings"}
    for _ in range(2):
        assert tap(clerk, f"/storeroom/stock/{held.pk}/", asked).status_code == 302
    assert [hold.decides for hold in held.lot.holds.all()] == ["customer", "lead"]
    assert "Customer his own rings" in sheet_of(clerk.get("/storeroom/quarantine/"))


def test_deed_without_a_reason_stays_open_with_what_was_typed(clerk):
    answer = tap(clerk, f"/storeroom/stock/{ring().pk}/", {"do": "scrap", "quantity": "2", "reason": ""})
    assert answer.status_code == 422
    assert "Write why." in sheet_of(answer)


def test_more_than_lies_there_is_refused_with_the_remedy(clerk):
    given = {"do": "scrap", "quantity": "20", "reason": "cut"}
    answer = tap(clerk, f"/storeroom/stock/{ring().pk}/", given)
    assert answer.status_code == 409
    assert "holds 12, 20 cannot be taken from it: count it" in sheet_of(answer)


def test_movement_is_taken_back_from_the_list(clerk):
    tap(clerk, f"/storeroom/stock/{ring().pk}/", {"do": "scrap", "quantity": "2", "reason": "cut"})
    posting = Posting.objects.get(kind="scrap")
    address, given = f"/storeroom/movements/{posting.pk}/take-back/", {"back": "/storeroom/movements/"}
    assert "without a reason" in sheet_of(tap(clerk, address, given, on="/storeroom/movements/", follow=True))
    tap(clerk, address, {**given, "reason": "wrong drawer"}, on="/storeroom/movements/")
    assert ring().quantity == 12 * ONE
    assert "takes back posting" in sheet_of(clerk.get("/storeroom/movements/", {"part": "OR-014"}))


def test_what_belongs_to_a_suspicion_is_not_taken_back_by_itself(clerk):
    lot = ring().lot
    freeze_lot(
        lot=lot, reason="the maker wrote", by=User.objects.get(username="clerk"), at=timezone.now(), key="freeze"
    )
    posting = Posting.objects.get(kind="freeze")
    given = {"key": new_key("back", posting.pk), "reason": "looks fine to me"}
    assert "lift the suspicion" in sheet_of(clerk.post(f"/storeroom/movements/{posting.pk}/take-back/", given))
    assert not Posting.objects.filter(kind="reversal").exists()
    assert not Balance.objects.on_shelf().filter(lot=lot, condition="usable", quantity__gt=0).exists()


def test_count_sheet_hides_the_book_asks_again_and_posts(clerk):
    tap(clerk, "/storeroom/counts/", {"balance": [ring().pk]})
    count = Count.objects.get()
    line = count.lines.get()
    address = f"/storeroom/counts/{count.pk}/"
    assert "12" not in sheet_of(clerk.get(address)).split("Difference By", 1)[1]
    assert "12" not in sheet_of(clerk.get(f"{address}print/")).split("Counted Again", 1)[1]
    heard = f"{address}lines/{line.pk}/"
    assert "count it once more" in sheet_of(tap(clerk, heard, {"counted": "11"}, on=address, follow=True))
    assert "the difference is posted" in sheet_of(tap(clerk, heard, {"counted": "11"}, on=address, follow=True))
    assert ring().quantity == 11 * ONE
    given = {"key": new_key("counted", line.pk, False), "counted": "eleven"}
    assert "is no count" in sheet_of(clerk.post(heard, given, follow=True))
    assert tap(clerk, f"{address}end/", {}, on=address).status_code == 302


def test_first_stock_take_sorts_and_says_so(clerk):
    place = Place.objects.get(place="A1")
    address = f"/storeroom/first/{place.pk}/"
    undated = tap(clerk, address, {"part": "or-014", "quantity": "4", "packet": "sealed"}, follow=True)
    assert "bears no date, so it is held" in sheet_of(undated)
    unknown = tap(clerk, address, {"part": "ZZ-9", "quantity": "4", "packet": "sealed"})
    assert "No part is known as “ZZ-9”" in sheet_of(unknown)
    clerk.post(address, {"key": new_key("unknown", place.pk), "looks_like": "green ring, 20 mm"})
    tap(clerk, f"{address}end/", {}, on=address)
    sheet = sheet_of(clerk.get("/storeroom/first/"))
    assert "1 of 2 places done" in sheet
    assert "Undated, held 1 Unknown 1" in sheet


def test_disposal_takes_what_is_ticked_and_keeps_the_record(clerk):
    Lot.objects.filter(lot="L-1").update(cure="1Q05", cure_on="2005-01-01")
    assert "1 lot is past the last day of use" in sheet_of(clerk.get("/storeroom/disposal/"))
    given = {"balance": [ring().pk], "way": "cut", "reason": "past its day"}
    given["key"] = key_on(clerk, "/storeroom/disposal/")
    for _ in range(2):
        answer = clerk.post("/storeroom/disposal/", given, follow=True)
        assert "1 line. What left the shop for good" in sheet_of(answer)
        assert "Cut up and put into general waste" in sheet_of(answer)
    assert ring().quantity == 0


def test_certificate_is_kept_for_a_lot_and_handed_out_as_a_file(clerk):
    lot = Lot.objects.get(lot="L-1")
    file = SimpleUploadedFile("paper.html", b"%PDF-1.4 x", "text/html")
    clerk.post(f"/storeroom/certificates/lots/{lot.pk}/", {"reference": "C-1", "file": file})
    answer = clerk.get(f"/storeroom/certificates/{Certificate.objects.get().pk}/")
    assert (answer.content, answer.headers["Content-Type"]) == (b"%PDF-1.4 x", "application/pdf")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="paper.html.pdf"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert "C-1" in sheet_of(clerk.get("/storeroom/certificates/", {"q": "l-1"}))


def test_reader_sees_everything_and_posts_nothing(small_shop, reader):
    assert "Move" not in sheet_of(reader.get(f"/storeroom/stock/{ring().pk}/")).split("Only the storeroom", 1)[0][-200:]
    refused = [
        reader.post(f"/storeroom/stock/{ring().pk}/", {"do": "scrap", "quantity": "1", "reason": "x"}),
        reader.post("/storeroom/receive/parts/OR-014/", delivery()),
        reader.post("/storeroom/counts/", {"balance": [ring().pk]}),
        reader.post(f"/storeroom/movements/{Posting.objects.first().pk}/take-back/", {"reason": "x"}),
    ]
    assert {answer.status_code for answer in refused} == {403}


def test_statements_do_not_grow_with_the_rows(clerk):
    def count():
        found = {}
        for address in [*LISTS, f"/storeroom/stock/{ring().pk}/", f"/storeroom/lots/{ring().lot_id}/"]:
            with CaptureQueriesContext(connection) as asked:
                assert clerk.get(address).status_code == 200
            found[address] = len(asked)
        return found

    add_stock(range(3))
    before = count()
    add_stock(range(3, 30))
    assert count() == before


def add_stock(numbers):
    place, item = Place.objects.get(place="A1"), Item.objects.get(part_number="OR-014")
    Item.objects.filter(pk=item.pk).update(certificate_needed=True)
    for number in numbers:
        for condition in ("usable", "quarantine"):
            lot = Lot.objects.create(item=item, lot=f"LO-{number}-{condition}")
            Balance.objects.create(lot=lot, place=place, condition=condition, quantity=ONE)


def test_a_look_alike_is_told_wherever_a_clerk_reads_the_part(clerk):
    soft = {
        "description": "soft ring",
        "kind": "part",
        "stock_unit": "each",
        "form": "O-ring",
        "size": "0.489 x 0.070 in",
    }
    twin = Item.objects.create(part_number="OR-014-SOFT", material="EPDM", **soft)
    Item.objects.filter(part_number="OR-014").update(size=soft["size"])
    lot, place = Lot.objects.create(item=twin, lot="T-1"), Place.objects.get(place="A1")
    Balance.objects.create(lot=lot, place=place, quantity=ONE)
    told = "OR-014-SOFT, same size, other compound: EPDM"
    assert told in sheet_of(clerk.get("/storeroom/receive/parts/OR-014/"))
    begun = tap(clerk, "/storeroom/counts/", {"balance": [ring().pk]})
    assert told in sheet_of(clerk.get(begun.url))
    assert told in sheet_of(clerk.get(f"{begun.url}print/"))
    Item.objects.filter(part_number="OR-014").update(home_place="Q1")
    assert told in sheet_of(clerk.get("/storeroom/put-away/"))

"""What a clerk typed is kept when something is refused, lists are narrowed, and one tap is one posting."""

import csv
import io
import re

import pytest
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.models import Balance, Count, Lot, Place, Posting, Unknown
from kits.web.request_keys import new_key
from tests.kits.web.hands import key_in, tap
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db


def account(lot):
    return Balance.objects.on_shelf().get(lot__lot=lot, quantity__gt=0)


def count_of(clerk, *lots):
    tap(clerk, "/storeroom/counts/", {"balance": [account(lot).pk for lot in lots]})
    return Count.objects.get()


def count_line(clerk, count, line, counted):
    address = f"/storeroom/counts/{count.pk}/"
    return tap(clerk, f"{address}lines/{line}/", {"counted": counted}, on=address)


def scrap(clerk, lot, reason="cut"):
    given = {"do": "scrap", "quantity": "1", "reason": reason}
    tap(clerk, f"/storeroom/stock/{account(lot).pk}/", given)
    return Posting.objects.filter(kind="scrap").latest("pk")


def test_what_is_no_count_stays_in_its_field_with_the_reason_beside_it(clerk):
    count = count_of(clerk, "L-1", "B-7")
    line = count.lines.get(balance__lot__lot="B-7")
    answer = count_line(clerk, count, line.pk, "1o")
    assert answer.status_code == 409
    page = answer.content.decode()
    assert re.search(rf'id="n-{line.pk}"[^>]*autofocus value="1o" aria-invalid="true"', page)
    assert "“1o” is no count: write a number such as 12." in text_of(answer)


def test_after_a_count_the_next_line_is_at_hand(clerk):
    count = count_of(clerk, "L-1", "B-7", "C-2")
    first, second, third = (int(number) for number in re.findall(r'id="line-(\d+)"', sheet_page(clerk, count)))
    answer = count_line(clerk, count, second, "9999")
    assert answer.url.endswith(f"?at={second}"), "a recount is asked for at the same line"
    book = Balance.objects.get(count_lines=third).quantity // ONE
    answer = count_line(clerk, count, third, book)
    assert answer.url.endswith(f"?at={first}"), "after the last line the first that is open"
    assert re.search(rf'id="n-{first}"[^>]*autofocus', clerk.get(answer.url).content.decode())


def test_words_that_narrow_a_count_stay_until_its_rows_are_counted(clerk):
    count = count_of(clerk, "L-1", "B-7", "C-2")
    address = f"/storeroom/counts/{count.pk}/"
    lines = {line.balance.lot.lot: line for line in count.lines.all()}
    page = clerk.get(f"{address}?find=OR-014").content.decode()
    (action,) = re.findall(r'action="(/storeroom/counts/[^"]*lines/[^"]*)"', page)
    assert action == f"{address}lines/{lines['L-1'].pk}/?find=OR-014"
    answer = tap(clerk, action, {"counted": "9999"}, on=f"{address}?find=OR-014")
    assert answer.url == f"{address}?find=OR-014&at={lines['L-1'].pk}"
    answer = tap(clerk, action, {"counted": lines["L-1"].balance.quantity // ONE}, on=answer.url)
    others = {lines["B-7"].pk, lines["C-2"].pk}
    assert answer.url in {f"{address}?at={line}" for line in others}


def test_beside_a_refused_count_the_ways_of_the_list_lead_to_its_sheet(clerk):
    count = count_of(clerk, "L-1", "B-7", "C-2")
    address = f"/storeroom/counts/{count.pk}/"
    answer = count_line(clerk, count, count.lines.first().pk, "1o")
    page = answer.content.decode()
    ways = re.findall(r'href="([^"]*\?(?:sort|export)=[^"]*)"', page)
    assert ways
    assert all(way.startswith(f"{address}?") for way in ways)
    assert f'method="get" action="{address}" role="search"' in page
    plain = re.findall(r'href="([^"]*\?(?:sort|export)=[^"]*)"', sheet_page(clerk, count))
    assert len(plain) == len(ways)
    assert set(plain) == set(ways)


def sheet_page(clerk, count):
    return clerk.get(f"/storeroom/counts/{count.pk}/").content.decode()


def test_refused_taking_back_keeps_the_reason(clerk):
    posting = scrap(clerk, "L-1")
    address = f"/storeroom/movements/{posting.pk}/take-back/"
    tap(clerk, address, {"reason": "wrong drawer"}, on="/storeroom/movements/")
    key = new_key("back", posting.pk)
    answer = clerk.post(address, {"key": key, "reason": "it was the drawer beside", "back": "/parts/OR-014/"})
    assert answer.status_code == 409
    assert "was reversed already" in text_of(answer)
    assert 'value="it was the drawer beside"' in answer.content.decode()
    assert 'name="back" value="/parts/OR-014/"' in answer.content.decode()
    endless = clerk.post(address, {"key": key, "reason": "x" * 301})
    assert endless.status_code == 422
    assert "x" * 301 in endless.content.decode()


def test_two_postings_are_taken_back_from_one_page(clerk):
    both = scrap(clerk, "L-1"), scrap(clerk, "L-1")
    page = clerk.get("/storeroom/movements/")
    for posting in both:
        address = f"/storeroom/movements/{posting.pk}/take-back/"
        given = {"key": key_in(page, address), "reason": "wrong drawer"}
        assert clerk.post(address, given).status_code == 302
    assert account("L-1").quantity == 12 * ONE


def test_refused_disposal_keeps_its_ticks(clerk):
    Lot.objects.filter(lot__in=("L-1", "C-2")).update(cure="1Q05", cure_on="2005-01-01")
    given = {"balance": [account("L-1").pk], "way": "cut", "reason": ""}
    page = tap(clerk, "/storeroom/disposal/", given).content.decode()
    assert re.search(rf'value="{account("L-1").pk}" checked', page)
    assert not re.search(rf'value="{account("C-2").pk}" checked', page)


def test_refused_certificate_keeps_its_number(clerk):
    lot = Lot.objects.get(lot="L-1")
    address = f"/storeroom/certificates/lots/{lot.pk}/"
    answer = clerk.post(address, {"reference": "NC-77"})
    assert answer.status_code == 422
    assert 'value="NC-77"' in answer.content.decode()
    file = SimpleUploadedFile("paper.pdf", b"no such thing", "application/pdf")
    answer = clerk.post(address, {"reference": "NC-77", "file": file})
    assert answer.status_code == 409
    assert 'value="NC-77"' in answer.content.decode()


def test_return_without_a_place_is_said_beside_the_place(clerk):
    lot = Lot.objects.get(lot="L-1")
    held = Balance.objects.create(
        lot=lot, job=Job.objects.get(job="J-1"), state="issued", condition="", packet="", quantity=ONE
    )
    answer = tap(clerk, f"/storeroom/bench/{held.pk}/", {"quantity": "1", "goes": "back", "place": ""})
    assert answer.status_code == 422
    assert "Choose the place it goes to." in text_of(answer)


def test_what_an_unknown_thing_became_is_said_in_so_many_letters(clerk):
    place = Place.objects.get(place="A1")
    said = {"key": new_key("unknown", place.pk), "looks_like": "green ring, 20 mm"}
    clerk.post(f"/storeroom/first/{place.pk}/", said)
    unknown = Unknown.objects.get()
    answer = tap(clerk, f"/storeroom/unknown/{unknown.pk}/", {"became": "x" * 301}, on="/storeroom/first/", follow=True)
    assert "301 letters: say it in 300" in text_of(answer)
    unknown.refresh_from_db()
    assert unknown.settled_at is None


def test_received_pieces_of_a_customer_are_his(clerk):
    Job.objects.filter(job="J-1").update(customer="Quay Ferries")
    page = clerk.get("/storeroom/receive/parts/BA-1/").content.decode()
    assert '<option value="Quay Ferries">' in page
    given = {"quantity_1": "2", "place_1": Place.objects.get(place="A1").pk, "owner_1": " Quay Ferries "}
    assert tap(clerk, "/storeroom/receive/parts/BA-1/", given).status_code == 302
    lot = Lot.objects.get(owner="Quay Ferries")
    assert f"{lot.lot} A1 2" in sheet_of(clerk.get("/storeroom/customers/"))


def test_part_of_a_piece_is_refused_before_it_is_called_too_many(clerk):
    line = OrderLine.objects.get(order="PO-1")
    given = {"quantity_1": "2.5", "place_1": Place.objects.get(place="A1").pk}
    answer = tap(clerk, f"/storeroom/receive/lines/{line.pk}/", given)
    assert answer.status_code == 409
    assert "2.5 of SE-1 is no whole number" in text_of(answer)
    assert "came than" not in text_of(answer)


def test_old_lot_is_refused_with_how_its_cure_date_was_read(clerk):
    """A quarter of two digits is the latest that has begun: 4Q27 in the spring of 2026 is of 1927."""
    given = {"quantity_1": "2", "cure_1": "4Q27", "place_1": Place.objects.get(place="A1").pk}
    answer = tap(clerk, "/storeroom/receive/parts/OR-014/", given)
    assert "past its last day of use, 31 Dec 1942" in text_of(answer)
    assert "its clock started on 1 Jan 1928" in text_of(answer)


def test_batch_without_a_number_of_pieces_is_asked_about(clerk):
    given = {"quantity_1": "2", "place_1": Place.objects.get(place="A1").pk, "batch_2": "M-9"}
    answer = tap(clerk, "/storeroom/receive/parts/BA-1/", given)
    assert answer.status_code == 422
    assert "Write how many came of this lot." in text_of(answer)


NARROWED = ["/storeroom/put-away/", "/storeroom/quarantine/", "/storeroom/disposal/", "/storeroom/counts/"]


@pytest.mark.parametrize("address", NARROWED)
def test_lists_are_narrowed_by_words_on_the_page_and_in_the_file(clerk, address):
    fill_lists()
    both = clerk.get(address)
    one = clerk.get(address, {"find": "or-014  a2"})
    file = clerk.get(address, {"find": "or-014  a2", "export": "csv"})
    rows = list(csv.DictReader(io.StringIO(file.content.decode("utf-8-sig"))))
    assert both.context["list"].count > one.context["list"].count == len(rows) >= 1
    assert {row["Part"] for row in rows} == {"OR-014"}
    assert f"{len(rows)} of {both.context['list'].count} rows hold these words" in sheet_of(one)
    assert "No row holds “zz”" in sheet_of(clerk.get(address, {"find": "zz"}))


def fill_lists():
    """Old rings and cord at the door and in the cage."""
    Item.objects.filter(part_number__in=("OR-014", "CO-1")).update(home_place="A1")
    Lot.objects.filter(lot__in=("L-1", "C-2")).update(cure="1Q05", cure_on="2005-01-01")
    door = Place.objects.create(place="A2", kind="staging")
    Balance.objects.filter(lot__lot__in=("L-1", "C-2")).update(place=door)
    for lot in Lot.objects.filter(lot__in=("L-1", "C-2")):
        Balance.objects.create(lot=lot, place=door, condition="quarantine", quantity=ONE)
    Balance.objects.filter(lot__lot="L-1", condition="quarantine").update(packet="loose")


@pytest.mark.parametrize(
    ("address", "words", "left", "gone"),
    [
        ("/storeroom/use-first/", "cs-34-u", "CS-34-U", "GR-M"),
        ("/storeroom/top-up/?all=1", "gr-s", "GR-S", "GR-M"),
        ("/storeroom/ending/", "31 Mar 2026 cs", "CS-34-U", "OR-210-N90"),
        ("/storeroom/worth/", "sp-cv", "SP-CV", "PL-34"),
    ],
)
def test_watched_lists_are_narrowed_by_words(demo_shop, reader, address, words, left, gone):
    joint = "&" if "?" in address else "?"
    sheet = sheet_of(reader.get(f"{address}{joint}find={words.replace(' ', '+')}"))
    assert left in sheet
    assert gone not in sheet


def test_look_alike_is_told_where_pieces_are_thrown_away_held_brought_back_and_fetched(demo_shop, reader):
    told = "Not OR-210-N70, same size, other hardness: 70 Shore A, at A2"
    assert told in sheet_of(reader.get("/storeroom/disposal/"))
    assert told in sheet_of(reader.get("/storeroom/?place=A2"))
    assert told in sheet_of(reader.get(f"/storeroom/suspects/{Lot.objects.get(lot='NV-2139').pk}/"))
    assert told in sheet_of(reader.get(f"/storeroom/kits/lots/{Lot.objects.get(lot='P-0551').pk}/"))
    assert "Not K-E34E" in sheet_of(reader.get("/storeroom/use-first/"))


def test_long_reason_stands_in_the_parts_history_in_full(clerk):
    why = "found under the bench by the night shift, " * 6 + "and put back"
    scrap(clerk, "L-1", why)
    assert why in sheet_of(clerk.get("/parts/OR-014/"))


def test_page_of_suspects_says_what_does_not_travel_in_a_dump(clerk):
    sheet = sheet_of(clerk.get("/storeroom/suspects/"))
    assert "a frozen lot travels as one in quarantine" in sheet
    assert "manage.py backup FILE" in sheet


def test_sheet_of_a_part_leads_to_its_labels_and_to_the_door(demo_shop, reader, client):
    page = reader.get("/parts/GR-M/")
    assert "Minimum 200 g Maximum 600 g" in sheet_of(page)
    reader.logout()
    person = User.objects.create_user("cleo")
    person.groups.add(Group.objects.get(name="Storeroom clerk"))
    client.force_login(person)
    links = re.findall(r'href="([^"]+)"', client.get("/parts/GR-M/").content.decode())
    assert "/storeroom/receive/parts/GR-M/" in links
    assert "GM-77" in sheet_of(client.get(next(link for link in links if link.startswith("/storeroom/labels/"))))

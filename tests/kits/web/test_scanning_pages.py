"""A round by scans: the right code proves a line, the last bag books it, and what is wrong is named."""

import pytest
from django.contrib.auth.models import Group

from bom.values import ONE
from kits.catalog.models import Setting
from kits.people.models import User
from kits.picking.actions import start_round
from kits.picking.models import Bag, Confirmation, PickLine
from kits.schedule.models import Job
from kits.stock.models import Lot, Place
from kits.stock.queries import ledger_differences
from kits.web import request_keys
from tests.kits.exchange.books import AT
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(clerk):
    person = clerk.get("/picking/").wsgi_request.user
    return start_round(jobs=[Job.objects.get(job="J-1")], by=person, at=AT, key="start")


@pytest.fixture
def line(made):
    return made.lines.first()


def scan(client, line, code, **options):
    """Hold a label under the scanner before a line."""
    address = f"/picking/{line.pick_round_id}/lines/{line.pk}/scan/"
    page = f"/picking/{line.pick_round_id}/?line={line.pk}"
    return client.post(address, {"key": key_on(client, page, address), "code": code}, **options)


def lot_code(line):
    return f"LOT {line.lot.item.part_number} {line.lot.lot}"


def bag_code(line):
    return f"BAG {line.shares.get().bag.number}"


def test_packet_and_bag_scanned_book_the_line_in_full(clerk, line):
    first = scan(clerk, line, lot_code(line), follow=True)
    assert f"{lot_code(line)} is right: now scan bag" in text_of(first)
    assert not Confirmation.objects.exists(), "a packet alone books nothing"
    last = scan(clerk, line, bag_code(line))
    assert last.status_code == 302, text_of(last)
    booked = Confirmation.objects.get()
    assert booked.line_id == line.pk
    assert booked.scanned == lot_code(line), "the proof stays with the booking"
    assert line.shares.get().picked == line.shares.get().asked
    assert not ledger_differences()


@pytest.mark.parametrize("code", ["PLACE {place}", "PART {part}", "{place}"])
def test_bin_proves_a_line_as_well_as_the_packet(clerk, line, code):
    said = code.format(place=line.place.place, part=line.lot.item.part_number)
    assert "is right" in text_of(scan(clerk, line, said, follow=True))


def test_wrong_packet_is_named_and_nothing_is_booked(clerk, line):
    other = Lot.objects.exclude(item=line.lot.item).select_related("item").first()
    answer = scan(clerk, line, f"LOT {other.item.part_number} {other.lot}")
    assert answer.status_code == 409
    says = (
        f"This is {other.item.part_number}, lot {other.lot}; line {line.number} wants {line.lot.item.part_number}, "
        f"lot {line.lot.lot}"
    )
    assert says in text_of(answer)
    assert not Confirmation.objects.exists()
    assert PickLine.objects.get(pk=line.pk).scanned == ""


def test_bag_before_the_packet_books_nothing(clerk, line):
    answer = scan(clerk, line, bag_code(line))
    assert "Scan the bin or the packet first" in text_of(answer)
    assert not Confirmation.objects.exists()


def test_bag_of_another_job_is_refused_by_its_number(clerk, line):
    scan(clerk, line, lot_code(line))
    other = Bag.objects.create(job=Job.objects.exclude(job="J-1").first(), number=990)
    answer = scan(clerk, line, f"BAG {other.number}")
    assert f"Bag 990 gets nothing of line {line.number}" in text_of(answer)
    assert not Confirmation.objects.exists()


def test_label_that_nobody_knows_is_said(clerk, line):
    assert "“4006381333931” is on no label that the shop knows" in text_of(scan(clerk, line, "4006381333931"))
    assert "Nothing was scanned" in text_of(scan(clerk, line, " "))


def test_scan_that_comes_twice_books_once(clerk, line):
    scan(clerk, line, lot_code(line))
    address, page = f"/picking/{line.pick_round_id}/lines/{line.pk}/scan/", f"/picking/{line.pick_round_id}/"
    key = key_on(clerk, f"{page}?line={line.pk}", address)
    for _ in range(2):
        assert clerk.post(address, {"key": key, "code": bag_code(line)}).status_code == 302
    assert Confirmation.objects.count() == 1
    assert not ledger_differences()


def test_double_read_of_a_bag_does_not_book_the_next_line(clerk, made, line):
    scan(clerk, line, lot_code(line))
    scan(clerk, line, bag_code(line))
    following = made.lines.exclude(pk=line.pk).first()
    assert "Scan the bin or the packet first" in text_of(scan(clerk, following, bag_code(line)))
    assert Confirmation.objects.count() == 1


def test_scanner_need_not_wait_a_second_but_a_finger_must(clerk, line, monkeypatch):
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 1.0)
    assert scan(clerk, line, lot_code(line)).status_code == 302
    page = clerk.get(f"/picking/{line.pick_round_id}/?line={line.pk}")
    address = f"/picking/{line.pick_round_id}/lines/{line.pk}/"
    answer = clerk.post(address, {"key": key_in(page, address), "full": "1"})
    assert "before anybody could read it" in text_of(answer)


def test_shop_that_wants_a_scan_books_no_line_without(clerk, line):
    Setting.objects.create(name="scan_at_bin", value="needed")
    address = f"/picking/{line.pick_round_id}/lines/{line.pk}/"
    page = f"/picking/{line.pick_round_id}/?line={line.pk}"
    refused = clerk.post(address, {"key": key_on(clerk, page, address), "full": "1"})
    assert f"Line {line.number} is booked after a scan" in text_of(refused)
    assert not Confirmation.objects.exists()
    scan(clerk, line, f"PLACE {line.place.place}")
    clerk.post(address, {"key": key_on(clerk, page, address), "full": "1"})
    assert Confirmation.objects.count() == 1


def test_without_a_scan_the_button_names_what_must_be_looked_at(clerk, line):
    address = f"/picking/{line.pick_round_id}/?line={line.pk}"
    says = f"looked at: {line.place.place}, {line.lot.item.part_number}, lot {line.lot.lot}"
    assert says in text_of(clerk.get(address))
    scan(clerk, line, lot_code(line))
    assert says not in text_of(clerk.get(address))


def test_line_that_is_taken_back_wants_its_scans_anew(clerk, line):
    scan(clerk, line, lot_code(line))
    scan(clerk, line, bag_code(line))
    page = f"/picking/{line.pick_round_id}/?line={line.pk}"
    tap(clerk, f"/picking/{line.pick_round_id}/lines/{line.pk}/undo/", {}, on=page)
    again = PickLine.objects.get(pk=line.pk)
    assert again.scanned == ""
    assert not again.shares.get().bag_scanned
    assert "Scan the bin or the packet first" in text_of(scan(clerk, again, bag_code(again)))


def test_clean_round_is_not_scanned_by_somebody_untrained(clerk, made, line):
    made.cleanliness = "oxygen_clean"
    made.save()
    address = f"/picking/{made.pk}/lines/{line.pk}/scan/"
    answer = clerk.post(address, {"key": "x", "code": lot_code(line)})
    assert answer.status_code == 409
    assert not PickLine.objects.exclude(scanned="").exists()


def test_wrong_place_is_named(clerk, line):
    other = Place.objects.create(place="Z9")
    assert f"This is PLACE {other.place}; line {line.number} wants" in text_of(scan(clerk, line, "Z9"))


def test_planner_who_may_pick_scans_too(clerk, line, client):
    person = User.objects.create_user("paul")
    person.groups.add(Group.objects.get(name="Planner"))
    client.force_login(person)
    assert scan(client, line, lot_code(line)).status_code == 302
    assert line.shares.get().asked >= ONE or line.shares.get().asked > 0


def test_page_that_sends_by_itself_is_told_where_to_go_and_loses_no_message(clerk, line):
    address, page = f"/picking/{line.pick_round_id}/lines/{line.pk}/scan/", f"/picking/{line.pick_round_id}/"
    key = key_on(clerk, f"{page}?line={line.pk}", address)
    answer = clerk.post(address, {"key": key, "code": lot_code(line)}, headers={"X-Sent-By-Page": "1"})
    assert (answer.status_code, answer["X-Goes-To"]) == (204, f"{page}?line={line.pk}")
    assert "Location" not in answer
    assert "is right: now scan bag" in text_of(clerk.get(answer["X-Goes-To"]))

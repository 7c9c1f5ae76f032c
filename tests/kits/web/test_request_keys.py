"""Nothing is booked that was not on a page for a second, and no page books two things."""

import re
from pathlib import Path

import pytest
from django.contrib.auth.models import Group

from bom.values import ONE
from kits.catalog.models import LoggedRequest
from kits.people.models import User
from kits.picking.actions import start_round
from kits.picking.models import Confirmation
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.actions import adjust_stock
from kits.stock.ledger import account_of
from kits.stock.models import Balance, Count, Lot, Place, Posting
from kits.stock.queries import ledger_differences
from kits.web import request_keys
from kits.web.request_keys import FOREIGN, OVERTAKEN, TOO_SOON, new_key
from tests.kits.exchange.books import AT
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
TEMPLATES = Path(__file__).parents[3] / "kits" / "web" / "templates" / "web"
USED = "This page was used already, for something else, so nothing was booked now"


@pytest.fixture
def made(clerk):
    """A round for job J-1: a line of kits, one of cord, one of rings."""
    person = clerk.get("/picking/").wsgi_request.user
    return start_round(jobs=[Job.objects.get(job="J-1")], by=person, at=AT, key="start")


@pytest.fixture
def clock(monkeypatch):
    """The clock of the pages, set by hand; a page has to be on the screen for a second, as outside of tests."""
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 1.0)
    now = [1_772_600_000.0]
    monkeypatch.setattr(request_keys, "_now", lambda: now[0])

    def wait(seconds):
        now[0] += seconds

    return wait


def line_address(line):
    return f"/picking/{line.pick_round_id}/lines/{line.pk}/"


def full(client, line, key, **said):
    return client.post(line_address(line), {"key": key, "full": "1", **said})


def held(lot):
    return Balance.objects.on_shelf().get(lot__lot=lot, quantity__gt=0)


def test_the_second_is_what_the_pages_were_promised():
    assert request_keys.SHOWN_SECONDS == 0, "put to nothing for all other tests"
    source = Path(request_keys.__file__).read_text(encoding="utf-8")
    assert "\nSHOWN_SECONDS = 1.0\n" in source


@pytest.mark.parametrize("delay", [0, 0.1, 0.3, 0.6, 0.999])
def test_a_tap_within_a_second_of_the_page_books_nothing(clerk, made, clock, delay):
    first, second = made.lines.order_by("number")[:2]
    key = key_on(clerk, f"/picking/{made.pk}/", line_address(first))
    clock(2)
    page = clerk.get(full(clerk, first, key).url)
    key = key_in(page, line_address(second))
    clock(delay)
    answer = full(clerk, second, key)
    assert answer.status_code == 409
    assert TOO_SOON in sheet_of(answer)
    assert [said.line for said in Confirmation.objects.all()] == [first]
    clock(1)
    assert full(clerk, second, key).status_code == 302


def test_a_line_is_booked_by_its_own_key_only(clerk, made):
    first, second = made.lines.order_by("number")[:2]
    answer = full(clerk, second, key_on(clerk, f"/picking/{made.pk}/", line_address(first)))
    assert answer.status_code == 409
    assert OVERTAKEN in sheet_of(answer)
    assert not Confirmation.objects.exists()


def test_a_line_that_asks_for_other_than_was_shown_is_not_booked(clerk, made):
    line = made.lines.get(lot__lot="L-1")
    key = key_on(clerk, f"/picking/{made.pk}/?line={line.pk}", line_address(line))
    line.shares.update(asked=ONE)
    assert OVERTAKEN in sheet_of(full(clerk, line, key))
    assert not Confirmation.objects.exists()


def test_what_a_key_says_cannot_be_made_up(clerk, made):
    line = made.lines.first()
    key = key_on(clerk, f"/picking/{made.pk}/", line_address(line))
    name, what, rest = key.split(".", 2)
    earlier = f"{name}.{what}.0{rest[1:]}"
    for forged in ("", "x", earlier, f"{'0' * 32}.{what}.{rest}", key[:-1]):
        answer = full(clerk, line, forged)
        assert (answer.status_code, FOREIGN in text_of(answer)) == (422, True)
    assert not Confirmation.objects.exists()


def test_the_same_request_is_answered_as_the_first_time(clerk, made):
    line = made.lines.first()
    key = key_on(clerk, f"/picking/{made.pk}/", line_address(line))
    answers = [full(clerk, line, key) for _ in range(3)]
    assert [(answer.status_code, answer.url) for answer in answers] == [(302, f"/picking/{made.pk}/")] * 3
    assert Confirmation.objects.count() == LoggedRequest.objects.count() == 1


def test_a_key_that_booked_one_thing_is_refused_for_another(clerk, made):
    line = made.lines.first()
    key = key_on(clerk, f"/picking/{made.pk}/", line_address(line))
    full(clerk, line, key)
    bag = line.shares.get().bag.number
    answer = clerk.post(line_address(line), {"key": key, "short": "1", f"bag_{bag}": "1", "counted": "1"})
    assert answer.status_code == 409
    assert USED in sheet_of(answer)
    assert Confirmation.objects.count() == 1


def test_a_page_whose_booking_was_taken_back_does_not_pretend_to_book(clerk, made):
    line = made.lines.first()
    key = key_on(clerk, f"/picking/{made.pk}/", line_address(line))
    full(clerk, line, key)
    undo = f"{line_address(line)}undo/"
    tap(clerk, undo, {}, on=f"/picking/{made.pk}/")
    answer = full(clerk, line, key)
    assert answer.status_code == 409
    assert "was booked by this page and taken back since" in sheet_of(answer)
    assert Confirmation.objects.get().undone_at is not None


def test_an_undo_takes_back_the_booking_that_it_showed(clerk, made):
    line = made.lines.first()
    undo, page = f"{line_address(line)}undo/", f"/picking/{made.pk}/?line={line.pk}"
    full(clerk, line, key_on(clerk, page, line_address(line)))
    first, again = key_on(clerk, page, undo), key_on(clerk, page, undo)
    clerk.post(undo, {"key": first})
    full(clerk, line, key_on(clerk, page, line_address(line)))
    assert OVERTAKEN in sheet_of(clerk.post(undo, {"key": again}, follow=True))
    assert "booked anew since" in sheet_of(clerk.post(undo, {"key": first}, follow=True))
    assert Confirmation.objects.filter(undone_at__isnull=True).count() == 1


def test_a_round_is_given_up_with_the_lines_that_were_shown(clerk, made):
    address = f"/picking/{made.pk}/give-up/"
    key = key_on(clerk, f"/picking/{made.pk}/", address)
    line = made.lines.first()
    full(clerk, line, key_on(clerk, f"/picking/{made.pk}/", line_address(line)))
    assert OVERTAKEN in sheet_of(clerk.post(address, {"key": key}, follow=True))
    made.refresh_from_db()
    assert made.state == "running"


def test_a_job_is_closed_with_the_bag_that_was_shown(clerk, made):
    first, *rest = made.lines.order_by("number")
    page = f"/picking/{made.pk}/"
    full(clerk, first, key_on(clerk, page, line_address(first)))
    made.lines.exclude(pk=first.pk).update(state="left")
    sheet = clerk.get("/picking/jobs/J-1/close/").context["sheet"]
    key = new_key("close", sheet.job.pk, sheet.shows)
    made.lines.exclude(pk=first.pk).update(state="open")
    for line in rest:
        full(clerk, line, key_on(clerk, page, line_address(line)))
    answer = clerk.post("/picking/jobs/J-1/close/", {"key": key})
    assert OVERTAKEN in sheet_of(answer), "two lots more would count as used up in the pump"
    assert not Posting.objects.filter(kind="consume").exists()


def test_stock_is_moved_from_the_account_that_was_shown(clerk):
    address = f"/storeroom/stock/{held('L-1').pk}/"
    given = {"do": "scrap", "quantity": "2", "reason": "cut"}
    old, key = (key_on(clerk, address, do="scrap") for _ in range(2))
    assert clerk.post(address, {**given, "key": key}).status_code == 302
    answer = clerk.post(address, {**given, "key": old})
    assert (answer.status_code, OVERTAKEN in sheet_of(answer)) == (409, True)
    assert held("L-1").quantity == 10 * ONE
    assert clerk.post(address, {**given, "key": key}).status_code == 302, "what was booked is answered again"
    assert USED in sheet_of(clerk.post(address, {**given, "quantity": "3", "key": key}))


def test_a_posting_that_was_taken_back_is_not_posted_by_the_old_page(clerk):
    address = f"/storeroom/stock/{held('L-1').pk}/"
    given = {"do": "scrap", "quantity": "2", "reason": "cut", "key": key_on(clerk, address, do="scrap")}
    clerk.post(address, given)
    posting = Posting.objects.get(kind="scrap")
    back = f"/storeroom/movements/{posting.pk}/take-back/"
    tap(clerk, back, {"reason": "wrong drawer"}, on="/storeroom/movements/")
    answer = clerk.post(address, given)
    assert answer.status_code == 409
    assert f"as posting {posting.pk}, and taken back since" in sheet_of(answer)
    assert held("L-1").quantity == 12 * ONE


def test_the_row_that_moves_up_is_not_put_away_by_a_second_tap(clerk, clock):
    door = Place.objects.create(place="DOOR", kind="staging")
    waits = []
    for lot in ("L-1", "B-7"):
        account = account_of(held(lot))
        lot = Lot.objects.get(lot=lot)
        lot.item.__class__.objects.filter(pk=lot.item_id).update(home_place="A1")
        waits.append(Balance.objects.create(lot=lot, place=door, condition="usable", packet="sealed", quantity=ONE))
        assert account.place_id != door.pk
    first, second = (f"/storeroom/put-away/{row.pk}/" for row in waits)
    page = clerk.get("/storeroom/put-away/")
    clock(2)
    page = clerk.get(clerk.post(first, {"key": key_in(page, first)}).url)
    clock(0.3)
    assert TOO_SOON in sheet_of(clerk.post(second, {"key": key_in(page, second)}, follow=True))
    assert Balance.objects.get(pk=waits[1].pk).quantity == ONE


def test_an_old_page_is_no_second_count(clerk):
    tap(clerk, "/storeroom/counts/", {"balance": [held("L-1").pk]})
    count = Count.objects.get()
    line, page = count.lines.get(), f"/storeroom/counts/{count.pk}/"
    heard = f"{page}lines/{line.pk}/"
    first, other = key_on(clerk, page, heard), key_on(clerk, page, heard)
    clerk.post(heard, {"key": first, "counted": "11"})
    assert OVERTAKEN in sheet_of(clerk.post(heard, {"key": other, "counted": "11"}))
    assert USED in sheet_of(clerk.post(heard, {"key": first, "counted": "10"}))
    tap(clerk, heard, {"counted": "9"}, on=page)
    clerk.post(heard, {"key": first, "counted": "11"})
    line.refresh_from_db()
    assert (line.state, line.last) == ("recount", 9 * ONE), "a request that was heard before is not heard again"


def test_a_sheet_is_ended_with_the_lines_that_were_shown(clerk):
    tap(clerk, "/storeroom/counts/", {"balance": [held("L-1").pk, held("B-7").pk]})
    count = Count.objects.get()
    page, line = f"/storeroom/counts/{count.pk}/", count.lines.get(balance__lot__lot="B-7")
    key = key_on(clerk, page, f"{page}end/")
    tap(clerk, f"{page}lines/{line.pk}/", {"counted": "3"}, on=page)
    assert OVERTAKEN in sheet_of(clerk.post(f"{page}end/", {"key": key}))


def test_what_is_disposed_of_is_what_stood_on_the_list(clerk):
    Lot.objects.filter(lot__in=("L-1", "C-2")).update(cure="1Q05", cure_on="2005-01-01")
    ring = held("L-1")
    key = key_on(clerk, "/storeroom/disposal/")
    person = clerk.get("/picking/").wsgi_request.user
    adjust_stock(account=account_of(ring), change=5 * ONE, reason="found", by=person, at=AT, key="more")
    given = {"key": key, "balance": [ring.pk], "way": "cut", "reason": "past its day"}
    assert OVERTAKEN in sheet_of(clerk.post("/storeroom/disposal/", given))
    assert held("L-1").quantity == 17 * ONE


def test_a_delivery_is_not_received_twice_from_two_pages(clerk):
    line = OrderLine.objects.get(order="PO-1")
    address, given = f"/storeroom/receive/lines/{line.pk}/", {"quantity_1": "1", "place_1": held("L-1").place_id}
    keys = [key_on(clerk, address) for _ in range(2)]
    assert clerk.post(address, {**given, "key": keys[0]}).status_code == 302
    assert OVERTAKEN in sheet_of(clerk.post(address, {**given, "key": keys[1]}))
    assert Posting.objects.filter(kind="receive").count() == 1


WITHOUT = {
    "codes/camera.html": "only reads; in a round it carries the key of the scan",
    "calendar.html": "is only tried; the form that closes or opens days has its key",
    "job_list.html": "leads to the page on which the change is tried",
    "pieces/send_again.html": "sends once more what was typed, with the key that it had",
    "fitting/kit.html": "asks for a reason, or for what is to be said; what is gone is refused",
    "fitting/scope.html": "names what was seen of the scope, and is refused where that has changed",
    "notices.html": "says what is wanted, and is the same said twice",
    "people/choose_password.html": "asks for a password, and its link works once",
    "care/contents.html": "is only checked",
    "care/line.html": "is only checked",
    "care/number.html": "is only checked",
    "password.html": "asks for the password that holds",
    "purchasing/confirm.html": "reads a workbook into the form beside it, which has a key",
    "pieces/choose_columns.html": "keeps in the browser which columns are shown",
    "pieces/doors.html": "ends the sign-in and nothing else",
    "pieces/findings.html": "one that is named already is refused",
    "purchasing/replies.html": "the same file is the reply that is kept already",
    "purchasing/type_answer.html": "the same words are the reply that is kept already",
    "schedule/proposed_days.html": "leads to the page on which the moves are tried",
    "sign_in.html": "asks for a password",
    "storeroom/lot.html": "the same file is kept once",
    "upload.html": "is only checked",
    "upload_preview.html": "an upload is confirmed once, as it stands on its page",
    "upload_work.html": "the same upload is taken up again",
    "uploads/headings.html": "is only checked",
    "uploads/indented.html": "is only checked",
    "uploads/new_items.html": "is only checked",
    "uploads/paste.html": "is only checked",
    "uploads/reading.html": "is only checked",
    "uploads/undo.html": "an upload is taken back once, as it stands on its page",
}
"""Pages with forms that need no key, and why a second tap, or one too soon, cannot hit something else there."""


def test_every_form_carries_a_key_unless_it_is_said_why_it_needs_none():
    """A form without one could be sent before anybody saw it, or a second time for what stands there by then."""
    bare = {
        str(path.relative_to(TEMPLATES))
        for path in sorted(TEMPLATES.rglob("*.html"))
        for form in re.findall(r'<form[^>]*method="post".*?</form>', path.read_text(encoding="utf-8"), re.S)
        if not re.search(r"{% key |{% kit_account |{{ line_key }}", form)
    }
    assert bare == set(WITHOUT)


def test_a_key_is_kept_only_where_something_was_booked(clerk, made):
    line = made.lines.first()
    bag, address = line.shares.get().bag.number, line_address(line)
    key = key_on(clerk, f"/picking/{made.pk}/", address)
    refused = clerk.post(address, {"key": key, "short": "1", f"bag_{bag}": "1"})
    assert (refused.status_code, LoggedRequest.objects.count()) == (409, 0)
    assert full(clerk, line, key).status_code == 302, "what was put right is booked from the same page"
    assert ledger_differences() == []


def test_two_pages_have_two_keys():
    assert new_key("line", 1) != new_key("line", 1)


def test_an_old_request_says_nothing_anew_once_something_else_was_said(clerk):
    place = held("L-1").place
    address = f"/storeroom/first/{place.pk}/"
    bag = {"part": "BA-1", "quantity": "3", "packet": "sealed", "lot": "B-7"}
    old = {**bag, "key": key_on(clerk, address)}
    clerk.post(address, old)
    tap(clerk, address, {**bag, "quantity": "5"})
    assert "was written down already, and B-7 anew since" in sheet_of(clerk.post(address, old))
    assert held("B-7").quantity == 5 * ONE
    cage = Place.objects.create(place="CAGE", kind="quarantine")
    account = f"/storeroom/stock/{held('L-1').pk}/"
    hold = {"do": "hold", "quantity": "2", "place": cage.pk, "decides": "lead", "reason": "odd colour"}
    tap(clerk, account, hold)
    caged = Balance.objects.get(place=cage)
    account, decide = f"/storeroom/stock/{caged.pk}/", {"do": "decide", "decides": "customer", "reason": "his rings"}
    old = {**decide, "key": key_on(clerk, account, do="decide")}
    clerk.post(account, old)
    tap(clerk, account, {**decide, "decides": "lead", "reason": "he said no"})
    clerk.post(account, old)
    assert caged.lot.holds.first().reason == "he said no"


def test_a_kit_is_packed_from_the_lots_that_were_shown_for_its_job(demo_shop, client):
    """What belongs to a customer goes into kits for jobs of theirs only, and is shown before it does."""
    clerk = User.objects.create_user("cleo")
    clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    client.force_login(clerk)
    job = Job.objects.get(job="J-3118")
    Lot.objects.filter(lot="NV-2417").update(owner=job.customer)
    address, asked = "/storeroom/kits/pack/K-E34N/", "?count=1&lives_to=2026-04-09"
    assert "NV-2417" in sheet_of(client.get(f"{address}{asked}&job=J-3118"))
    said = {"count": 1, "lives_to": "2026-04-09", "place": "K2", "job": "J-3118"}
    plain = client.get(f"{address}{asked}")
    assert "NV-2417" not in sheet_of(plain)
    shows = plain.context["sheet"].shows
    answer = client.post(address, {**said, "key": new_key("pack", plain.context["kit"].pk, shows)})
    assert (answer.status_code, OVERTAKEN in text_of(answer), "NV-2417" in text_of(answer)) == (409, True, True)
    assert client.post(address, {**said, "key": key_in(answer)}).status_code == 302

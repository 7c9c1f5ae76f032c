"""The page of an arrival: what is written, refused and told, its photos, and the tables behind it."""

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction

from kits.catalog.caching.revisions import mark_catalog
from kits.catalog.models import Setting
from kits.schedule.models import Job
from kits.service.models import Arrival, FluidRule, Photo, SignRule
from tests.kits.persons import person_of
from tests.kits.service.pictures import PLACE, jpeg
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PAGE, PHOTOS = "/arrivals/J-1/", "/arrival-photos/J-1/"
SAID = {"serial": "S-77", "model": "P-1", "fluid": "mineral oil", "agreed_with": "Ms Oake"}


@pytest.fixture
def lead(client, small_shop):
    client.force_login(person_of("Service lead"))
    return client


def write(browser, **said):
    return browser.post(PAGE, {"key": key_on(browser, PAGE), **SAID, **said})


def send(browser, *photos, note="the plate"):
    files = [SimpleUploadedFile(name, content, "image/jpeg") for name, content in photos]
    return browser.post(PHOTOS, {"key": key_on(browser, PAGE, PHOTOS), "note": note, "photos": files})


def test_an_arrival_brings_the_pump_in_and_says_what_keeps_it_shut(lead):
    assert write(lead).status_code == 302
    told = sheet_of(lead.get(PAGE))
    assert "The pump may not be opened yet: 1 point still open." in told
    assert "Nobody has said that the pump was flushed. Get its flushing note, or clear it." in told
    assert "Serial S-77 S-77 agree" in told
    assert Job.objects.get(job="J-1").stage == "here"
    assert "Nobody has said that the pump was flushed: get its flushing note" in sheet_of(lead.get("/jobs/J-1/"))


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"serial": ""}, "Nothing stands here: write it, or tick that it cannot be read."),
        ({"model_unread": "on"}, "Both are said: write it, or tick that it cannot be read, not both."),
        ({"fluid": ""}, "Nothing stands here: write it, or tick that nobody knows it."),
        ({"flushed_by": "the dock"}, "That is half a note: write with what it was flushed as well."),
        ({"paper_seen": "on"}, "A paper was seen: write who flushed the pump by it, and with what."),
    ],
)
def test_what_is_left_open_by_chance_is_asked_beside_its_field_and_nothing_typed_is_lost(lead, said, says):
    answer = write(lead, **{"note": "came on a pallet", **said})
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert "came on a pallet" in answer.content.decode()
    assert not Arrival.objects.exists()


def test_a_second_tap_writes_nothing_a_second_time(lead):
    said = {"key": key_on(lead, PAGE), **SAID}
    assert [lead.post(PAGE, said).status_code for _ in range(2)] == [302, 302]
    assert Arrival.objects.get().history.count() == 1


def test_a_page_that_was_overtaken_writes_over_nobody(lead):
    late = key_on(lead, PAGE)
    write(lead, missing="a nut")
    answer = lead.post(PAGE, {"key": late, **SAID, "missing": "a bolt"})
    assert answer.status_code == 409
    assert "This has changed since the page was opened" in sheet_of(answer)
    assert Arrival.objects.get().missing == "a nut"


def test_a_photo_is_kept_once_shown_as_a_picture_and_taken_away_with_a_reason(lead):
    assert send(lead, ("plate.jpg", jpeg()), ("again.jpg", jpeg()), ("side.jpg", jpeg(b"two"))).status_code == 302
    first, second = Photo.objects.all()
    address = f"/photos/{first.pk}/"
    answer = lead.get(address)
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert PLACE not in answer.content
    assert f'src="{address}"' in lead.get(PAGE).content.decode()
    assert tap(lead, f"{address}take-away/", {"reason": ""}, on=PAGE).status_code == 422
    assert tap(lead, f"{address}take-away/", {"reason": "shows a face"}, on=PAGE).status_code == 302
    assert lead.get(address).status_code == 404
    first.refresh_from_db()
    assert (first.gone_because, second.gone_at) == ("shows a face", None)


def test_what_is_no_photo_is_refused_and_the_rest_is_not_kept_either(lead):
    answer = send(lead, ("plate.jpg", jpeg()), ("page.jpg", b"<html>"))
    assert answer.status_code == 409
    assert "“page.jpg” is no JPEG or PNG: set the camera to JPEG, or save the picture as one." in sheet_of(answer)
    assert "No photo came with the form" in sheet_of(send(lead))
    assert not Photo.objects.exists()


def test_the_lead_signs_on_the_page_and_takes_it_back_there(lead):
    write(lead, flushed_by="the dock", flushed_with="oil")
    about = "the dock is said to have flushed it with oil, and no paper was seen"
    said = {"point": "flush", "about": about, "reason": "the dock sends it on"}
    assert tap(lead, "/sign-for/J-1/", said, on=PAGE).status_code == 302
    told = sheet_of(lead.get(PAGE))
    assert "The pump may be opened." in told
    assert "Let pass by lead: the dock sends it on." in told
    waiver = Arrival.objects.get().job.waivers.get()
    tap(lead, f"/signatures/{waiver.pk}/take-back/", {"reason": "it never came"}, on=PAGE)
    assert "taken back by lead: it never came" in sheet_of(lead.get(PAGE))


def test_signs_lead_to_a_scope_that_the_pump_has_and_name_no_cause(lead):
    said = {"seen": "it leaks", "section": "e-1", "scope": "full", "note": "", "why": "seen often"}
    assert tap(lead, "/what-was-seen/", said).status_code == 302
    assert "No pump has a scope “half”; known are: full." in sheet_of(
        tap(lead, "/what-was-seen/", {**said, "scope": "half"})
    )
    write(lead, seen=["it leaks"])
    told = sheet_of(lead.get(PAGE))
    assert "full E-1 it leaks the scope of the job" in told
    assert "It is no diagnosis" in told
    rule = SignRule.objects.get()
    tap(lead, f"/what-was-seen/{rule.pk}/remove/", {"reason": "of no use"}, on="/what-was-seen/")
    assert not SignRule.objects.exists()
    assert SignRule.history.first().history_change_reason == "of no use"


def test_the_published_cautions_become_the_shops_own_rows_once_and_are_changed_there(lead):
    said = {"fluid": "Mineral oil", "compound": "epdm", "says": "ask", "source": "a letter", "note": "", "why": "asked"}
    assert tap(lead, "/fluids/", said).status_code == 302
    for _ in range(2):
        tap(lead, "/fluids/published/", {}, on="/fluids/")
    own = FluidRule.objects.get(folded__contains="mineral oil\x1fepdm")
    assert (own.says, own.source) == ("ask", "a letter")
    assert FluidRule.objects.count() == 18
    assert all(rule.source for rule in FluidRule.objects.all())
    tap(lead, "/fluids/", {**said, "says": "forbidden"})
    own.refresh_from_db()
    assert (own.says, own.history.count()) == ("forbidden", 2)


def test_whether_a_pump_may_be_opened_stands_wherever_its_lead_looks(lead):
    Job.objects.filter(job="J-1").update(stage="here", strip_on=date(2026, 3, 9))
    mark()
    pages = (PAGE, "/jobs/J-1/", "/strip-report/J-1/")
    for page in pages:
        told = sheet_of(lead.get(page))
        assert "This shop asks for none before a pump is opened; with the setting arrivals at yes" in told, page
    assert "full not here yet" not in sheet_of(lead.get("/"))
    assert "P-1, full to write 4" in sheet_of(lead.get("/"))
    write(lead)
    for page in pages:
        told = sheet_of(lead.get(page))
        assert "The pump may not be opened yet:" in told, page
        assert "Nobody has said that the pump was flushed" in told, page
    assert "as far as its parts go; it may not be opened yet" in sheet_of(lead.get("/jobs/J-1/"))
    assert "P-1, full written 4" in sheet_of(lead.get("/"))
    assert 'href="/arrivals/J-1/">written' in lead.get("/").content.decode()


def test_a_shop_that_asks_for_arrivals_says_so_before_anybody_has_written_one(lead):
    Setting.objects.create(name="arrivals", value="yes")
    mark()
    assert "Nobody has written down how the pump came: write its arrival." in sheet_of(lead.get("/strip-report/J-1/"))


def test_an_empty_table_says_what_follows_and_words_that_no_row_holds_say_so(lead):
    assert "The table is empty: no job is stopped for its fluid" in sheet_of(lead.get("/fluids/"))
    assert "The table is empty, so that no sign leads to a scope." in sheet_of(lead.get("/what-was-seen/"))
    tap(lead, "/fluids/published/", {}, on="/fluids/")
    assert "No row holds “xylene”" in sheet_of(lead.get("/fluids/?find=xylene"))


def mark():
    with transaction.atomic():
        mark_catalog()

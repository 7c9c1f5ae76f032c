"""A photo instead of a scanner: it leads to the thing, and in a round it counts as a scan; the photo is not kept."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.picking.models import PickRound
from kits.web.serving.goes_to import ASKS
from tests.kits.picking.test_photo import as_file, label
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of
from tests.kits.web.test_walker_pages import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(small_shop):
    return person("clerk")


def photo(code):
    return SimpleUploadedFile("label.png", as_file(label(code), "PNG"), "image/png")


def test_photo_leads_to_what_the_label_names(clerk):
    answer = clerk.post("/scan/photo/", {"photo": photo("PLACE A1")})
    assert (answer.status_code, answer.url) == (302, "/scan/?code=PLACE+A1")
    assert (
        clerk.post("/scan/photo/", {"photo": photo("PLACE A1")}, follow=True)
        .redirect_chain[-1][0]
        .startswith("/storeroom/")
    )


def test_page_that_asks_gets_the_code_or_one_sentence(clerk):
    asks = {f"HTTP_{ASKS.upper().replace('-', '_')}": "1"}
    assert clerk.post("/scan/photo/", {"photo": photo("BAG 17")}, **asks).json() == {"code": "BAG 17"}

    def nothing():
        return SimpleUploadedFile("photo.jpg", b"nothing", "image/jpeg")

    for sent, says in (({"photo": nothing()}, "no photo that can be read"), ({}, "No photo was taken")):
        answer = clerk.post("/scan/photo/", sent, **asks)
        assert answer.status_code == 422
        assert says in answer.json()["refused"]
    assert "no photo that can be read" in sheet_of(clerk.post("/scan/photo/", {"photo": nothing()}, follow=True))


def test_photo_in_a_round_counts_as_a_scan(clerk):
    tap(clerk, "/picking/start/", {"job": ["J-1"]}, on="/picking/")
    made = PickRound.objects.get()
    line = made.lines.select_related("place").first()
    page, address = f"/picking/{made.pk}/?line={line.pk}", f"/picking/{made.pk}/lines/{line.pk}/scan/"
    sent = {"key": key_on(clerk, page, address), "photo": photo(f"PLACE {line.place}")}
    assert clerk.post(address, sent).status_code == 302
    line.refresh_from_db()
    assert line.scanned == f"PLACE {line.place}"
    wrong = clerk.post(address, {"key": key_on(clerk, page, address), "photo": photo("BAG 999")})
    assert wrong.status_code == 409
    assert "on no label that the shop knows" in sheet_of(wrong)

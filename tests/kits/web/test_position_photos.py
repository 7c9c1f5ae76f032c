import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.planning.sheets.jobs.strip_report import position_key
from kits.service.models import Photo
from tests.kits.persons import person_of
from tests.kits.service.pictures import jpeg
from tests.kits.web.hands import key_on
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
BALL = "pump 1 / E-1 1 / CK-1 1 / ball"
PAGE = f"/position-photos/J-1/?position={position_key(BALL, 'BA-1')}"


@pytest.fixture
def lead(small_shop, client):
    client.force_login(person_of("Service lead"))
    return client


def send(client, key, *contents, note="pitted at the seat"):
    files = [SimpleUploadedFile(f"{turn}.jpg", content) for turn, content in enumerate(contents)]
    return client.post(PAGE, {"key": key, "note": note, "photos": files})


def test_a_photo_is_kept_with_its_position_and_counted_on_the_strip_report(lead):
    report = lead.get("/strip-report/J-1/").content.decode()
    assert re.search(rf'href="{re.escape(PAGE)}">\s*Photo<', report)
    key = key_on(lead, PAGE, PAGE)
    assert [send(lead, key, jpeg()).status_code for _ in range(2)] == [302, 302], "a double tap keeps one"
    (photo,) = Photo.objects.all()
    assert (photo.where, photo.note) == (BALL, "pitted at the seat")
    assert "pitted at the seat" in sheet_of(lead.get(PAGE))
    assert "1 photo" in sheet_of(lead.get("/strip-report/J-1/"))
    other = PAGE.replace(position_key(BALL, "BA-1"), position_key(BALL.replace("CK-1 1", "CK-1 2"), "BA-1"))
    assert "No photo of this position is kept." in sheet_of(lead.get(other))


def test_a_form_without_a_photo_or_with_too_many_says_so(lead):
    answer = send(lead, key_on(lead, PAGE, PAGE))
    assert answer.status_code == 409
    assert "No photo came with the form: take one, or choose one" in sheet_of(answer)
    answer = send(lead, key_on(lead, PAGE, PAGE), *[jpeg(note=bytes([turn])) for turn in range(7)])
    assert "7 photos are more than the 6 that are taken at once: send fewer." in sheet_of(answer)
    assert not Photo.objects.exists()


def test_a_position_that_is_not_there_has_no_photos(lead):
    assert lead.get("/position-photos/J-1/?position=none").status_code == 404
    assert lead.get("/position-photos/J-1/").status_code == 404
    assert lead.get(PAGE.replace("J-1", "J-9")).status_code == 404

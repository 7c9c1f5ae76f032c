"""What cannot be read is refused with a problem (RFC 9457), and is no fault of the site."""

import base64

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.api.problems import KIND

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small_shop")]


@pytest.fixture
def planner(program_of):
    return program_of("Planner")


def refusal(answer):
    said = answer.json()
    assert answer.headers["Content-Type"] == KIND, said
    assert said["detail"].endswith(".")
    return answer.status_code, said["title"]


def test_a_body_that_is_too_long(planner, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    answer = planner.post("/lists/Schedule", {"rows": [{"job": "J" * 200}]}, key="too-long-1")
    assert refusal(answer) == (413, "Too long")


def test_more_files_than_are_read_at_once(planner, settings):
    settings.DATA_UPLOAD_MAX_NUMBER_FILES = 1
    said = {"Authorization": f"Bearer {planner.secret}", "Idempotency-Key": "many-files"}
    files = [SimpleUploadedFile(f"{name}.csv", b"job\nJ-1\n") for name in "ab"]
    answer = planner.client.post("/api/v1/uploads", {"files": files}, headers=said)
    assert refusal(answer) == (400, "Not readable")


def test_files_that_are_not_parted(planner):
    said = {"Authorization": f"Bearer {planner.secret}", "Idempotency-Key": "no-parts-1"}
    answer = planner.client.generic(
        "POST", "/api/v1/uploads", b"x", content_type="multipart/form-data; boundary=", headers=said
    )
    assert refusal(answer) == (400, "Not readable")


def test_a_mark_of_a_page_that_goes_too_deep(planner):
    mark = base64.urlsafe_b64encode(b"[" * 1400).decode()
    assert refusal(planner.get(f"/lists/Schedule?after={mark}")) == (422, "Not right")

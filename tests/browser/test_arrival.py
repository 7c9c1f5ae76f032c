"""The service lead writes an arrival on a tablet: plate, fluid, a photo, a signature; then the pump is opened."""

import struct
import zlib

import pytest
from django.contrib.auth.models import Group

from kits.people.models import User
from kits.schedule.models import Job, JobStep
from kits.service.models import Photo
from tests.browser.looks import barriers_of
from tests.kits.web.shops import load_demo

expect = pytest.importorskip("playwright.sync_api").expect


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 834, "height": 1112}, "has_touch": True}


@pytest.fixture
def tablet(page, live_server):
    load_demo()
    lead = User.objects.create_user("lead", password="lead at the door")
    lead.groups.add(Group.objects.get(name="Service lead"))
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{live_server.url}/sign-in/?next=/jobs/J-3107/")
    page.get_by_label("Name").fill("lead")
    page.get_by_label("Password").fill("lead at the door")
    page.get_by_role("button", name="Sign in").tap()
    expect(page.get_by_role("heading", name="J-3107")).to_be_visible()
    yield page
    assert [says for says in complaints if "409 (Conflict)" not in says] == []


def picture(width, height):
    """A PNG of random-looking grey, so large that the tablet makes it smaller before it sends it."""

    def chunk(kind, body):
        return len(body).to_bytes(4) + kind + body + zlib.crc32(kind + body).to_bytes(4)

    rows, grey = bytearray(), 1
    for _ in range(height):
        rows.append(0)
        for _ in range(width):
            grey = grey * 1103515245 + 12345 & 0x7FFFFFFF
            rows.append(grey >> 16 & 0xFF)
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(rows), 1))
        + chunk(b"IEND", b"")
    )


def book(page, name):
    """Tap a button once it has rested on the sheet, and wait for the page that answers."""
    page.wait_for_timeout(1300)
    with page.expect_navigation():
        page.get_by_role("button", name=name).tap()


def test_a_pump_comes_in_is_photographed_signed_for_and_opened(tablet):
    page = tablet
    page.get_by_role("link", name="Arrival", exact=True).tap()
    page.get_by_label("Serial, as it stands there").fill("H5-0019")
    page.get_by_label("Model, as it stands there").fill("skarn-114s")
    page.get_by_label("Fluid it pumped").fill("water with oil")
    page.get_by_label("Flushed by").fill("Pell Bottle Testing")
    page.get_by_label("Flushed with").fill("clean water")
    page.get_by_label("Who at the customer agreed").fill("Mr Pell")
    book(page, "The pump is here")
    expect(page.get_by_text("The pump may not be opened yet:")).to_be_visible()
    expect(page.get_by_text("no paper was seen")).to_be_visible()
    page.get_by_label("Or choose some").set_input_files(
        {"name": "plate.png", "mimeType": "image/png", "buffer": picture(2000, 700)}
    )
    page.get_by_label("What they show").fill("its plate")
    expect(page.get_by_role("button", name="Keep them")).to_be_enabled()
    book(page, "Keep them")
    shown = page.get_by_role("img", name="its plate")
    expect(shown).to_be_visible()
    shown.scroll_into_view_if_needed()
    page.locator(".photos img").first.evaluate("image => image.decode()")
    assert shown.evaluate("picture => [picture.naturalWidth, picture.naturalHeight]") == [1600, 560]
    assert Photo.objects.get().media_type == "image/jpeg"
    assert barriers_of(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == 834
    page.get_by_text("Let it pass, signed").tap()
    page.get_by_label("Why it may pass all the same").fill("Mr Pell says so on the telephone, paper follows")
    book(page, "I answer for it")
    expect(page.get_by_text("The pump may be opened.")).to_be_visible()
    page.get_by_role("link", name="Job", exact=True).tap()
    page.get_by_label("The pump is").select_option("stripped")
    book(page, "Say where it is")
    assert Job.objects.get(job="J-3107").stage == "stripped"
    step = JobStep.objects.get(after="stripped")
    assert step.says == "Mr Pell says so on the telephone, paper follows"
    assert "no paper was seen" in step.open_then

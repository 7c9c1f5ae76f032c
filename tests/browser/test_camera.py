"""The camera of a tablet reads a label of our own while its picture moves: a film of it stands in for the camera.

Where this browser reads no codes itself, the independent decoder zxing-cpp reads the pictures that the page hands it.
"""

import base64
import io
import shutil
import subprocess

import pytest
from django.contrib.auth.models import Group

from kits.people.models import User
from kits.picking.models import PickRound
from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.label_pdf import write_labels
from kits.stock.codes.papers import PAPER_BY_NAME
from kits.stock.codes.texts import Code, CodeKind
from tests.kits.web.shops import load_demo

expect = pytest.importorskip("playwright.sync_api").expect
image = pytest.importorskip("PIL.Image")
zxingcpp = pytest.importorskip("zxingcpp")

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(not shutil.which("pdftoppm"), reason="needs pdftoppm of poppler to draw the label"),
]
READS = """
window.BarcodeDetector = class {
  async detect(video) {
    const still = document.createElement("canvas");
    still.width = video.videoWidth;
    still.height = video.videoHeight;
    still.getContext("2d").drawImage(video, 0, 0);
    const found = await window.readStill(still.toDataURL("image/png").split(",")[1]);
    return found.map((rawValue) => ({ rawValue }));
  }
};
"""


def film_of(text, folder, bars):
    """A film of one label, lying on a bench; every picture of it is the same."""
    kind, number = text.split(" ", 1)
    label = CodedLabel(Code(CodeKind(kind), number), number)
    (folder / "label.pdf").write_bytes(write_labels([label], PAPER_BY_NAME["roll-62x29"], bars=bars))
    subprocess.run(["pdftoppm", "-r", "203", "-png", "-singlefile", folder / "label.pdf", folder / "label"], check=True)
    still, one = image.new("RGB", (640, 480), "grey"), image.open(folder / "label.png").convert("RGB")
    still.paste(one, ((640 - one.width) // 2, (480 - one.height) // 2))
    picture = io.BytesIO()
    still.save(picture, "JPEG", quality=90)
    (folder / "film.mjpeg").write_bytes(picture.getvalue() * 30)
    return folder / "film.mjpeg"


@pytest.fixture
def tablet(playwright, browser_type_launch_args, live_server, tmp_path, request):
    """A tablet whose camera sees the label of a bin, with the clerk of the demo shop before it."""
    load_demo()
    clerk = User.objects.create_user("clerk", password="clerk at the bench")
    clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    film = film_of("PLACE K1", tmp_path, bars=request.param)
    sees = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    args = [*browser_type_launch_args["args"], *sees, f"--use-file-for-fake-video-capture={film}"]
    browser = playwright.chromium.launch(**{**browser_type_launch_args, "args": args})
    page = browser.new_context(viewport={"width": 1112, "height": 834}, has_touch=True).new_page()
    page.add_init_script("if (!('BarcodeDetector' in window)) {" + READS + "}")
    page.expose_function(
        "readStill",
        lambda still: [mark.text for mark in zxingcpp.read_barcodes(image.open(io.BytesIO(base64.b64decode(still))))],
    )
    page.goto(f"{live_server.url}/sign-in/?next=/picking/")
    page.get_by_label("Name").fill("clerk")
    page.get_by_label("Password").fill("clerk at the bench")
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in").tap()
    yield page
    browser.close()


def look(page):
    """Tap the camera once the page has stood for a second: before that it takes no tap."""
    page.wait_for_timeout(1100)
    page.locator(".camera label").tap()


@pytest.mark.parametrize("tablet", [False, True], ids=["qr", "bars"], indirect=True)
def test_the_camera_confirms_the_bin_of_a_line_and_leads_to_it_elsewhere(tablet, live_server):
    tablet.get_by_role("checkbox", name="Pick J-3102").check()
    with tablet.expect_navigation():
        tablet.get_by_role("button", name="Start a round").tap()
    line = PickRound.objects.get().lines.select_related("place").first()
    assert line.place.place == "K1"
    look(tablet)
    expect(tablet.get_by_text("PLACE K1 is right: now scan")).to_be_visible()
    line.refresh_from_db()
    assert line.scanned == "PLACE K1"
    expect(tablet.locator("dialog.camera-view")).to_have_count(0)
    tablet.goto(f"{live_server.url}/scan/")
    look(tablet)
    expect(tablet.locator(".answer")).to_contain_text("at K1")

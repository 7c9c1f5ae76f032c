"""The storeroom on a tablet held in one hand: every page fits, is accessible and taken by a gloved finger."""

import re
import shutil
import subprocess

import pytest
from django.contrib.auth.models import Group
from django.urls import reverse
from playwright.sync_api import expect

from bom.values import ONE
from kits.people.models import User
from kits.purchasing.models import OrderLine
from kits.stock.models import Balance, Count, KitPiece, Lot, Place
from kits.stock.queries import ledger_differences
from kits.web import request_keys
from kits.web.request_keys import new_key
from tests.browser.looks import FINGER, PAST_THE_WINDOW, TOO_LOW, barriers_of
from tests.kits.web.hands import key_on
from tests.kits.web.shops import load_demo

WORD = "clerk at the door"
LISTS = [
    "storeroom", "receive", "put_away", "movements", "quarantine", "disposal", "disposed", "bench_returns", "counts",
    "labels", "first_take", "certificates", "kits_on_shelf", "suspects", "rings", "ending_lots", "use_first",
    "bench_top_up", "customer_lots", "shelf_worth",
]  # fmt: skip


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    tablet = {"viewport": {"width": 834, "height": 1112}, "has_touch": True, "is_mobile": True, "locale": "en-GB"}
    return {**browser_context_args, **tablet}


@pytest.fixture
def tablet(page, live_server, said):
    """A tablet on which the clerk of the demo shop has signed in; it may complain of refused forms only."""
    load_demo()
    clerk = User.objects.create_user("clerk", password=WORD, first_name="Cleo")
    group, _ = Group.objects.get_or_create(name="Storeroom clerk")
    clerk.groups.add(group)
    page.goto(f"{live_server.url}/sign-in/?next=/storeroom/")
    page.get_by_label("Name").fill("clerk")
    page.get_by_label("Password").fill(WORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.get_by_role("heading", name="Storeroom", exact=True)).to_be_visible()
    yield page
    assert [says for says in said if "409 (Conflict)" not in says and "422 (Unprocessable" not in says] == []


def account(lot, **where):
    return Balance.objects.on_shelf().get(lot__lot=lot, quantity__gt=0, **where)


def single_pages(count):
    """The pages of one line, one account, one lot, one kit, one sheet."""
    line, kit = OrderLine.objects.get(order="PO-7102"), Lot.objects.get(lot="P-0551")
    ring, held = account("NV-2336", condition="usable"), account("FT-B74")
    place, job_holds = Place.objects.get(place="A1"), Balance.objects.of_jobs().get(job__job="J-3115")
    for name, *args in (
        ("receive_line", line.pk),
        ("receive_part", "OR-210-N70"),
        ("stock_account", ring.pk),
        ("stock_account", held.pk),
        ("bench_return", job_holds.pk),
        ("lot", kit.pk),
        ("lot", ring.lot_id),
        ("count_sheet", count.pk),
        ("count_print", count.pk),
        ("first_place", place.pk),
        ("pack_kit", "K-E34N"),
        ("kit_lot", kit.pk),
        ("kit_lot", Lot.objects.get(lot="P-0551/1").pk),
        ("suspect", ring.lot_id),
        ("suspect", Lot.objects.get(lot="NV-2104").pk),
        ("part", "OR-210-N70"),
        ("kit", "K-E34N"),
    ):
        yield reverse(name, args=args)
    yield f"{reverse('labels')}?of={ring.pk}&of={account('P-0551').pk}"
    yield f"{reverse('rings')}?inside=18.6&section=3.5&unit=mm"
    yield f"{reverse('bench_top_up')}?all=1"
    yield f"{reverse('storeroom')}?place=A2"
    yield f"{reverse('disposal')}?find=nv"
    yield f"{reverse('pack_kit', args=['K-E34N'])}?count=3&lives_to=2026-04-17&takes_kept=1"


def fill_the_lists(client, monkeypatch):
    """Something in every list: thrown away, frozen, robbed, with a job, found without a date, known to nobody."""
    client.force_login(User.objects.get(username="clerk"))
    place, cage = Place.objects.get(place="A1"), Place.objects.get(place="Q1")
    old, ring, kit = account("NV-1032"), account("NV-2336"), account("P-0551")
    piece = KitPiece.objects.get(kit_lot__lot="P-0551", item__part_number="SE-M")
    first = f"/storeroom/first/{place.pk}/"
    robbed = {"piece": f"{piece.item_id}-{piece.piece_lot_id}", "quantity": "1", "job": "J-3115"}
    held = {"do": "hold", "quantity": "1", "place": cage.pk, "decides": "lead"}
    kits, suspect = f"/storeroom/kits/lots/{kit.lot_id}/", f"/storeroom/suspects/{account('NV-2104').lot_id}/"
    pack = "/storeroom/kits/pack/K-E34N/"
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 0)
    for address, given, key in (
        ("/storeroom/disposal/", {"balance": old.pk, "way": "cut"}, ("/storeroom/disposal/",)),
        (f"/storeroom/stock/{ring.pk}/", held, (f"/storeroom/stock/{ring.pk}/",)),
        (f"{kits}{kit.place_id}/rob/", robbed, (kits, f"{kits}{kit.place_id}/rob/")),
        (pack, {"count": 1, "lives_to": "2026-03-25", "place": "K2"}, (f"{pack}?count=1&lives_to=2026-03-25",)),
        (first, {"part": "OR-210-N70", "quantity": "4", "packet": "sealed"}, (first,)),
        (first, {"looks_like": "green ring, 20 mm"}, None),
        (f"{suspect}freeze/", {}, (suspect, f"{suspect}freeze/")),
    ):
        said = {"do": given["do"]} if "do" in given else {}
        key = key_on(client, *key, **said) if key else new_key("unknown", place.pk)
        answer = client.post(address, {"key": key, "reason": "for the walk", **given})
        assert answer.status_code == 302, (address, answer.status_code)
    monkeypatch.undo()


def begin_count(page, site):
    page.goto(f"{site}{reverse('counts')}")
    page.get_by_role("button", name="Begin a sheet of what is ticked").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Count")
    return Count.objects.get(kind="round")


def test_every_page_fits_is_accessible_and_taken_by_a_gloved_finger(tablet, live_server, said, client, monkeypatch):
    fill_the_lists(client, monkeypatch)
    addresses = [reverse(name) for name in LISTS] + list(single_pages(begin_count(tablet, live_server.url)))
    faults, wide, low = [], [], []
    for address in addresses:
        tablet.set_viewport_size({"width": 834, "height": 1112})
        tablet.goto(f"{live_server.url}{address}")
        tablet.evaluate("document.querySelectorAll('details').forEach(node => { node.open = true; })")
        faults += [f"{address}: {one}" for one in barriers_of(tablet)]
        low += [f"{address}: {one}" for one in tablet.evaluate(TOO_LOW, [FINGER, "main"])]
        for width in (1280, 834, 360):
            tablet.set_viewport_size({"width": width, "height": 1000})
            if tablet.evaluate(PAST_THE_WINDOW):
                wide.append((address, width))
    assert faults == []
    assert wide == []
    assert low == []
    assert said == []


def test_a_delivery_is_taken_in_put_away_labelled_and_counted(tablet, live_server):
    page = tablet
    page.get_by_role("link", name="Receive", exact=True).tap()
    page.get_by_label("Without an order: part number").fill("OR-210-N70")
    page.get_by_role("button", name="Receive this part").tap()
    page.get_by_label("How many").first.fill("25")
    page.get_by_label("Lot on the bag").first.fill("NV-9001")
    page.get_by_label("Goes to").first.select_option("S1")
    page.get_by_role("button", name="Receive it").tap()
    expect(page.get_by_role("alert")).to_contain_text("no cure date and no use-by date")
    expect(page.get_by_label("Lot on the bag").first).to_have_value("NV-9001")
    page.get_by_label("Cure quarter or date").first.fill("4Q25")
    page.get_by_role("button", name="Receive it").tap()
    expect(page.get_by_role("status")).to_contain_text("OR-210-N70 is received: lot NV-9001")

    page.get_by_role("link", name="Print its label").tap()
    label = page.get_by_role("list", name="Labels to cut").get_by_role("listitem")
    expect(label).to_contain_text("NV-9001")
    expect(label).to_contain_text("S1, home A2")

    page.goto(f"{live_server.url}{reverse('put_away')}")
    page.get_by_role("row", name="NV-9001").get_by_role("button", name="It lies in A2").tap()
    expect(page.get_by_role("status")).to_contain_text("NV-9001 lies in its home bin")
    assert account("NV-9001").place.place == "A2"

    page.goto(f"{live_server.url}{reverse('counts')}?find=NV-9001")
    page.get_by_role("button", name="Begin a sheet of what is ticked").tap()
    figure = page.get_by_label("Counted of OR-210-N70, lot NV-9001")
    for typed, says in (("2o", "is no count"), ("24", "count it once more"), ("24", "the difference is posted")):
        figure.fill(typed)
        page.get_by_role("button", name=re.compile("^Counted")).tap()
        expect(page.get_by_text(says).first).to_be_visible()
        if figure.count():
            expect(figure).to_be_focused()
    assert account("NV-9001").quantity == 24 * ONE
    assert ledger_differences() == []

    page.goto(f"{live_server.url}/search/?q=NV-9001")
    expect(page.get_by_role("heading", level=1)).to_have_text("OR-210-N70, lot NV-9001")
    expect(page.get_by_role("region", name="Movements of this lot")).to_contain_text("25 by the book, 24 counted")


def test_a_lot_is_held_and_let_go_and_what_is_old_is_disposed_of(tablet, live_server):
    page, ring = tablet, account("NV-2336")
    page.goto(f"{live_server.url}{reverse('stock_account', args=[ring.pk])}")
    page.get_by_text("Put into quarantine").first.tap()
    deed = page.locator("details[open] form")
    deed.get_by_label("Quantity").fill("60")
    deed.get_by_label("To place").select_option("Q1")
    deed.get_by_label("Reason").fill("two of them are hard")
    page.get_by_role("button", name="Put it into quarantine").tap()
    expect(page.get_by_role("alert")).to_contain_text("holds 40, 60 cannot be taken")
    expect(deed.get_by_label("Reason")).to_have_value("two of them are hard")
    deed.get_by_label("Quantity").fill("6")
    page.get_by_role("button", name="Put it into quarantine").tap()
    expect(page.get_by_text("two of them are hard").first).to_be_visible()

    page.goto(f"{live_server.url}{reverse('quarantine')}?find=NV-2336")
    page.get_by_role("link", name="NV-2336").tap()
    page.get_by_text("Release from quarantine").first.tap()
    page.locator("details[open] form").get_by_label("Reason").fill("measured: 70 Shore A, good")
    page.get_by_role("button", name="Make it usable again").tap()
    expect(page.get_by_role("region", name="Movements of this lot")).to_contain_text("measured: 70 Shore A, good")

    page.goto(f"{live_server.url}{reverse('disposal')}")
    page.get_by_label("OR-210-N90, lot NV-1032, leaves the shop").check()
    page.get_by_label("Reason").fill("past its day")
    page.get_by_role("button", name="Dispose of what is ticked").tap()
    expect(page.get_by_label("OR-210-N90, lot NV-1032, leaves the shop")).to_be_checked()
    page.get_by_label("How it leaves the shop").select_option("cut")
    page.get_by_role("button", name="Dispose of what is ticked").tap()
    expect(page.get_by_role("region", name="Record")).to_contain_text("NV-1032")
    assert ledger_differences() == []


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext on this machine (poppler-utils has it)")
def test_what_is_printed_fits_both_papers(tablet, live_server, tmp_path):
    """Three labels across and seven down: 62 by 36 mm fit A4 (210 by 297 mm) and Letter (216 by 279 mm) alike."""
    count = begin_count(tablet, live_server.url)
    kit = account("P-0551")
    papers = {
        f"{reverse('count_print', args=[count.pk])}": (["Count sheet", "Counted by", "Again"], 2),
        f"{reverse('labels')}?n-{kit.pk}=42": (["P-0551", "31 Mar 2026", "K2", "expires with CS-34-U NV-2104"], 2),
        reverse("disposed"): (["Disposal record"], 1),
    }
    for address, (words, sheets) in papers.items():
        tablet.goto(f"{live_server.url}{address}")
        for paper in ("A4", "Letter"):
            path = tmp_path / "sheet.pdf"
            printed = tablet.pdf(path=path, format=paper)
            text = subprocess.run(
                ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
            ).stdout
            assert printed.count(b"/Type /Page\n") <= sheets, (address, paper)
            assert all(word in text for word in words), (address, paper)
            assert "Sign out" not in text
            assert "Find bags" not in text

"""Codes on labels: what they say, how they are drawn, where a scan leads, and what older labels mean."""

import shutil
import subprocess
from io import BytesIO
from urllib.parse import urlencode

import pytest

from kits.catalog.models import Item
from kits.picking.actions import start_round
from kits.picking.models import Bag
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.models import Balance, Lot, Place, TaughtCode
from tests.kits.exchange.books import AT
from tests.kits.web.hands import tap
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db


def scan(client, text):
    return client.get("/scan/", {"code": text})


@pytest.fixture
def made(clerk):
    """A round for job J-1, with its bag."""
    person = clerk.get("/picking/").wsgi_request.user
    return start_round(jobs=[Job.objects.get(job="J-1")], by=person, at=AT, key="start")


def test_code_leads_to_the_thing_that_it_names(clerk, made):
    bag, lot, line = Bag.objects.get(job__job="J-1"), Lot.objects.get(lot="L-1"), OrderLine.objects.first()
    place = Place.objects.first()
    leads = {
        f"PLACE {place.place}": f"/storeroom/?{urlencode({'place': place.place})}",
        f"place  {place.place.lower()}": f"/storeroom/?{urlencode({'place': place.place})}",
        "LOT OR-014 L-1": f"/storeroom/lots/{lot.pk}/",
        f"BAG {bag.number}": f"/picking/bags/{bag.number}/",
        "JOB J-1": "/jobs/J-1/",
        "PART OR-014": "/parts/OR-014/",
        f"ORDER {line.order}": f"/storeroom/receive/?{urlencode({'q': line.order})}",
        "L-1": f"/storeroom/lots/{lot.pk}/",
    }
    assert {text: scan(clerk, text).url for text in leads} == leads


def test_lot_of_a_part_whose_number_has_spaces_is_found(clerk):
    item = Item.objects.get(part_number="OR-014")
    item.part_number = "OR 014 N"
    item.save()
    lot = Lot.objects.get(lot="L-1")
    assert scan(clerk, "LOT OR 014 N L-1").url == f"/storeroom/lots/{lot.pk}/"


def test_lot_code_that_two_parts_use_is_asked_about(clerk):
    other = Item.objects.exclude(part_number="OR-014").filter(kind="part").first()
    Lot.objects.create(item=other, lot="L-1")
    page = scan(clerk, "L-1")
    assert "This code may mean 2 things: choose" in sheet_of(page)
    assert scan(clerk, "LOT OR-014 L-1").status_code == 302, "with its part there is one"


def test_unknown_code_says_so_and_what_to_do(clerk):
    page = scan(clerk, "4006381333931")
    assert page.status_code == 404
    assert "Nothing that the shop knows bears this code" in sheet_of(page)
    assert "/codes/?code=4006381333931" in page.content.decode()
    assert scan(clerk, "PLACE NO-SUCH").status_code == 404
    assert scan(clerk, "BAG x").status_code == 404


def test_older_label_is_explained_once_and_scanned_from_then_on(clerk):
    place = Place.objects.first()
    tap(clerk, "/codes/", {"text": "4006381333931", "means": f"place {place.place.lower()}"})
    assert TaughtCode.objects.get().means == f"PLACE {place.place}"
    assert scan(clerk, "4006381333931").url == f"/storeroom/?{urlencode({'place': place.place})}"
    assert clerk.get("/search/", {"q": "4006381333931"}).url == "/scan/?code=4006381333931"
    tap(clerk, "/codes/", {"text": "4006381333931", "means": "PART OR-014"})
    assert TaughtCode.objects.get().means == "PART OR-014", "said anew, it means something else"


@pytest.mark.parametrize(
    ("text", "means", "says"),
    [
        ("4006381333931", "PLACE NO-SUCH", "names nothing that the shop knows"),
        ("PLACE A1", "PART OR-014", "is a code of ours already"),
        ("", "PART OR-014", "Scan the label, or type what stands on it"),
    ],
)
def test_explanation_that_explains_nothing_is_refused_with_what_was_typed(clerk, text, means, says):
    page = tap(clerk, "/codes/", {"text": text, "means": means})
    assert page.status_code == 422
    assert says in text_of(page)
    assert f'value="{means}"' in page.content.decode()
    assert not TaughtCode.objects.exists()


def test_explanation_is_taken_back_once(clerk):
    tap(clerk, "/codes/", {"text": "4006381333931", "means": "PART OR-014"})
    code, page = TaughtCode.objects.get(), clerk.get("/codes/").content.decode()
    key = page.split(f'action="/codes/{code.pk}/forget/"')[1].split('name="key" value="')[1].split('"')[0]
    for _ in range(2):
        assert clerk.post(f"/codes/{code.pk}/forget/", {"key": key}).status_code == 302
    assert not TaughtCode.objects.exists()
    assert TaughtCode.history.filter(history_type="-").count() == 1


def read_back(pdf, dpi, folder):
    """What an independent decoder reads on a file that is drawn with so many dots an inch."""
    zxingcpp, image = pytest.importorskip("zxingcpp"), pytest.importorskip("PIL.Image")
    file = folder / "labels.pdf"
    file.write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", file, folder / f"at-{dpi}"], check=True)
    # The decoder's own shrinking of the picture is off: a shrunken 17 was once read as another sign.
    return sorted(
        mark.text
        for page in sorted(folder.glob(f"at-{dpi}-*.pgm"))
        for mark in zxingcpp.read_barcodes(image.open(page), try_downscale=False)
    )


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="needs pdftoppm of poppler to draw the file")
@pytest.mark.parametrize("code", ["qr", "bars"])
def test_labels_of_a_page_are_read_back_by_another_program(clerk, made, tmp_path, code):
    answer = clerk.get(f"/picking/{made.pk}/labels/", {"pdf": "1", "code": code, "paper": "letter-30", "first": "29"})
    assert answer["Content-Type"] == "application/pdf"
    bags = sorted(f"BAG {number}" for number in Bag.objects.values_list("number", flat=True))
    assert read_back(answer.content, 203, tmp_path) == bags
    everywhere = clerk.get("/place-labels/", {"all": "1", "pdf": "1", "code": code})
    assert read_back(everywhere.content, 300, tmp_path) == sorted(f"PLACE {one.place}" for one in Place.objects.all())


def test_first_free_label_that_the_paper_has_not_is_refused_in_words(clerk, made):
    page = clerk.get(f"/picking/{made.pk}/labels/", {"pdf": "1", "paper": "letter-30", "first": "31"})
    assert page.status_code == 422
    assert "“31” is no label of this paper: write a whole number from 1 to 30" in text_of(page)


def test_label_of_anything_is_a_link_away(clerk, made):
    for address, label in (
        ("/parts/OR-014/", "/label/part/OR-014/"),
        ("/jobs/J-1/", "/label/job/J-1/"),
        ("/search/?q=OR", "/label/part/OR-014/"),
    ):
        assert f'href="{label}"' in clerk.get(address).content.decode()
    assert "Lot L-1" in sheet_of(clerk.get("/label/lot/OR-014 L-1/"))
    bag = Bag.objects.get(job__job="J-1")
    assert f"Bag {bag.number} · J-1" in sheet_of(clerk.get(f"/label/bag/{bag.number}/"))
    assert clerk.get("/label/lot/NO-SUCH/").status_code == 404
    assert clerk.get("/label/paint/OR-014/").status_code == 404


@pytest.mark.parametrize("typed", ["0", "x", "100"])
def test_number_of_copies_that_is_none_is_said(clerk, typed):
    page = clerk.get("/label/part/OR-014/", {"copies": typed, "pdf": "1"})
    assert page.status_code == 422
    assert f"“{typed}” is no number of labels" in text_of(page)


def test_lot_label_in_quarantine_says_held(clerk):
    Balance.objects.filter(lot__lot="L-1").update(condition="quarantine")
    assert "HELD, do not use" in sheet_of(clerk.get("/label/lot/OR-014 L-1/"))
    assert BytesIO(clerk.get("/label/lot/OR-014 L-1/", {"pdf": "1"}).content).read(4) == b"%PDF"


def test_places_ticked_on_one_page_of_the_list_go_along_to_the_next(clerk, small_shop):
    Place.objects.bulk_create(Place(place=f"Z-{number:02}", folded=f"z{number:02}", kind="bin") for number in range(40))
    first = Place.objects.all()[0]
    turned = clerk.get("/place-labels/", {"of": first.pk, "page": "2"})
    assert f'<input type="hidden" name="of" value="{first.pk}">' in turned.content.decode()
    assert turned.context["labels"] == [], "they are drawn when they are asked for"
    assert "1 ticked on other pages" in " ".join(text_of(turned).split())
    beside = turned.context["list"].rows[0].pk
    assert len(clerk.get("/place-labels/", {"of": [first.pk, beside]}).context["labels"]) == 2

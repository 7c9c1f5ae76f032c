"""A lot that is older than was asked for stops at every way in, and says whom it would leave short.

In the small shop two jobs, built on 16 and 24 March, ask for 620 mm of cord each; 500 lie there and 500 are on order.
"""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.purchasing.models import OrderLine
from kits.stock.models import Balance, Lot, Place, Posting
from tests.kits.web.hands import tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db

BEFORE, BETWEEN = "2026-03-10", "2026-03-20"
"""A day before both builds, and one between them."""


def cord(**given):
    return {"quantity_1": "500", "place_1": Place.objects.get(place="A1").pk, "cure_1": "1Q25", **given}


def on_order():
    return f"/storeroom/receive/lines/{OrderLine.objects.get(order='PO-2').pk}/"


WITHOUT = "/storeroom/receive/parts/CO-1/"


@pytest.mark.parametrize(
    ("use_by", "short"),
    [
        # The first job would take 120 of it beside the 500 that lie there, the second the other 380.
        (BEFORE, "J-1 short by 120 mm and J-2 by 380 mm"),
        # The first job takes it, and leaves the second what lies there.
        (BETWEEN, "no job short"),
    ],
)
@pytest.mark.parametrize("order", [True, False], ids=["with its order", "without"])
def test_old_lot_is_stopped_at_the_door_and_says_which_job_it_leaves_short(clerk, order, use_by, short):
    answer = tap(clerk, on_order() if order else WITHOUT, cord(use_by_1=use_by))
    assert answer.status_code == 409
    says = sheet_of(answer)
    assert f"but has to last to 24 Mar 2026 (cured in 1Q2011 or later); it leaves {short}: send it back" in says
    assert "Too little life left: why it is accepted" in says
    assert not Lot.objects.filter(item__part_number="CO-1").exclude(lot="C-2").exists()


def test_old_lot_is_taken_for_a_reason_that_stands_with_it(clerk):
    given = cord(use_by_1=BETWEEN, short_life_reason="J-2 waits for the next order")
    assert tap(clerk, on_order(), given).status_code == 302
    assert Posting.objects.latest("pk").reason == (
        "order PO-2 line 1; too little life left, accepted: J-2 waits for the next order"
    )
    assert Balance.objects.latest("pk").quantity == 500 * ONE


@pytest.mark.parametrize("use_by", ["2026-03-24", "2027-03-31", ""])
def test_lot_that_lasts_to_the_last_build_is_taken_without_a_word(clerk, use_by):
    assert tap(clerk, on_order(), cord(use_by_1=use_by)).status_code == 302


def test_old_lot_goes_into_quarantine_without_a_reason(clerk):
    assert tap(clerk, on_order(), cord(use_by_1=BETWEEN, held_1="on")).status_code == 302


def test_printed_day_asks_for_a_reason_of_a_part_that_does_not_age_too(clerk):
    answer = tap(clerk, "/storeroom/receive/parts/BA-1/", cord(cure_1="", quantity_1="9", use_by_1=BETWEEN))
    assert answer.status_code == 409
    assert "Too little life left: why it is accepted" in sheet_of(answer)
    assert "Too little life left" not in sheet_of(clerk.get("/storeroom/receive/parts/BA-1/"))


def test_lists_that_allow_no_plan_keep_no_delivery_out(clerk):
    Item.objects.filter(part_number="E-1").update(kind="part")
    assert tap(clerk, on_order(), cord(use_by_1=BETWEEN)).status_code == 302


def test_list_with_an_old_lot_is_loaded_for_a_reason_that_the_page_asks_for(client, small_shop):
    client.force_login(User.objects.create_superuser("admin"))
    rows = f"part_number,lot,quantity,place,cure,last_use\nCO-1,C-9,500,A1,1Q25,{BEFORE}\n"
    address = client.post("/upload/", {"lists": SimpleUploadedFile("lots.csv", rows.encode())}).headers["Location"]
    page = client.get(address)
    says = sheet_of(page)
    assert "it leaves J-1 short by 120 mm and J-2 by 380 mm" in says
    assert "Why old lots are accepted" in says
    (seen,) = re.findall(r'name="meant"\s+value="([^"]+)"', page.content.decode())
    refused = client.post(f"{address}confirm/", {"load": "1", "meant": seen, "because": ""}, follow=True)
    assert "write why the lots are accepted that are older than asked for" in sheet_of(refused)
    assert not Lot.objects.filter(lot="C-9").exists()
    taken = client.post(f"{address}confirm/", {"load": "1", "meant": seen, "because": "J-2 waits"}, follow=True)
    assert "The lists are loaded" in sheet_of(taken)
    assert Posting.objects.latest("pk").reason.endswith("too little life left, accepted: J-2 waits")

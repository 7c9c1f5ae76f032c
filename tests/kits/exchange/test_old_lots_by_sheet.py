"""Lots that a list brings in are asked about as at the door, and stored for a reason only.

The van asks for 24 rings on 24 April, and 12 lie there; a job built on 16 March could be served by a lot that dies
before the van goes.
"""

from datetime import date

import pytest
from django.core.management import CommandError, call_command

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.exchange.actions import keep_upload, load_upload, say_it_is_meant
from kits.exchange.models import Upload, UploadState
from kits.stock.models import Balance, Lot, Posting
from tests.kits.exchange.books import AT, SHOP, book_file, check_sheets, load_sheets
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db

LINES = ["part_number", "lot", "quantity", "place", "last_use", "received", "condition"]
SAYS = "the lot may be used up to 20 Mar 2026, but has to last to 24 Apr 2026 (cured in 2Q2011 or later); it leaves"
DEMAND = {
    **SHOP,
    "Orders": [SHOP["Orders"][0]],
    "OtherNeeds": [["need", "part_number", "quantity", "need_date"], ["van", "OR-014", 24, date(2026, 4, 24)]],
}


@pytest.fixture
def shop():
    outcome = load_sheets(DEMAND)
    assert outcome.stored, [one.says for one in outcome.problems]


def rings(quantity=12, lot="OLD", last_use=date(2026, 3, 20), received=None, condition=None, **more):
    return {"Lots": [LINES, ["OR-014", lot, quantity, "A1", last_use, received, condition]], **more}


def asked(sheets):
    outcome = check_sheets(sheets)
    assert not outcome.problems, [one.says for one in outcome.problems]
    return [one.says for one in outcome.questions]


def test_new_lot_that_does_not_last_is_asked_about_in_the_preview_with_whom_it_leaves_short(shop):
    assert asked(rings()) == [
        f'lists.xlsx, Lots row 2, last_use "2026-03-20": {SAYS} van short by 12: '
        "put it into quarantine, or say why it is accepted."
    ]


@pytest.mark.parametrize(
    "sheets",
    [
        rings(last_use=date(2026, 4, 24)),
        rings(condition="quarantine"),
        rings(quantity=0),
        rings(lot="L-1", last_use=date(2026, 3, 20)),
    ],
    ids=["it lasts", "quarantine", "nothing", "known before"],
)
def test_other_lots_are_not_asked_about(shop, sheets):
    Item.objects.filter(part_number="OR-014").update(min_life_at_receipt="1 m")
    assert asked(sheets) == []


def test_first_list_of_a_shop_is_not_asked_about(db):
    assert asked({**DEMAND, "Lots": rings()["Lots"]}) == []


def test_minimum_life_is_counted_from_the_day_of_receipt(shop):
    Item.objects.filter(part_number="OR-014").update(min_life_at_receipt="24 m")
    young = rings(last_use=date(2027, 12, 31), received=date(2025, 12, 1))
    assert asked(young) == []
    (says,) = asked(rings(last_use=date(2027, 12, 31)))
    assert "the lot has life left to 31 Dec 2027, less than the 2 years asked for at receipt; it leaves no" in says


def test_lot_is_held_against_the_open_order_that_it_may_have_come_of(shop):
    assert load_sheets({"Orders": SHOP["Orders"]}).stored
    assert asked(rings(quantity=9)) == [], "12 lie there, and 16 of the order are still to come"
    (says,) = asked(rings(quantity=25))
    assert "it leaves van short by 12" in says


def test_lot_is_taken_off_one_of_two_orders_only(shop):
    lines = [["PO-1", number, "Ring House", "OR-014", 12, date(2026, 3, 20)] for number in "12"]
    assert load_sheets({"Orders": [SHOP["Orders"][0], *lines]}).stored
    assert asked(rings()) == []


def test_orders_that_come_in_the_same_file_are_what_is_still_to_come(shop):
    assert asked(rings(quantity=25, Orders=SHOP["Orders"])) == []
    less = [SHOP["Orders"][0], [*SHOP["Orders"][1][:4], 6, *SHOP["Orders"][1][5:]]]
    (says,) = asked(rings(Orders=less))
    assert "it leaves van short by 6" in says


def test_upload_waits_for_a_reason_that_then_stands_with_the_postings(shop):
    lead = person_of("Administrator")
    kept = keep_upload(files=[book_file(rings())], by=lead, at=AT)
    outcome = load_upload(upload=kept, by=lead, at=AT)
    assert (outcome.stored, outcome.needs_reason, kept.state) == (False, True, UploadState.CHECKED)
    with pytest.raises(Refusal, match="write why the lots are accepted"):
        say_it_is_meant(upload=kept, asked=outcome.asked, by=lead, because=" ")
    assert not Lot.objects.filter(lot="OLD").exists()
    say_it_is_meant(upload=kept, asked=outcome.asked, by=lead, because="the van goes first")
    assert load_upload(upload=kept, by=lead, at=AT).stored
    assert Balance.objects.get(lot__lot="OLD").quantity == 12 * ONE
    says = "loaded from lists.xlsx; too little life left, accepted: the van goes first"
    assert Posting.objects.latest("pk").reason == says


@pytest.fixture
def old_list(shop, tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("part_number,lot,quantity,place,last_use\nOR-014,OLD,12,A1,2026-03-20\n")
    return str(path)


@pytest.mark.parametrize("said", [[], ["--meant"], ["--because", " "]])
def test_command_stores_no_old_lot_without_a_reason(old_list, said, capsys):
    with pytest.raises(CommandError, match="say with --because why old lots are accepted"):
        call_command("load", old_list, *said)
    assert f"{SAYS} van short by 12" in capsys.readouterr().err
    assert not Lot.objects.filter(lot="OLD").exists()
    assert not Upload.objects.exists()


def test_command_stores_an_old_lot_for_a_reason(old_list):
    call_command("load", old_list, "--because", "the van goes first")
    assert Posting.objects.latest("pk").reason.endswith("accepted: the van goes first")

"""The sheet KitContents: what each kit of a lot holds goes out and comes back, with every lot that it names."""

import pytest

from bom.values import ONE
from kits.catalog.models import Item
from kits.exchange.workbooks.dump import dump_workbook
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.ledger import OnShelf
from kits.stock.models import KitPiece, Lot, Place
from kits.stock.packed_kits.actions import pack_kits, rob_kit
from tests.keeping import taken_back
from tests.kits.exchange.books import LOTS, SHOP, check_sheets, load_sheets, only_problem
from tests.kits.exchange.test_dump import answer, assert_same_sheets, reload_dump
from tests.kits.kept_rows import load_once, stored
from tests.kits.stock.kit_shop import AT, TODAY

HEADINGS = ["part_number", "lot", "holds", "of_lot", "quantity", "unit", "owed"]
KIT_LOT = [LOTS[0], ["K-1", "KIT-9", 2, "A1", "4Q24"]]


def contents(*rows):
    return {"Lots": KIT_LOT, "KitContents": [HEADINGS, *[list(row) for row in rows]]}


def recorded():
    rows = KitPiece.objects.select_related("kit_lot__item", "item", "piece_lot").order_by("item__folded", "pk")
    return [
        (row.kit_lot.lot, row.item.part_number, row.piece_lot and row.piece_lot.lot, row.quantity, row.owed)
        for row in rows
    ]


def test_rows_are_recorded_changed_and_left_as_they_are(shop):
    rows = contents(["K-1", "KIT-9", "OR-014", "L-1", 2, None, 1], ["K-1", "KIT-9", "CO-1", None, 31, "cm", None])
    assert load_sheets(rows).stored
    assert recorded() == [("KIT-9", "CO-1", None, 310 * ONE, 0), ("KIT-9", "OR-014", "L-1", 2 * ONE, ONE)]
    outcome = load_sheets(contents(["K-1", "KIT-9", "OR-014", "L-1", 3, None, 0]))
    (change,) = [sheet for sheet in outcome.sheets if sheet.sheet == "KitContents"]
    assert [(one.column, one.before, one.after) for one in change.rows[0].changes] == [
        ("quantity", "2", "3"),
        ("owed", "1", "0"),
    ]
    assert recorded() == [("KIT-9", "CO-1", None, 310 * ONE, 0), ("KIT-9", "OR-014", "L-1", 3 * ONE, 0)]


def test_replacing_the_sheet_forgets_what_it_no_longer_names(shop):
    load_sheets(contents(["K-1", "KIT-9", "OR-014", "L-1", 3, None, 0], ["K-1", "KIT-9", "CO-1", None, 310, None, 0]))
    rows = {"KitContents": [HEADINGS, ["K-1", "KIT-9", "OR-014", "L-1", 3, None, 0]]}
    outcome = load_sheets(rows, replaced=["KitContents"])
    assert outcome.sheets[0].removed == ("K-1 / KIT-9 / CO-1",)
    assert len(recorded()) == 1


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        (["K-1", "KIT-8", "OR-014", "L-1", 3, None, 0], "lot", "K-1 has no lot KIT-8"),
        (["K-1", "KIT-9", "OR-014", "L-9", 3, None, 0], "of_lot", "OR-014 has no lot L-9"),
        (["OR-014", "L-1", "BA-1", "B-7", 3, None, 0], "part_number", "OR-014 is a part"),
        (["K-1", "KIT-9", "K-1", "KIT-9", 1, None, 0], "of_lot", "does not hold its own lot"),
        (["K-1", "KIT-9", "OR-014", "L-1", -3, None, 0], "quantity", "below zero"),
        (["K-1", "KIT-9", "OR-014", "L-1", 3, "mm", 0], "unit", "kept in each"),
    ],
)
def test_row_that_cannot_be_is_refused_at_its_cell(shop, row, column, says):
    problem = only_problem(check_sheets(contents(row)))
    assert (problem.sheet, problem.row, problem.column) == ("KitContents", 2, column)
    assert says in problem.says


@pytest.mark.django_db
def test_packed_and_robbed_kits_come_back_with_the_lots_that_are_only_in_them():
    with taken_back():
        load_once("sheets", lambda: stored(load_sheets(SHOP)))
        pack_and_rob()
        before, kits, content = answer(), recorded(), dump_workbook()
    reload_dump(content)
    assert recorded() == kits
    assert Lot.objects.filter(lot="L-1", balances__quantity__gt=0, balances__job__isnull=True).count() == 0
    assert answer() == before
    assert_same_sheets(dump_workbook(), content)


def pack_and_rob():
    """Pack four kits, which leaves none of their ring lot on the shelf, and rob one of them."""
    who = {"by": User.objects.create_user("clerk"), "at": AT, "today": TODAY}
    kit, ring = (Item.objects.get(part_number=number) for number in ("K-1", "OR-014"))
    place, job = Place.objects.get(place="A1"), Job.objects.get()
    pack_kits(kit=kit, count=4, place_id=place.pk, lives_to=TODAY, key="pack", **who)
    lot, piece = Lot.objects.get(item=kit), Lot.objects.get(item=ring)
    account, robbed = OnShelf(lot.pk, place.pk), {"item": ring, "piece_lot": piece, "quantity": ONE}
    rob_kit(kit_lot=lot, account=account, **robbed, job=job, key="rob", reason="rush", **who)

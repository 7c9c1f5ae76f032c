"""Codes that the shop makes up: one lot each, whatever it is of and however many make one at once."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from bom.values import ONE
from kits.purchasing.receiving.actions import receive_delivery
from kits.purchasing.receiving.checks import DeliveredLot
from kits.stock.counts.actions import write_down_found
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf
from kits.stock.lot_codes import next_code
from kits.stock.models import Lot
from kits.stock.packed_kits.actions import open_kits
from kits.stock.queries import ledger_differences, lots_moved
from kits.stock.writes import LotFacts
from tests.kits.exchange.books import SHOP, check_sheets, load_sheets, only_problem
from tests.kits.stock.kit_shop import AT, TODAY, KitShop, held

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bench(db):
    """A bench at which two kinds of kit are packed."""
    bench = KitShop()
    bench.item("OTHER", "kit", source="pack", lead_days=1)
    bench.line("OTHER", "SEAT", 1)
    return bench


def receive(bench, part, key, *codes):
    """Take in one piece under each of the codes; the codes that the lots have then."""
    lots = [DeliveredLot(code, LotFacts(), ONE, bench.places["A1"].pk) for code in codes]
    said = {"reason": "", "short_life_reason": "", "over_reason": "", "asked": {}}
    postings = receive_delivery(
        item=bench.items[part], order_line=None, lots=lots, by=bench.clerk, at=AT, today=TODAY, key=key, **said
    )
    return [lot.lot for lot in lots_moved(postings)]


def find(bench, part, key, code=""):
    return write_down_found(
        place=bench.places["A1"], item=bench.items[part], lot_code=code, facts=LotFacts(), quantity=ONE,
        packet="sealed", by=bench.clerk, at=AT, today=TODAY, key=key,
    ).lot.lot  # fmt: skip


def test_codes_made_up_of_one_day_are_all_different_whatever_they_are_of(bench):
    bench.pack(1)
    bench.pack(1, kit="OTHER", key="other")
    received = receive(bench, "SEAT", "seats", "", "") + receive(bench, "CORD", "cord", "")
    found = [find(bench, "SEAT", "found seat"), find(bench, "CORD", "found cord")]
    packed = [lot.lot for lot in (*bench.kit_lots(), *bench.kit_lots("OTHER"))]
    assert packed + received == [f"260304-{number}" for number in (1, 2, 3, 4, 5)]
    assert found == ["FOUND-260304-1", "FOUND-260304-2"]


def test_code_that_came_by_sheet_for_another_part_is_not_made_up_again(bench):
    bench.stock("SEAT", "260304-1", "A1", 1)
    bench.pack(1)
    assert [lot.lot for lot in bench.kit_lots()] == ["260304-2"]


@pytest.mark.parametrize("way", [receive, find])
def test_code_made_up_here_is_refused_for_another_part_however_it_is_spelled(bench, way):
    bench.pack(1)
    with pytest.raises(StockRefusal, match="The code 260304-1 was made up here for a lot of KIT: mark the bag with"):
        way(bench, "SEAT", "seats", " 260304–1 ")
    assert not Lot.objects.filter(item=bench.items["SEAT"], folded="260304-1").exists()


def test_sheet_that_brings_a_code_made_up_here_for_another_part_is_refused_at_its_row(bench):
    load_sheets(SHOP)
    bench.pack(1)
    lots = [*SHOP["Lots"], ["BA-1", "260304-1", 3, "A1", None], ["KIT", "260304-1", 1, "K1", None]]
    problem = only_problem(check_sheets({**SHOP, "Lots": lots}))
    assert (problem.sheet, problem.row, problem.column) == ("Lots", 4, "lot")
    assert problem.reason == "the code 260304-1 was made up here for a lot of KIT"


def test_back_office_gives_no_lot_a_code_made_up_here(bench, admin_client):
    bench.pack(1)
    (packed,) = bench.kit_lots()
    added = {"item": bench.items["SEAT"].pk, "lot": "260304-1"}
    answer = admin_client.post(reverse("admin:stock_lot_add"), added)
    assert "is that of a lot of KIT, and one of the two was made up here" in answer.content.decode()
    changed = {"item": bench.items["KIT"].pk, "lot": "S-1", "why": "shorter"}
    answer = admin_client.post(reverse("admin:stock_lot_change", args=[packed.pk]), changed)
    assert "is that of a lot of SEAT" in answer.content.decode()
    assert list(Lot.objects.filter(folded__in=["260304-1", "s-1"]).values_list("item__part_number", flat=True)) == [
        "KIT",
        "SEAT",
    ]


def test_pieces_of_a_kit_that_nobody_knows_the_lots_of_have_a_code_each_and_keep_it(bench):
    bought = bench.stock("KIT", "B-77", "K1", 3)
    for key in ("first", "second"):
        open_kits(
            kit_lot=bought, account=OnShelf(bought.pk, bench.places["K1"].pk), count=1, today=TODAY, by=bench.clerk,
            at=AT, key=key, reason="wanted loose",
        )  # fmt: skip
    loose = [bench.loose(part, bought) for part in ("RING", "SEAT", "CORD")]
    assert sorted(lot.lot for lot in loose) == ["B-77/1", "B-77/2", "B-77/3"]
    assert [held(lot) for lot in loose] == [4, 2, 620]


def test_code_of_a_kit_that_fills_the_whole_column_leaves_room_for_a_number(bench):
    bench.stock("KIT", "K" * 100, "K1", 1)
    with transaction.atomic():
        assert next_code("K" * 100, "/") == "K" * 90 + "/1"


def test_database_itself_holds_two_codes_made_up_here_apart(bench):
    bench.pack(1)
    with pytest.raises(IntegrityError), transaction.atomic():
        Lot.objects.create(item=bench.items["SEAT"], lot="260304-1", made_here=True)


def test_many_people_who_pack_and_receive_at_once_get_a_code_each(bench):
    bench.stock("SEAT", "S-2", "C1", 90)

    def work(number):
        try:
            if number % 2:
                receive(bench, "CORD", f"cord {number}", "", "")
            else:
                bench.pack(1, kit="OTHER", key=f"pack {number}")
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as people:
        list(people.map(work, range(12)))
    made = list(Lot.objects.filter(made_here=True).values_list("folded", flat=True))
    assert len(made) == len(set(made)) == 6 * 2 + Lot.objects.filter(item=bench.items["OTHER"]).count()
    assert ledger_differences() == []

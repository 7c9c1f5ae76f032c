"""Which packets serve which work: plan, pick, packing, the bench, what goes to waste and the robbed kit agree."""

from datetime import date
from itertools import product

import pytest

from bom.values import ONE
from kits.catalog.models import Item
from kits.picking.actions import confirm_line
from kits.picking.errors import PickRefusal
from kits.planning.lists.bench_top_up import usable_balances
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf
from kits.stock.lists.disposal import to_dispose
from kits.stock.models import Balance, Reservation
from kits.stock.packed_kits.actions import rob_kit
from kits.stock.packed_kits.shelf import free_pieces
from tests.kits.picking.bench_shop import AS_OF, AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db
LASTS = date(2030, 12, 31)
OXYGEN = {"cleanliness": "oxygen_clean"}


@pytest.fixture
def shop():
    """A bench with a part of each sort on a section of its own, and nothing of them on the shelf yet."""
    made = BenchShop()
    made.item("SIDE", "assembly")
    made.line("PUMP", "SIDE", 1, "open")
    made.item("PART")
    made.line("SIDE", "PART", 2, "renew", "away from the liquid")
    made.scope("side", "SIDE")
    return made


SORTS = {
    "ring": {"shelf_life_months": 180},
    "ring that must stay sealed": {"shelf_life_months": 180, "resealed_usable": False},
    "clean ring": {"shelf_life_months": 180, **OXYGEN},
    "nut": {},
    "clean nut": OXYGEN,
}
SERVES = {
    ("ring", "sealed"): True,
    ("ring", "resealed"): True,
    ("ring", "loose"): False,
    ("ring that must stay sealed", "sealed"): True,
    ("ring that must stay sealed", "resealed"): False,
    ("ring that must stay sealed", "loose"): False,
    ("clean ring", "sealed"): True,
    ("clean ring", "resealed"): False,
    ("clean ring", "loose"): False,
    ("nut", "sealed"): True,
    ("nut", "resealed"): True,
    ("nut", "loose"): True,
    ("clean nut", "sealed"): True,
    ("clean nut", "resealed"): False,
    ("clean nut", "loose"): False,
}


def lay(shop, sort, packet):
    Item.objects.filter(part_number="PART").update(**SORTS[sort])
    shop.stock("PART", "P-1", "A1", 2, packet=packet, printed_last_use_on=LASTS)


@pytest.mark.parametrize(("sort", "packet", "clean"), [(*key, clean) for key, clean in product(SERVES, (False, True))])
def test_plan_pick_and_packing_take_the_same_packets(shop, sort, packet, clean):
    lay(shop, sort, packet)
    job = shop.job("J-1", "side", **(OXYGEN if clean else {}))
    part = Item.objects.get(part_number="PART")
    assert (shop.plan().answers[0].status == "ready") is SERVES[sort, packet]
    assert bool(free_pieces(shop.items["K-VALVE"], [part], lives_to=AS_OF)) is SERVES[sort, packet]
    if SERVES[sort, packet]:
        line = line_of(shop.start(job), "PART")
        confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key="tap")
        assert held("PART", job=job) == 2
    else:
        with pytest.raises(PickRefusal, match="Nothing lies on the shelf"):
            shop.start(job)


@pytest.mark.parametrize(("sort", "packet"), SERVES)
def test_what_no_work_takes_is_left_out_counts_nowhere_and_may_go_to_waste(shop, sort, packet):
    lay(shop, sort, packet)
    shop.job("J-1", "side")
    planned, serves = shop.plan(), SERVES[sort, packet]
    number = planned.demand.structure.index["PART"]
    assert planned.supplies.left_out.get(number, {}) == ({} if serves else {"resealed": 2 * ONE})
    assert bool(usable_balances(Item.objects.filter(part_number="PART"), AS_OF)) is serves
    why = "not clean any more" if sort.startswith("clean") else "may not be used any more"
    assert [row.why for row in to_dispose(today=AS_OF)] == ([] if serves else [f"packet opened: {why}"])


def test_of_a_clean_lot_that_lies_opened_and_sealed_the_sealed_packet_is_picked(shop):
    """The item leaves open whether it may be resealed; what is reserved of the lot is in the sealed packet too."""
    lay(shop, "clean ring", "sealed")
    lot = shop.stock("PART", "P-1", "A1", 5, packet="resealed")
    job = shop.job("J-1", "side", **OXYGEN)
    Reservation.objects.create(job=job, lot=lot, quantity=2 * ONE)
    line = line_of(shop.start(job), "PART")
    confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key="tap")
    assert (held("PART", job=job), held("PART", packet="sealed"), held("PART", packet="resealed")) == (2, 0, 5)


def test_a_piece_out_of_an_opened_kit_goes_into_no_clean_work(shop):
    kit_lot = shop.stock("K-END", "K-2", "K1", 1, printed_last_use_on=LASTS)
    account = OnShelf(kit_lot.pk, shop.places["K1"].pk)
    said = {"kit_lot": kit_lot, "account": account, "item": shop.items["OR-210-N90"], "piece_lot": None}
    said |= {"quantity": ONE, "today": AS_OF, "by": shop.clerk, "at": AT, "reason": "rush"}
    with pytest.raises(StockRefusal, match="J-1 is oxygen clean work, and a piece out of an opened kit does not count"):
        rob_kit(**said, job=shop.job("J-1", **OXYGEN), key="rob clean")
    rob_kit(**said, job=shop.job("J-2"), key="rob normal")
    assert Balance.objects.get(job__job="J-2").quantity == ONE

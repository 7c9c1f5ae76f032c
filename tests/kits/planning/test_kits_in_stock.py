"""The snapshot knows what is in the kits on the shelf, and which lots may not be used for now."""

from dataclasses import replace
from datetime import date

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from bom.values import ONE, OtherNeed
from kits.catalog.models import StructureLine
from kits.planning.snapshot.shop import take_snapshot
from kits.stock.packed_kits.last_uses import kit_last_uses
from kits.stock.suspects.actions import freeze_lot, lift_suspicion
from tests.kits.stock.kit_shop import AT, TODAY, KitShop


@pytest.fixture
def bench(db):
    made = KitShop()
    made.pack(3)
    return made


def lots(part):
    return {lot.lot: lot for lot in take_snapshot(TODAY).lots if lot.part_number == part}


def test_kit_on_the_shelf_dies_with_the_piece_that_dies_first(bench):
    assert [lot.last_use for lot in lots("KIT").values()] == [date(2026, 3, 31), date(2026, 3, 31), date(2030, 3, 31)]
    bench.lot("RING", "NEW").__class__.objects.filter(lot="NEW").update(printed_last_use_on=date(2026, 3, 20))
    assert [lot.last_use for lot in lots("KIT").values()] == [date(2026, 3, 31), date(2026, 3, 20), date(2026, 3, 20)]


def test_kit_dies_with_a_piece_of_the_kit_that_is_in_it(bench):
    bench.item("BIG", "kit", source="pack")
    bench.line("BIG", "KIT", 1)
    bench.pack(1, kit="BIG", key="big")
    (big,) = bench.kit_lots("BIG")
    assert kit_last_uses()[big.pk] == date(2026, 3, 31)


def test_suspect_lot_and_its_kits_count_as_quarantine_even_where_somebody_moved_them_back(bench):
    ring = bench.lot("RING", "NEW")
    suspicion = freeze_lot(lot=ring, reason="soft", by=bench.clerk, at=AT, key="freeze")
    ring.balances.filter(condition="quarantine").update(condition="usable", packet="loose")
    assert {lot.condition for lot in lots("RING").values() if lot.lot == "NEW"} == {"quarantine"}
    assert [lot.condition for lot in lots("KIT").values()] == ["usable", "quarantine", "quarantine"]
    lift_suspicion(suspicion=suspicion, reason="it is good", by=bench.clerk, at=AT, key="lift")
    assert [lot.condition for lot in lots("KIT").values()] == ["usable", "usable", "usable"]


def test_robbed_kit_is_not_counted_on_until_it_is_filled_up(bench):
    first = next(iter(bench.kit_lots()))
    bench.rob(first, "SEAT", "S-1")
    (robbed,) = (lot for lot in bench.kit_lots() if lot.lot.startswith(f"{first.lot}/"))
    assert lots("KIT")[robbed.lot].condition == "owing"
    bench.fill_up(robbed)
    assert {lot.condition for lot in lots("KIT").values()} == {"usable"}


def test_kit_on_the_shelf_holds_what_was_recorded_whatever_its_list_says_now(bench):
    held = (("CORD", 310 * ONE), ("RING", 2 * ONE), ("SEAT", ONE))
    assert {lot.contents for lot in lots("KIT").values()} == {held}
    assert {lot.contents for lot in lots("RING").values()} == {None}
    StructureLine.objects.filter(child__part_number="RING").update(quantity=4 * ONE)
    assert {lot.contents for lot in lots("KIT").values()} == {held}


def test_list_that_asks_for_more_makes_jobs_ask_for_what_older_kits_are_without(bench):
    shop = take_snapshot(TODAY)
    need = OtherNeed("VAN", "KIT", 2 * ONE, date(2026, 3, 20))
    asked = {row["part_number"]: row["passed_down"] for row in as_json(plan(replace(shop, needs=(need,))))["demand"]}
    assert asked == {"KIT": 0}
    StructureLine.objects.filter(child__part_number="RING").update(quantity=4 * ONE)
    shop = take_snapshot(TODAY)
    asked = {row["part_number"]: row["passed_down"] for row in as_json(plan(replace(shop, needs=(need,))))["demand"]}
    assert asked == {"KIT": 0, "RING": 4}

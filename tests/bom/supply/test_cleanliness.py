"""Clean work: what touches the liquid is of the job's class, or the job is refused; opened packets are not clean."""

from dataclasses import replace
from datetime import date

import pytest

from bom.answers.rows import as_json
from bom.demand.checks import check
from bom.errors import ShopError
from bom.plan import plan
from bom.supply.matching import OWN
from bom.values import ONE, Catalog, Issue, Item, Job, KitFit, Line, Lot, ScopeSection, Shop
from tests.demo_shop import demo_shop

TODAY = date(2026, 3, 4)
CLEAN = "oxygen_clean"


def shop_of(
    *, ring_class=CLEAN, kit_class=CLEAN, wetted=True, packet="sealed", cleanliness=CLEAN, kits=True, ageless=True
):
    """One job that renews two rings of an end; a kit holds both."""
    items = (
        Item("PUMP", "pump"),
        Item("END", "assembly"),
        Item("RING", cleanliness=ring_class, lead_days=5, ageless=ageless),
        Item("K-END", "kit", source="buy", cleanliness=kit_class, lead_days=5),
    )
    lines = (
        Line("PUMP", "END", ONE, "open"),
        Line("END", "RING", 2 * ONE, "renew", position="gland", wetted=wetted),
        Line("K-END", "RING", 2 * ONE),
    )
    catalog = Catalog(items, lines, (ScopeSection("PUMP", "reseal", "END", 1),), (KitFit("K-END", "END"),))
    job = Job("J-1", "PUMP", "reseal", date(2026, 3, 20), cleanliness=cleanliness, use_kits=kits)
    lots = (Lot("RING", "L-1", 2 * ONE, packet=packet), Lot("K-END", "K-1", ONE))
    return Shop(TODAY, catalog, jobs=(job,), lots=lots)


def status(shop):
    return as_json(plan(shop))["jobs"][0]["status"]


def test_a_normal_part_that_touches_the_liquid_is_refused_in_clean_work():
    (fault,) = check(shop_of(ring_class="normal"))
    assert (fault.sheet, fault.key, fault.column) == ("Schedule", ("J-1",), "cleanliness")
    assert fault.says == (
        "Job J-1 is oxygen_clean, but RING at 'gland' of END touches the liquid and is normal; give that place a part"
        " of the class oxygen_clean, or correct the class of RING."
    )
    with pytest.raises(ShopError, match="touches the liquid"):
        plan(shop_of(ring_class="normal"))


def test_a_normal_part_away_from_the_liquid_is_fitted_in_clean_work():
    assert check(shop_of(ring_class="normal", wetted=False)) == ()


def test_a_clean_part_is_fitted_in_normal_work():
    assert check(shop_of(cleanliness="normal")) == ()


def test_another_class_is_not_clean_enough():
    assert "is lubricant_free" in check(shop_of(ring_class="lubricant_free"))[0].says


def test_a_normal_kit_is_not_taken_where_it_would_touch_the_liquid():
    assert [row["kit"] for row in as_json(plan(shop_of()))["kits"]] == ["K-END"]
    assert as_json(plan(shop_of(kit_class="normal")))["kits"] == []
    assert [row["kit"] for row in as_json(plan(shop_of(kit_class="normal", wetted=False)))["kits"]] == ["K-END"]


@pytest.mark.parametrize("cleanliness", [CLEAN, "normal"])
def test_a_clean_part_whose_packet_was_opened_is_left_out_with_the_reason(cleanliness):
    assert status(shop_of(kits=False, cleanliness=cleanliness)) == "ready"
    shop = shop_of(kits=False, packet="resealed", cleanliness=cleanliness)
    (row,) = as_json(plan(shop))["demand"]
    assert (row["on_hand"], row["left_out"], row["uncovered"]) == (0, {"resealed": 2}, 2)


@pytest.mark.parametrize("packet", ["sealed", "resealed"])
def test_clean_work_takes_an_ordinary_part_away_from_the_liquid_as_others_do(packet):
    assert status(shop_of(kits=False, packet=packet, ring_class="normal", wetted=False, ageless=False)) == "ready"


def test_an_opened_packet_that_is_reserved_for_clean_work_does_not_serve_it_either():
    shop = shop_of(kits=False, packet="resealed")
    held = (Issue("J-1", "RING", "L-1", 2 * ONE, "reserved"),)
    assert status(replace(shop, issues=held)) == "short"
    shut = replace(shop, lots=(*shop.lots, Lot("RING", "L-1", 2 * ONE)), issues=held)
    draws = plan(shut).netting.draws
    assert (draws.supply.tolist(), draws.own_lot.tolist()) == ([OWN], [2])


def test_a_clean_kit_is_put_together_from_sealed_packets_whoever_asks_for_it():
    shop = shop_of(packet="resealed", ring_class="normal", wetted=False, ageless=False, cleanliness="normal")
    ready = replace(shop, lots=shop.lots[:1])
    for kit_class, packed in (("normal", [1]), (CLEAN, [])):
        items = tuple(
            replace(item, source="pack_else_buy", cleanliness=kit_class) if item.kind == "kit" else item
            for item in ready.catalog.items
        )
        answer = as_json(plan(replace(ready, catalog=replace(ready.catalog, items=items))))
        assert [row["quantity"] for row in answer["pack"]] == packed


def test_the_shop_refuses_oxygen_clean_work_with_the_seals_of_mineral_oil():
    shop = demo_shop()
    jobs = tuple(replace(job, cleanliness=CLEAN) if job.job == "J-3104" else job for job in shop.jobs)
    says = [fault.says for fault in check(replace(shop, jobs=jobs))]
    assert any("J-3104 is oxygen_clean, but CS-38-U at 'gland, first from the liquid' of E38" in one for one in says)
    assert all(one.startswith("Job J-3104") for one in says)

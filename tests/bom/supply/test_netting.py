"""Kits and assemblies that are packed or made here: what they pass down, by when, and when kits are bought instead."""

from dataclasses import replace

import pytest

from bom.values import ONE, Issue, Item, KitFit, Line, OtherNeed
from tests.bom.small_shops import (
    FKM,
    NBR,
    NEED,
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    opens,
    order,
    pick,
    renew,
    row_of,
    statuses,
)

END = [opens("PUMP", "end", 2), renew("end", "ring", 2)]
FITS = [KitFit("K", "end")]
RINGS = (holds("K", "ring", 2),)


def kit_shop(source, lines=RINGS, lead_days=1, items=(), **more):
    items = [kit(source=source, lead_days=lead_days), *items]
    return make_shop([*END, *lines], items=items, fits=FITS, sections=more.pop("sections", (("end", 2),)), **more)


def passed(shop):
    return {row["part_number"]: row["passed_down"] for row in answer(shop)["demand"] if row["passed_down"]}


def packed(shop):
    return {row["kit"]: row["quantity"] for row in answer(shop)["pack"]}


def short(shop):
    return {row["part_number"]: row["short"] for row in answer(shop)["buy"]}


# --- packed and made


def test_a_kit_to_pack_asks_for_its_contents():
    """2 kits of 2 rings: nothing is bought but 4 rings."""
    shop = kit_shop("pack")
    assert (packed(shop), passed(shop), short(shop)) == ({"K": 2}, {"ring": 4}, {"ring": 4})


def test_what_two_of_one_assembly_pass_down_serves_the_one_that_is_needed_first():
    """Both valves want their cup today, but the one for the kit is wanted on the 4th and the loose one on the 5th.

    The cup on the shelf goes into the kit; the loose valve waits for the cup of the 20th and three days more.
    """
    lines = [renew("PUMP", "valve"), opens("PUMP", "end"), renew("end", "valve"), holds("K", "valve")]
    items = [kit(source="pack", lead_days=1), Item("valve", "assembly", source="make", lead_days=3)]
    shop = make_shop(
        [*lines, holds("valve", "cup")], items=items, fits=FITS, jobs=[job(build_on=march(6))],
        lots=[lot("cup", 1)], orders=[order("cup", 1, march(20))],
    )  # fmt: skip
    assert pick(answer(shop)["jobs"][0], "status", "parts_on") == ("late", "2026-03-25")


def test_only_what_the_shelf_lacks_is_packed():
    shop = kit_shop("pack", lots=[lot("K", 1)])
    assert (packed(shop), passed(shop)) == ({"K": 1}, {"ring": 2})


def test_an_order_of_kits_is_awaited_before_any_is_packed():
    """Even a late one: the kit of 20 March leaves one to pack."""
    shop = kit_shop("pack", orders=[order("K", 1, march(20))])
    assert packed(shop) == {"K": 1}
    assert answer(shop)["jobs"][0]["status"] == "short"


def test_a_kit_that_is_bought_asks_for_nothing():
    shop = kit_shop("buy", lots=[lot("ring", 9)])
    assert (packed(shop), passed(shop), short(shop)) == ({}, {}, {"K": 2})


def test_contents_are_needed_a_packing_time_earlier():
    """Need Wednesday 11 March; with 3 packing days the rings are needed on Friday 6 March."""
    found = answer(kit_shop("pack", lead_days=3))
    assert row_of(found["pack"], "K", "kit")["need_on"] == NEED
    assert row_of(found["buy"], "ring")["need_on"] == "2026-03-06"


def test_contents_are_never_needed_before_today():
    """Today is a Sunday, so that the first working day is Monday 9 March."""
    found = answer(replace(kit_shop("pack", lead_days=30), as_of=march(8)))
    assert row_of(found["buy"], "ring")["need_on"] == "2026-03-09"


def test_a_kit_without_a_packing_time_takes_none_and_says_so():
    shop = kit_shop("pack", lead_days=None, lots=[lot("ring", 9)])
    (flag,) = answer(shop)["flags"]
    assert pick(flag, "kind", "part_number", "job") == ("no_lead_time", "K", None)
    assert "taken as none" in flag["says"]
    assert pick(answer(shop)["jobs"][0], "status", "parts_on") == ("waiting", "2026-03-04")


def test_kits_inside_kits_go_down_level_by_level():
    """2 K of 3 K-2 of 2 cups; one K-2 lies there: 5 are packed, 10 cups asked for."""
    lines = [holds("K", "ring", 2), holds("K", "K-2", 3), holds("K-2", "cup", 2)]
    shop = kit_shop("pack", lines, items=[kit("K-2", "pack", lead_days=2)], lots=[lot("K-2", 1)])
    assert packed(shop) == {"K": 2, "K-2": 5}
    assert passed(shop) == {"K-2": 6, "cup": 10, "ring": 4}
    assert row_of(answer(shop)["buy"], "cup")["need_on"] == "2026-03-06"  # 1 and 2 days before 11 March


def test_a_made_assembly_asks_for_its_parts_whatever_happens_to_them_at_a_rebuild():
    lines = [renew("PUMP", "head"), holds("head", "core"), replace(holds("head", "pin", 2), at_rebuild="keep")]
    shop = make_shop(lines, items=[Item("head", "assembly", source="make", lead_days=2)])
    assert (packed(shop), short(shop)) == ({"head": 1}, {"core": 1, "pin": 2})


def test_a_kit_packed_without_contents_is_bought():
    """Only bench items are in it: there is nothing to pack it from."""
    shop = kit_shop("pack", [holds("K", "grease")], items=[Item("grease", bench=True)])
    assert (packed(shop), short(shop)) == ({}, {"K": 2, "ring": 4})


def test_contents_that_do_not_apply_to_the_job_leave_the_kit_to_be_bought():
    lines = [renew("PUMP", "head"), holds("head", "core", from_on=march(20))]
    items = [Item("head", "assembly", source="make", lead_days=2)]
    assert short(make_shop(lines, items=items)) == {"head": 1}
    assert short(make_shop(lines, items=items, jobs=[job(build_on=march(20))])) == {"core": 1}


def test_contents_follow_the_options_of_the_job_that_asks():
    """One kit is packed for an FKM job and one for an NBR job; a kit sold at the door holds every line."""
    lines = [holds("K", "soft", 2, position="r", options=NBR), holds("K", "hard", 2, position="r", options=FKM)]
    lines += [renew("end", part, 2, position="r", options=options) for part, options in (("soft", NBR), ("hard", FKM))]
    jobs = [job("J-1", options=FKM), job("J-2", options=NBR)]
    shop = kit_shop("pack", lines, jobs=jobs, sections=(("end", 1),), needs=[OtherNeed("sale", "K", ONE, march(30))])
    assert passed(shop) == {"hard": 4, "soft": 4}


def test_loose_pieces_come_before_passed_down_ones_of_the_same_job():
    """One ring: the joint asks for it loose and the kit to pack asks as well; it goes to the joint."""
    lines = [*END[:1], renew("end", "ring"), opens("PUMP", "joint"), renew("joint", "ring"), holds("K", "ring")]
    shop = make_shop(
        lines, items=[kit(source="pack", lead_days=0)], fits=FITS, sections=(("end", 1), ("joint", 1)),
        lots=[lot("ring", 1)],
    )  # fmt: skip
    assert answer(shop)["jobs"][0]["blocking_part"] == "ring"
    assert pick(row_of(answer(shop)["buy"], "ring"), "short", "jobs") == (1, ["J-1"])
    ready = replace(shop, lots=(lot("ring", 2),))
    assert statuses(answer(ready)) == {"J-1": "waiting"}


def test_passed_down_pieces_compete_by_their_own_need_date():
    """J-2 is built a day later than J-1, but its kit takes 3 days to pack: its ring is needed first."""
    lines = [*END[:1], renew("end", "ring"), renew("PUMP", "ring"), holds("K", "ring")]
    jobs = [job("J-1", scope="label"), job("J-2", march(13))]
    shop = make_shop(
        [*lines, opens("PUMP", "label"), renew("label", "ring")],
        items=[kit(source="pack", lead_days=3)], fits=FITS, sections=(("end", 1),), jobs=jobs, lots=[lot("ring", 1)],
    )  # fmt: skip
    scope = replace(shop.catalog.scopes[0], scope="label", section="label")
    shop = replace(shop, catalog=replace(shop.catalog, scopes=(*shop.catalog.scopes, scope)))
    assert statuses(answer(shop)) == {"J-1": "short", "J-2": "waiting"}


def test_pieces_for_a_kit_last_to_the_build_of_its_job():
    shop = kit_shop("pack", lots=[lot("ring", 4, last_use=march(11))])
    assert short(shop) == {"ring": 4}


def test_what_a_made_assembly_asks_for_because_of_wear_stays_wear():
    lines = [inspect("PUMP", "head", 100), holds("head", "core", 2)]
    shop = make_shop(lines, items=[Item("head", "assembly", source="make", lead_days=2)])
    row = demand_of(shop, "core")
    assert pick(row, "sure", "passed_down", "planned_wear", "uncovered", "uncovered_wear") == (0, 2, 0, 0, 2)
    assert pick(row_of(answer(shop)["buy"], "core"), "short", "short_wear", "jobs") == (0, 2, [])
    assert answer(shop)["pack"] == [{"kit": "head", "quantity": 1, "need_on": NEED, "jobs": []}]
    assert statuses(answer(shop)) == {"J-1": "ready"}


def test_a_measured_content_is_multiplied_exactly():
    cord = replace(holds("K", "cord"), quantity=310 * ONE + 1)
    shop = kit_shop("pack", [holds("K", "ring", 2), cord], items=[Item("cord", countable=False)])
    assert passed(shop)["cord"] == 620.000002


def test_a_kit_sold_at_the_door_holds_the_parts_of_every_serial():
    lines = [holds("K", "ring", 2), holds("K", "old", to_serial="H3"), holds("K", "new", from_serial="H4")]
    shop = kit_shop("pack", lines, jobs=[], needs=[OtherNeed("sale", "K", ONE, march(20))])
    assert passed(shop) == {"new": 1, "old": 1, "ring": 2}


def test_a_need_for_a_bench_item_is_nobodys_purchase():
    needs = [OtherNeed("van", "grease", ONE, march(20)), OtherNeed("sale", "ring", ONE, march(20))]
    shop = make_shop(END, items=[Item("grease", bench=True)], jobs=[], needs=needs)
    found = answer(shop)
    assert [row["part_number"] for row in found["demand"]] == ["ring"]
    assert [row["status"] for row in found["other_needs"]] == ["short", "ready"]


# --- packed or else bought


def choice(rings=0, **more):
    lots = [lot("ring", rings)] if rings else []
    return kit_shop("pack_else_buy", lots=[*lots, *more.pop("lots", ())], **more)


@pytest.mark.parametrize(("rings", "kits"), [(0, 0), (1, 0), (2, 1), (3, 1), (4, 2), (9, 2)])
def test_whole_kits_are_packed_as_far_as_the_shelf_goes(rings, kits):
    """Two are asked of 2 rings each; the rest is bought as kits and takes no rings."""
    shop = choice(rings)
    assert packed(shop) == ({"K": kits} if kits else {})
    assert short(shop) == ({"K": 2 - kits} if kits < 2 else {})
    assert passed(shop) == ({"ring": 2 * kits} if kits else {})


def test_every_content_must_be_there():
    lines = [holds("K", "ring", 2), holds("K", "cup")]
    shop = choice(9, lines=lines, lots=[lot("cup", 1)])
    assert (packed(shop), short(shop)) == ({"K": 1}, {"K": 1})


def test_nothing_is_packed_from_orders():
    shop = choice(0, orders=[order("ring", 9, march(5))])
    assert (packed(shop), short(shop)) == ({}, {"K": 2})


def test_nothing_is_packed_from_lots_that_die_before_the_build():
    assert packed(choice(lots=[lot("ring", 9, last_use=march(11))])) == {}
    assert packed(choice(lots=[lot("ring", 9, last_use=march(12))])) == {"K": 2}


def test_the_earliest_last_use_is_packed_first():
    shop = choice(
        lots=[lot("ring", 4, "A"), lot("ring", 3, "B", last_use=march(12))], jobs=[job(), job("J-2", march(19))]
    )
    (row,) = answer(shop)["expiring"]
    assert pick(row, "lot", "unused") == ("B", 0)


def test_sure_pieces_of_every_item_come_before_packing():
    """The sale needs the rings loose, long after the build, and gets them."""
    shop = choice(4, needs=[OtherNeed("sale", "ring", 3 * ONE, march(30))])
    assert (packed(shop), short(shop)) == ({}, {"K": 2})


def test_packing_comes_before_planned_wear():
    lines = [holds("K", "ring", 2), inspect("PUMP", "ring", 100, position="look")]
    shop = choice(4, lines=lines, sections=(("PUMP", 1),))
    assert packed(shop) == {"K": 2}
    assert demand_of(shop, "ring")["uncovered_wear"] == 1


def test_kits_on_the_shelf_and_on_order_come_before_packing():
    shop = choice(4, lots=[lot("K", 1)], orders=[order("K", 1, march(20))])
    assert packed(shop) == {}
    assert statuses(answer(shop)) == {"J-1": "late"}


def test_kits_are_packed_in_the_order_of_their_numbers():
    """Both ask for the last two rings; A-9 comes first."""
    lines = [*END, opens("PUMP", "joint"), renew("joint", "ring", 2), holds("K", "ring", 2), holds("A-9", "ring", 2)]
    items = [kit(name, "pack_else_buy", lead_days=1) for name in ("K", "A-9")]
    fits = [*FITS, KitFit("A-9", "joint")]
    shop = make_shop(lines, items=items, fits=fits, sections=(("end", 1), ("joint", 1)), lots=[lot("ring", 2)])
    assert packed(shop) == {"A-9": 1}


def test_kits_are_packed_for_jobs_in_their_serving_order():
    shop = choice(2, sections=(("end", 1),), jobs=[job("J-1", march(19)), job("J-2")])
    assert answer(shop)["pack"] == [{"kit": "K", "quantity": 1, "need_on": NEED, "jobs": ["J-2"]}]


def test_bench_contents_hold_no_kit_up():
    lines = [holds("K", "ring", 2), holds("K", "grease")]
    assert packed(choice(4, lines=lines, items=[Item("grease", bench=True)])) == {"K": 2}


def test_a_kit_inside_is_taken_whole():
    """The inner kit lies there; its contents are not looked for."""
    lines = [holds("K", "ring", 2), holds("K", "K-2"), holds("K-2", "cup")]
    shop = choice(4, lines=lines, items=[kit("K-2", "pack_else_buy")], lots=[lot("K-2", 1), lot("cup", 9)])
    assert packed(shop) == {"K": 1}


def test_a_customers_lots_are_packed_for_that_customer():
    lots = [lot("ring", 4, owner="Harbour Line")]
    assert packed(choice(lots=lots, jobs=[job(customer="Harbour Line")])) == {"K": 2}
    assert packed(choice(lots=lots, jobs=[job(customer="Tube Mill")])) == {}


def test_reserved_pieces_are_not_packed():
    shop = choice(4, issues=[Issue("J-1", "ring", "L", 3 * ONE, "reserved")])
    assert packed(shop) == {}


def test_a_kit_sold_at_the_door_is_packed_as_well():
    shop = choice(2, jobs=[], needs=[OtherNeed("sale", "K", ONE, march(20))])
    assert packed(shop) == {"K": 1}
    assert answer(shop)["other_needs"] == [{"need": "sale", "status": "waiting", "parts_on": "2026-03-05"}]


def test_part_of_a_made_assembly_asks_for_its_contents_rounded_up():
    """Half a litre of a mix that holds 3 millionths a litre takes 2 millionths, never 1."""
    mix = Item("mix", "assembly", countable=False, source="make", lead_days=1)
    lines = [Line("PUMP", "mix", ONE // 2, "renew"), Line("mix", "dye", 3)]
    assert passed(make_shop(lines, items=[mix, Item("dye", countable=False)]))["dye"] == 2e-6

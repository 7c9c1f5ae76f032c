"""How many pumps the shelf can rebuild: counted by hand on small shops, and held to the plan itself on random ones."""

from dataclasses import replace

import pytest

from bom.answers.rows import as_json
from bom.errors import ShopError
from bom.plan import plan
from bom.questions.rebuildable import TRIAL, Limit, count_rebuildable
from bom.values import ONE, Issue, Item, Job, KitFit, OtherNeed, ScopeSection
from tests.bom.results import plan_of
from tests.bom.small_shops import BUILD, FKM, NBR, holds, inspect, job, kit, lot, make_shop, march, order, renew
from tests.demo_shop import demo_shop
from tests.shops import random_shop, with_bags


def count(shop, scope="reseal", **more):
    return count_rebuildable(plan(shop), "PUMP", scope, **more)


def two_rings(**more):
    return make_shop([renew("PUMP", "RING", 2)], jobs=more.pop("jobs", ()), **more)


def test_as_many_pumps_as_there_are_whole_sets():
    found = count(two_rings(lots=[lot("RING", 7)]))
    assert (found.pumps, found.limits) == (3, (Limit("RING", ONE),))
    assert found.says == (
        "3 PUMP can be rebuilt to 'reseal' from the shelf beside the running jobs; one more would lack 1 RING."
    )


def test_an_empty_shelf_rebuilds_nothing():
    found = count(two_rings(), beside_jobs=False)
    assert (found.pumps, found.limits) == (0, (Limit("RING", 2 * ONE),))
    assert found.says == "No PUMP can be rebuilt to 'reseal' from the shelf; one more would lack 2 RING."


def test_everything_that_runs_out_at_once_is_named():
    shop = make_shop(
        [renew("PUMP", "RING", 2), renew("PUMP", "CUP"), renew("PUMP", "NUT", 3)],
        jobs=(),
        lots=[lot("RING", 5), lot("CUP", 2), lot("NUT", 90)],
    )
    found = count(shop)
    assert (found.pumps, found.limits) == (2, (Limit("CUP", ONE), Limit("RING", ONE)))
    assert found.says.endswith("one more would lack 1 CUP and 1 RING.")


def test_orders_do_not_lie_on_the_shelf():
    assert count(two_rings(lots=[lot("RING", 2)], orders=[order("RING", 50, march(4))])).pumps == 1


def test_lots_must_live_to_the_build_day():
    shop = two_rings(lots=[lot("RING", 4, "OLD", last_use=march(20)), lot("RING", 2, "NEW")])
    assert count(shop, build_on=march(20)).pumps == 3
    assert count(shop, build_on=march(21)).pumps == 1


def test_lots_of_a_customer_serve_that_customer_only():
    shop = two_rings(lots=[lot("RING", 4, "H", owner="harbour line"), lot("RING", 2)])
    assert count(shop).pumps == 1
    assert count(shop, customer="Harbour  Line").pumps == 3


def test_running_jobs_and_other_needs_come_first_when_asked_to():
    shop = two_rings(jobs=[job("J-1")], lots=[lot("RING", 9)], needs=[OtherNeed("VAN", "RING", ONE, march(30))])
    assert count(shop).pumps == 3
    assert count(shop, beside_jobs=False).pumps == 4


def test_what_may_be_found_worn_takes_nothing_from_a_pump():
    shop = make_shop(
        [renew("PUMP", "RING"), inspect("PUMP", "RING", 90, position="second")],
        jobs=[job("J-1")],
        lots=[lot("RING", 5)],
    )
    assert count(shop).pumps == 4


def test_what_is_reserved_or_bagged_is_not_free():
    shop = two_rings(
        jobs=[job("J-1")],
        lots=[lot("RING", 6)],
        issues=[Issue("J-1", "RING", "L", 2 * ONE, "reserved"), Issue("J-1", "RING", "L", 2 * ONE, "bagged")],
    )
    assert (count(shop).pumps, count(shop, beside_jobs=False).pumps) == (2, 2)


def test_kits_come_first_and_loose_pieces_fill_them_up():
    shop = make_shop(
        [renew("PUMP", "RING", 3), holds("K", "RING", 2)],
        items=[kit("K")],
        fits=[KitFit("K", "PUMP")],
        jobs=(),
        lots=[lot("K", 4), lot("RING", 3)],
    )
    assert (count(shop).pumps, count(shop).limits) == (3, (Limit("RING", ONE),))


def test_a_kit_is_packed_where_its_source_says_so():
    lines = [renew("PUMP", "RING", 2), holds("K", "RING", 2)]
    more = {"fits": [KitFit("K", "PUMP")], "jobs": (), "lots": [lot("K", 1), lot("RING", 5)]}
    assert count(make_shop(lines, items=[kit("K", "buy")], **more)).limits == (Limit("K", ONE),)
    packed = count(make_shop(lines, items=[kit("K", "pack")], **more))
    assert (packed.pumps, packed.limits) == (3, (Limit("RING", ONE),))
    either = count(make_shop(lines, items=[kit("K", "pack_else_buy")], **more))
    assert (either.pumps, either.limits) == (3, (Limit("K", ONE, (Limit("RING", ONE),)),))
    assert either.says.endswith("one more would lack 1 K (packing lacks 1 RING).")


def bag(count, code="L", part="K", **held):
    """A lot of kits of which each holds so much as is written down."""
    return lot(part, count, code, contents=tuple((name, number * ONE) for name, number in held.items()))


def kit_shop(*lots, source="buy", **more):
    """A pump that needs two rings and a cup, and a kit of just these."""
    return make_shop(
        [renew("PUMP", "RING", 2), renew("PUMP", "CUP"), holds("K", "RING", 2), holds("K", "CUP")],
        items=[kit("K", source), *more.pop("items", ())],
        fits=[KitFit("K", "PUMP")],
        jobs=(),
        lots=lots,
        **more,
    )


def test_a_kit_that_is_without_a_piece_limits_the_number():
    """Kits are what was recorded of them: three without their cup, and one loose cup to fill them up."""
    found = count(kit_shop(bag(3, RING=2), lot("CUP", 1)))
    assert (found.pumps, found.limits) == (1, (Limit("CUP", ONE),))
    assert found.says.endswith("one more would lack 1 CUP.")
    assert count(kit_shop(bag(3, RING=2, CUP=1), lot("CUP", 1))).pumps == 3
    assert count(kit_shop(lot("K", 3), lot("CUP", 1))).pumps == 3


def test_what_a_kit_holds_beyond_its_list_rebuilds_nothing():
    assert count(kit_shop(bag(1, RING=4, CUP=2))).pumps == 1


def test_whole_kits_are_counted_first_whichever_would_be_taken_first():
    """The kit that lacks a cup came first; the pumps of the trial are built on one day, so any may be taken."""
    poor = replace(bag(1, "A", RING=2), received=march(1))
    assert count(kit_shop(poor, replace(bag(2, "B", RING=2, CUP=1), received=march(3)))).pumps == 2
    assert count(kit_shop(poor, replace(lot("K", 2, "B"), received=march(3)))).pumps == 2


def test_of_kits_that_lack_something_those_come_first_that_can_be_filled_up():
    poor = bag(1, "A", RING=2), bag(1, "B", CUP=1)
    assert count(kit_shop(*poor, lot("RING", 2))).pumps == 1
    assert count(kit_shop(*poor, lot("CUP", 1))).pumps == 1
    assert count(kit_shop(*poor, lot("CUP", 1), lot("RING", 2))).pumps == 2


def test_a_kit_is_packed_beside_one_that_lacks_a_piece():
    found = count(kit_shop(bag(1, RING=2), lot("RING", 2), lot("CUP", 2), source="pack"))
    assert (found.pumps, found.limits) == (2, (Limit("CUP", ONE), Limit("RING", 2 * ONE)))


def test_a_kit_inside_a_kit_to_be_packed_is_what_is_in_its_bag():
    lines = [renew("PUMP", "RING", 2), holds("K", "INNER"), holds("INNER", "RING", 2)]
    more = {"items": [kit("K", "pack"), kit("INNER")], "fits": [KitFit("K", "PUMP")], "jobs": ()}
    poor = bag(2, part="INNER", RING=1)
    assert count(make_shop(lines, lots=[poor, lot("RING", 1)], **more)).pumps == 1
    assert count(make_shop(lines, lots=[lot("INNER", 2)], **more)).pumps == 2


def test_seven_pumps_may_be_rebuilt_where_six_may_not():
    """A kit for three assemblies holds two rings: six pumps take two kits and two rings, seven three kits and one."""
    shop = make_shop(
        [renew("PUMP", "RING"), holds("K", "RING", 2)],
        items=[kit("K")],
        fits=[KitFit("K", "PUMP", instances=3)],
        jobs=(),
        lots=[lot("K", 3), lot("RING", 1)],
    )
    assert (count(shop).pumps, count(shop).limits) == (7, (Limit("RING", ONE),))
    assert as_json(plan(replace(shop, jobs=(job(quantity=6),))))["jobs"][0]["status"] == "short"
    assert as_json(plan(replace(shop, jobs=(job(quantity=7),))))["jobs"][0]["status"] == "ready"


def test_a_scope_that_needs_nothing_for_sure_has_no_limit():
    found = count(make_shop([inspect("PUMP", "BALL", 35)], jobs=()))
    assert (found.pumps, found.limits) == (None, ())
    assert found.says == "reseal of PUMP needs nothing for sure, so the shelf sets no limit."


def test_measured_parts_limit_too():
    shop = make_shop(
        [replace(renew("PUMP", "CORD"), quantity=310_500_000)],
        items=[Item("CORD", countable=False)],
        jobs=(),
        lots=[replace(lot("CORD", 1), quantity=1_000_000_000)],
    )
    assert (count(shop).pumps, count(shop).limits) == (3, (Limit("CORD", 242_000_000),))
    assert count(shop).says.endswith("one more would lack 242 CORD.")


def test_options_choose_what_is_counted():
    shop = make_shop(
        [renew("PUMP", "BLACK", options=NBR, position="lip"), renew("PUMP", "GREEN", options=FKM, position="lip")],
        jobs=(),
        lots=[lot("BLACK", 3), lot("GREEN", 5)],
    )
    assert count(shop, options=NBR).pumps == 3
    assert count(shop, options=FKM).pumps == 5
    with pytest.raises(ShopError) as refused:
        count(shop)
    assert [fault.says for fault in refused.value.faults] == [
        "PUMP, reseal: compound is not stated, and at 'lip' of PUMP it decides what is fitted; state one of fkm, nbr."
    ]


def test_serial_limits_are_met_by_the_serial_given():
    shop = make_shop(
        [renew("PUMP", "OLD", to_serial="H3-0999", position="a"), renew("PUMP", "NEW", position="b")],
        jobs=(),
        lots=[lot("NEW", 4), lot("OLD", 1)],
    )
    assert (count(shop).pumps, count(shop, serial="H3-7").pumps) == (4, 1)


def test_no_clean_part_whose_packet_was_opened_is_counted():
    clean = Item("RING", cleanliness="oxygen_clean", ageless=True)
    shop = make_shop(
        [renew("PUMP", "RING", wetted=True)],
        items=[clean],
        jobs=(),
        lots=[lot("RING", 2, "SHUT"), lot("RING", 3, "OPEN", packet="resealed")],
    )
    assert (count(shop).pumps, count(shop, cleanliness="oxygen_clean").pumps) == (2, 2)
    normal = make_shop([renew("PUMP", "RING", wetted=True)], jobs=())
    with pytest.raises(ShopError) as refused:
        count(normal, cleanliness="oxygen_clean")
    assert [fault.says for fault in refused.value.faults] == [
        "PUMP, reseal: such a job is oxygen_clean, but RING in PUMP touches the liquid and is normal; give that place "
        "a part of the class oxygen_clean, or correct the class of RING."
    ]


def test_an_unknown_scope_is_refused():
    with pytest.raises(ShopError) as refused:
        count(two_rings(), scope="all")
    assert [fault.says for fault in refused.value.faults] == ["PUMP has no scope 'all'; known for it: reseal."]


def test_the_demo_shelf_by_hand():
    """Seven K-D6 and nine K-CV; of the nuts on the studs 60 lie there, and two joints of four take 8 a pump."""
    worked_out, nbr = plan(demo_shop()), (("compound", "nbr"),)
    found = count_rebuildable(worked_out, "SKARN-64T", "air side", nbr, beside_jobs=False)
    assert (found.pumps, found.limits) == (7, (Limit("K-D6", ONE), Limit("NU-12L", 4 * ONE)))
    found = count_rebuildable(worked_out, "SKARN-64T", "check valves", nbr, beside_jobs=False)
    assert (found.pumps, found.limits) == (1, (Limit("SE-M", 2 * ONE),))


def test_beside_the_jobs_of_the_demo_shop_a_kit_cannot_be_packed_for_want_of_backup_rings():
    found = count_rebuildable(plan(demo_shop()), "SKARN-144T", "one end", (("compound", "fkm"), ("service", "normal")))
    assert (found.pumps, found.limits[0]) == (0, Limit("K-E12F", ONE, (Limit("BR-112", 2 * ONE),)))


# --- held to the plan itself

ANSWERS = (("compound", "nbr"), ("depth", "reseal"), ("service", "normal"))


def free_lots(worked_out, beside_jobs):
    """The lots as the jobs leave them, or with what is reserved taken out only."""
    left = {}
    supplies, draws, pieces = worked_out.supplies, worked_out.netting.draws, worked_out.netting.pieces
    for row, place in enumerate(supplies.lot_place.tolist()):
        if place >= 0:
            drawn = [
                quantity
                for piece, supply, quantity in zip(draws.piece, draws.supply, draws.quantity, strict=True)
                if supply == row and (pieces.wear[piece] or not beside_jobs)
            ]
            left[place] = int(supplies.left[row]) + int(sum(drawn))
    return tuple(replace(row, quantity=left[place]) for place, row in enumerate(worked_out.shop.lots) if place in left)


def plan_alone(shop, trial, pumps, structure):
    """The plan of the trial job alone, of so many pumps."""
    return plan(replace(shop, jobs=(replace(trial, quantity=pumps),)), structure)


def lacks_nothing(made):
    """Whether it leaves nothing sure uncovered."""
    (answer,) = made.answers
    return answer.status in ("ready", "waiting", "late")


@pytest.mark.parametrize("first", [0, 12])
def test_the_plan_itself_finds_the_same_number(first):
    counted = 0
    for seed in range(first, first + 12):
        worked_out = plan_of(seed)
        shop, structure = worked_out.shop, worked_out.demand.structure
        for number, scope in enumerate(("full reseal", "one end", "checks", "all")):
            pump, beside_jobs = ("U1", "U2")[seed % 2], bool((seed + number) % 2)
            build_on = BUILD if number % 2 else shop.as_of
            try:
                found = count_rebuildable(
                    worked_out, pump, scope, ANSWERS, build_on=build_on, customer="Tube Mill", beside_jobs=beside_jobs
                )
            except ShopError:
                continue
            alone = replace(shop, lots=free_lots(worked_out, beside_jobs), orders=(), needs=(), issues=(), verdicts=())
            trial = Job(TRIAL, pump, scope, build_on, options=ANSWERS, customer="Tube Mill")
            if found.pumps is None:
                assert lacks_nothing(plan_alone(replace(alone, lots=()), trial, 1, structure))
                continue
            counted += 1
            if found.pumps:
                assert lacks_nothing(plan_alone(alone, trial, found.pumps, structure)), (seed, scope)
            larger = [plan_alone(alone, trial, found.pumps + more, structure) for more in range(1, 4)]
            assert not any(map(lacks_nothing, larger)), (seed, scope)
            hold_limits(larger[0], trial, found)
    assert counted > 18


def test_what_bags_are_without_never_adds_a_pump_and_what_the_plan_can_do_is_counted():
    """Against kits as their lists have them; and no fewer than the plan, which takes what dies first, serves."""
    fewer = 0
    for seed in range(30):
        shop = with_bags(random_shop(seed), seed)
        recorded = plan(shop)
        as_listed = replace(shop, lots=tuple(replace(row, contents=None) for row in shop.lots))
        listed = plan(as_listed, recorded.demand.structure)
        for scope in ("full reseal", "one end", "checks", "all"):
            pump = ("U1", "U2")[seed % 2]
            try:
                some, most = (
                    count_rebuildable(made, pump, scope, ANSWERS, build_on=BUILD, beside_jobs=False).pumps
                    for made in (recorded, listed)
                )
            except ShopError:
                continue
            if some is None:
                continue
            assert some <= most, (seed, scope)
            fewer += some < most
            alone = replace(shop, lots=free_lots(recorded, False), orders=(), needs=(), issues=(), verdicts=())
            trial = Job(TRIAL, pump, scope, BUILD, options=ANSWERS)
            assert not lacks_nothing(plan_alone(alone, trial, some + 1, recorded.demand.structure)), (seed, scope)
    assert fewer


def hold_limits(one_more, trial, found):
    """The limits are what the plan has to buy for one pump more; added to the shelf, they make it possible."""
    bought = {row["part_number"]: row["short"] for row in as_json(one_more)["buy"] if row["short"]}
    assert bought == {limit.part_number: pytest.approx(limit.short / ONE) for limit in found.limits}
    more = tuple(lot(limit.part_number, 1, "MORE") for limit in found.limits)
    more = tuple(replace(row, quantity=limit.short) for row, limit in zip(more, found.limits, strict=True))
    dated = tuple(replace(row, last_use=march(31).replace(year=2030)) for row in more)
    alone = replace(one_more.shop, lots=(*one_more.shop.lots, *dated))
    assert lacks_nothing(plan_alone(alone, trial, found.pumps + 1, one_more.demand.structure))


def test_no_more_than_one_scope_section_is_mixed_up():
    """A pump with two scopes is counted by the one that is asked for."""
    shop = make_shop(
        [renew("PUMP", "RING", 2), renew("END", "CUP")],
        scopes=[ScopeSection("PUMP", "ends", "END", 1)],
        jobs=(),
        lots=[lot("RING", 2), lot("CUP", 4)],
    )
    assert (count(shop).pumps, count(shop, scope="ends").pumps) == (1, 4)

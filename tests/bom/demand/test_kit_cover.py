"""Kits against the assemblies they fit: what they cover, lack, spare and leave over, and how many are taken."""

from dataclasses import replace

import pytest

from bom.values import ONE, Issue, Item, KitFit, Line, ScopeSection
from tests.bom.small_shops import (
    FKM,
    NBR,
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    make_shop,
    march,
    opens,
    pick,
    renew,
    row_of,
    statuses,
    sure,
    verdict,
)

END = [opens("PUMP", "end", 2), renew("end", "ring", 2), renew("end", "cup"), inspect("end", "ball", 50)]
PLAIN = [*END, holds("K", "ring", 2), holds("K", "cup")]
FITS = (KitFit("K", "end"),)


def kit_shop(lines=PLAIN, fits=FITS, items=(), sections=(("end", 2),), **more):
    parts = {fit.kit for fit in fits} - {item.part_number for item in items}
    return make_shop(
        lines, items=[*items, *(kit(name) for name in sorted(parts))], fits=fits, sections=sections, **more
    )


def kit_rows(shop):
    return {(row["kit"], row["fits"]): row for row in answer(shop)["kits"]}


def residues(shop, name="K", fits="end"):
    return pick(kit_rows(shop)[name, fits], "count", "covered", "short", "spare", "surplus")


# --- the four residues


def test_a_kit_that_holds_all_and_no_more_leaves_no_residue():
    """2 ends: 4 rings, 2 cups, in 2 kits; only the kits are asked for."""
    assert residues(kit_shop()) == (2, {"cup": 2, "ring": 4}, {}, {}, {})
    assert sure(kit_shop()) == {"K": 2}


def test_a_need_of_one_millionth_is_a_need():
    lines = [
        opens("PUMP", "end"),
        Line("end", "cord", 1, "renew"),
        Line("end", "wire", 1, "renew"),
        Line("K", "cord", 1),
    ]
    metres = [Item("cord", countable=False), Item("wire", countable=False)]
    shop = kit_shop(lines, items=metres, sections=(("end", 1),))
    assert residues(shop) == (1, {"cord": 1e-6}, {"wire": 1e-6}, {}, {})
    assert sure(shop) == {"K": 1, "wire": 1e-6}


def test_what_a_kit_lacks_is_short_and_asked_for_loose():
    """The kit holds 1 ring for an end of 2: 2 ends lack 2; it holds no cup: 2 cups lack."""
    shop = kit_shop([*END, holds("K", "ring")])
    assert residues(shop) == (2, {"ring": 2}, {"cup": 2, "ring": 2}, {}, {})
    assert sure(shop) == {"K": 2, "cup": 2, "ring": 2}


def test_pieces_beyond_the_sure_need_serve_inspected_positions():
    """2 balls in each kit, 1 looked at in each end: 2 spare, 2 over; chances are against the spares."""
    shop = kit_shop([*PLAIN, holds("K", "ball", 2)])
    assert residues(shop)[3:] == ({"ball": 2}, {"ball": 2})
    row = demand_of(shop, "ball")
    assert pick(row, "sure", "positions", "spares", "expected", "planned_wear") == (0, 2, 2, 1, 0)


def test_a_spare_never_hides_a_sure_need():
    """One ball of two is found worn: of 1 ball in 2 kits the first covers it, the second spares the open one."""
    lines = [*PLAIN, holds("K", "ball")]
    shop = kit_shop(lines, verdicts=(verdict("end 1 / ball", "ball"),))
    assert residues(shop)[1:] == ({"ball": 1, "cup": 2, "ring": 4}, {}, {"ball": 1}, {})


def test_a_verdict_can_make_a_kit_short():
    """Both balls are worn and the kit holds none."""
    verdicts = (verdict("end 1 / ball", "ball"), verdict("end 2 / ball", "ball"))
    shop = kit_shop(verdicts=verdicts)
    assert residues(shop)[1:3] == ({"cup": 2, "ring": 4}, {"ball": 2})
    assert sure(shop) == {"K": 2, "ball": 2}


def test_inspected_positions_outside_the_assembly_get_no_spares():
    lines = [*PLAIN, holds("K", "ball"), opens("PUMP", "drive"), inspect("drive", "ball", 50, 4)]
    shop = kit_shop(lines, sections=(("end", 2), ("drive", 1)))
    assert residues(shop)[3:] == ({"ball": 2}, {})
    assert pick(demand_of(shop, "ball"), "positions", "spares") == (6, 2)


def test_what_nobody_needs_is_surplus():
    assert residues(kit_shop([*PLAIN, holds("K", "shim", 3)]))[4] == {"shim": 6}


def test_bench_items_are_no_residue():
    lines = [*PLAIN, holds("K", "grease"), renew("end", "pin"), holds("K", "pin", 5)]
    shop = kit_shop(lines, items=[Item("grease", bench=True), Item("pin", bench=True)])
    assert residues(shop) == residues(kit_shop())


def test_a_part_on_several_lines_of_a_kit_is_summed():
    lines = [*END, holds("K", "ring", position="rod"), holds("K", "ring", position="gland"), holds("K", "cup")]
    assert residues(kit_shop(lines)) == residues(kit_shop())


def test_measured_parts_are_set_against_each_other_too():
    """310 mm needed in each of 2 ends, 300 mm in the kit: 20 mm short; 25 mm looked at, of which none is spare."""
    lines = [*PLAIN, renew("end", "cord", 310), holds("K", "cord", 300), inspect("end", "cord", 40, 25, position="lip")]
    shop = kit_shop(lines, items=[Item("cord", countable=False)])
    assert pick(kit_rows(shop)["K", "end"], "covered", "short", "spare") == (
        {"cord": 600, "cup": 2, "ring": 4},
        {"cord": 20},
        {},
    )


# --- how many


@pytest.mark.parametrize(
    ("instances", "ends", "pumps", "count"), [(1, 2, 3, 6), (2, 2, 1, 1), (2, 1, 3, 2), (4, 2, 3, 2)]
)
def test_instances_are_added_up_before_rounding_up(instances, ends, pumps, count):
    """One kit does so many ends; 3 pumps with one end each are 3 ends, which 2 kits of 2 do."""
    shop = kit_shop(
        fits=[KitFit("K", "end", instances=instances)], sections=(("end", ends),), jobs=[job(quantity=pumps)]
    )
    assert residues(shop)[0] == count


def test_instances_on_several_ways_are_added_up():
    """1 valve in the drive and 2 in each of 2 ends are 5: 3 kits that do two each, which leave one ring over."""
    lines = [opens("PUMP", "end", 2), opens("end", "valve", 2), opens("PUMP", "drive"), opens("drive", "valve")]
    lines += [renew("valve", "ring"), holds("K", "ring", 2)]
    shop = kit_shop(lines, fits=[KitFit("K", "valve", instances=2)], sections=(("end", 2), ("drive", 1)))
    assert residues(shop, fits="valve") == (3, {"ring": 5}, {}, {}, {"ring": 1})


def test_jobs_round_up_each_for_itself():
    shop = kit_shop(fits=[KitFit("K", "end", instances=4)], jobs=[job("J-1"), job("J-2")])
    assert [pick(row, "job", "count") for row in answer(shop)["kits"]] == [("J-1", 1), ("J-2", 1)]


# --- which


def test_jobs_of_different_size_keep_their_residues_apart():
    """2 ends and 6 ends, each with 2 rings and a cup; a kit of each holds 1 ring, no cup, and 2 balls for one place."""
    shop = kit_shop([*END, holds("K", "ring"), holds("K", "ball", 2)], jobs=[job("J-1"), job("J-2", quantity=3)])
    assert [pick(row, "count", "covered", "short", "spare", "surplus") for row in answer(shop)["kits"]] == [
        (ends, {"ring": ends}, {"cup": ends, "ring": ends}, {"ball": ends}, {"ball": ends}) for ends in (2, 6)
    ]
    assert pick(demand_of(shop, "ball"), "positions", "spares") == (8, 8)


def test_what_another_job_needs_loose_is_no_need_of_the_last_assembly_in_the_list():
    """The zone is the last item; nothing in it is sure, so that it takes no kit, whatever the next job asks for."""
    lines = [opens("PUMP", "zone"), inspect("zone", "ball", 50), holds("K", "ball"), opens("PUMP", "end")]
    lines += [renew("end", "cup")]
    more = {
        "fits": [KitFit("K", "zone")],
        "sections": (("zone", 1), ("end", 1)),
        "jobs": [job(), job("J-2", quantity=2)],
    }
    assert answer(kit_shop(lines, **more))["kits"] == []
    busy = kit_shop([*lines, renew("zone", "seal"), holds("K", "seal")], **more)
    assert [pick(row, "fits", "count", "short") for row in answer(busy)["kits"]] == [("zone", 1, {}), ("zone", 2, {})]


def test_what_an_assembly_lacks_whose_kits_are_all_issued_stands_on_no_other_row():
    lines = [opens("PUMP", "drive"), renew("drive", "seal"), holds("K-D", "seal"), *END, holds("K", "ring", 2)]
    issues = [Issue("J-1", "K", "L", ONE, "issued")]
    fits = [KitFit("K-D", "drive"), KitFit("K", "end")]
    shop = kit_shop(lines, fits=fits, sections=(("drive", 1), ("end", 1)), issues=issues)
    assert set(kit_rows(shop)) == {("K-D", "drive")}
    assert residues(shop, "K-D", "drive") == (1, {"seal": 1}, {}, {}, {})
    assert sure(shop) == {"K-D": 1, "cup": 1}


def test_one_kit_of_each_set_is_taken_for_each_job():
    fits = [KitFit(f"K-{name}{number}", "end", set_name=name) for name in "ab" for number in "12"]
    lines = [*END, *(holds(fit.kit, {"a": "ring", "b": "cup"}[fit.set_name]) for fit in fits)]
    shop = kit_shop(lines, fits=fits, jobs=[job("J-1"), job("J-2", quantity=3)])
    assert [pick(row, "kit", "count") for row in answer(shop)["kits"]] == [
        ("K-a1", 2), ("K-b1", 2), ("K-a1", 6), ("K-b1", 6),
    ]  # fmt: skip


def test_the_first_assembly_on_the_way_down_takes_the_kit():
    """The end has a kit; so its check looks for none, while the drive's check does."""
    lines = [*PLAIN, opens("end", "check"), renew("check", "seat"), opens("PUMP", "drive"), opens("drive", "check")]
    lines += [holds("K-2", "seat"), holds("K", "seat")]
    shop = kit_shop(lines, fits=[KitFit("K", "end"), KitFit("K-2", "check")], sections=(("end", 2), ("drive", 1)))
    rows = kit_rows(shop)
    assert {key: row["count"] for key, row in rows.items()} == {("K", "end"): 2, ("K-2", "check"): 1}
    assert rows["K", "end"]["covered"]["seat"] == 2


def test_a_kit_of_the_pump_covers_everything_opened_in_it():
    shop = kit_shop(fits=[KitFit("K", "PUMP")], sections=(("PUMP", 1),))
    assert residues(shop, fits="PUMP") == (1, {"cup": 1, "ring": 2}, {"cup": 1, "ring": 2}, {}, {})


def test_of_one_set_one_kit_is_taken():
    """The preferred one, else the first by part number."""
    lines = [*PLAIN, holds("K-2", "ring"), holds("A-9", "cup")]
    fits = [KitFit("K-2", "end"), KitFit("K", "end"), KitFit("A-9", "end")]
    assert list(kit_rows(kit_shop(lines, fits=fits))) == [("A-9", "end")]
    fits[0] = replace(fits[0], preferred=True)
    assert list(kit_rows(kit_shop(lines, fits=fits))) == [("K-2", "end")]


def test_a_kit_fits_with_the_options_of_the_job():
    """A condition that nobody answers is not met, and the next kit is taken."""
    lines = [*PLAIN, holds("K-2", "ring")]
    fits = [KitFit("K", "end"), KitFit("K-2", "end", FKM, preferred=True)]
    assert list(kit_rows(kit_shop(lines, fits=fits, jobs=[job(options=FKM)]))) == [("K-2", "end")]
    assert list(kit_rows(kit_shop(lines, fits=fits, jobs=[job(options=NBR)]))) == [("K", "end")]
    assert list(kit_rows(kit_shop(lines, fits=fits))) == [("K", "end")]


def test_kits_of_different_sets_are_used_together_in_the_order_of_their_names():
    """Set "a" fills first: K-2 covers the cups and one ring an end, K of set "b" the rest; nothing is short."""
    lines = [*PLAIN, holds("K-2", "ring"), holds("K-2", "cup")]
    fits = [KitFit("K", "end", set_name="b"), KitFit("K-2", "end", set_name="a")]
    shop = kit_shop(lines, fits=fits)
    assert residues(shop, "K-2") == (2, {"cup": 2, "ring": 2}, {}, {}, {})
    assert residues(shop, "K") == (2, {"ring": 2}, {}, {}, {"cup": 2, "ring": 2})


def test_what_all_sets_lack_stands_on_the_last_row():
    lines = [*END, holds("K-2", "ring"), holds("K", "shim")]
    fits = [KitFit("K", "end", set_name="b"), KitFit("K-2", "end", set_name="a")]
    shop = kit_shop(lines, fits=fits)
    assert residues(shop, "K-2")[1:3] == ({"ring": 2}, {})
    assert residues(shop, "K")[2] == {"cup": 2, "ring": 2}
    assert sure(shop) == {"K": 2, "K-2": 2, "cup": 2, "ring": 2}


def test_spares_of_several_sets_serve_each_position_once():
    lines = [*PLAIN, holds("K", "ball"), holds("K-2", "ball"), holds("K-2", "cup")]
    fits = [KitFit("K", "end", set_name="a"), KitFit("K-2", "end", set_name="b")]
    shop = kit_shop(lines, fits=fits)
    assert (residues(shop, "K")[3], residues(shop, "K-2")[3]) == ({"ball": 2}, {})
    assert demand_of(shop, "ball")["spares"] == 2


def test_limits_of_kit_lines_are_those_of_the_job():
    """Newer pumps need no shim, and the kit of a known newer one has none; the kit of an FKM job holds FKM rings."""
    lines = [
        *END, holds("K", "cup"), holds("K", "ring", 2, position="r", options=NBR),
        holds("K", "hard", 2, position="r", options=FKM), holds("K", "shim", to_serial="H3"),
        holds("K", "tag", from_on=march(20)),
    ]  # fmt: skip
    fkm = kit_shop(lines, jobs=[job(options=FKM, serial="H4")])
    assert residues(fkm)[1:] == ({"cup": 2}, {"ring": 4}, {}, {"hard": 4})
    nbr = kit_shop(lines, jobs=[job(options=NBR, serial="H2", build_on=march(20))])
    assert residues(nbr)[1:] == ({"cup": 2, "ring": 4}, {}, {}, {"shim": 2, "tag": 2})


def test_a_kit_line_that_depends_on_the_serial_asks_for_it():
    lines = [*PLAIN, holds("K", "shim", to_serial="H3")]
    assert [flag["kind"] for flag in answer(kit_shop(lines))["flags"]] == ["serial_needed"]
    assert answer(kit_shop(lines, jobs=[job(use_kits=False)]))["flags"] == []


def test_a_kit_inside_a_kit_is_opened():
    """K holds two K-2 of one ring each, and a cup; asked for is K alone."""
    lines = [*END, holds("K", "K-2", 2), holds("K", "cup"), holds("K-2", "ring")]
    shop = kit_shop(lines, items=[kit("K-2")])
    assert residues(shop) == (2, {"cup": 2, "ring": 4}, {}, {}, {})
    assert sure(shop) == {"K": 2}


# --- without kits


def test_a_job_may_say_no_kits():
    shop = kit_shop(jobs=[job(use_kits=False)])
    assert (kit_rows(shop), sure(shop)) == ({}, {"cup": 2, "ring": 4})


def test_a_scope_may_say_no_kits_and_the_job_overrides_it():
    scopes = [ScopeSection("PUMP", "loose", "end", 2, use_kits=False)]
    jobs = [job("J-1", scope="loose"), job("J-2", scope="loose", use_kits=True)]
    assert [row["job"] for row in answer(kit_shop(scopes=scopes, jobs=jobs))["kits"]] == ["J-2"]


def test_an_assembly_without_a_sure_need_takes_no_kit():
    """Only a ball is looked at; the kit is not taken for its spares."""
    shop = kit_shop([END[0], END[3], holds("K", "ball")])
    assert kit_rows(shop) == {}
    assert pick(demand_of(shop, "ball"), "sure", "positions", "spares") == (0, 2, 0)


# --- issued


def issued(part, count, state="issued", name="J-1", **more):
    return Issue(name, part, "L", count * ONE, state, **more)


def test_an_issued_kit_is_opened_and_comes_off_the_count():
    shop = kit_shop(issues=(issued("K", 1),))
    assert residues(shop) == (1, {"cup": 1, "ring": 2}, {}, {}, {})
    assert sure(shop) == {"K": 1}


def test_returns_come_off_what_was_issued():
    shop = kit_shop(issues=(issued("K", 2), issued("K", 1, "returned")))
    assert residues(shop)[0] == 1
    shop = kit_shop(issues=(issued("K", 1), issued("K", 1, "returned")))
    assert residues(shop)[0] == 2


def test_more_returned_than_issued_asks_for_no_more():
    assert sure(kit_shop(issues=(issued("K", 1, "returned"),))) == {"K": 2}


def test_when_all_is_issued_the_job_asks_for_nothing():
    for issues in (
        [issued("K", 2)],
        [issued("ring", 4), issued("cup", 2)],
        [issued("K", 1), issued("ring", 2), issued("cup", 1)],
    ):
        found = answer(kit_shop(issues=tuple(issues)))
        assert (found["kits"], statuses(found)) == ([], {"J-1": "ready"})
        assert [row["part_number"] for row in found["demand"] if row["sure"]] == []


def test_issued_pieces_come_off_the_assemblies_with_kits_first():
    """2 rings were issued; the end needs 4 and the joint, without a kit, 2: the kits cover 2, the joint still asks."""
    lines = [*PLAIN, opens("PUMP", "joint"), renew("joint", "ring", 2)]
    shop = kit_shop(lines, sections=(("end", 2), ("joint", 1)), issues=(issued("ring", 2),))
    assert residues(shop)[1:] == ({"cup": 2, "ring": 2}, {}, {}, {"ring": 2})
    assert sure(shop)["ring"] == 2


def test_issued_pieces_come_off_assemblies_in_the_order_of_their_part_numbers():
    """The arm is later in the list of items, and takes the ring that was issued; its kit is asked for no more."""
    lines = [opens("PUMP", "arm"), renew("arm", "ring"), opens("PUMP", "end"), renew("end", "ring")]
    lines += [holds("K-A", "ring"), holds("K", "ring")]
    parts = [Item("end", "assembly", lead_days=5), Item("arm", "assembly", lead_days=5)]
    fits = [KitFit("K", "end"), KitFit("K-A", "arm")]
    both = {"items": parts, "fits": fits, "sections": (("arm", 1), ("end", 1))}
    assert sure(kit_shop(lines, issues=(issued("ring", 1),), **both)) == {"K": 1}


def test_an_issued_kit_serves_its_own_assembly_before_another():
    lines = [opens("PUMP", "arm"), renew("arm", "ring"), opens("PUMP", "end"), renew("end", "ring")]
    lines += [holds("K-A", "ring"), holds("K", "ring")]
    fits = [KitFit("K", "end"), KitFit("K-A", "arm")]
    shop = kit_shop(lines, fits=fits, sections=(("arm", 1), ("end", 1)), issues=(issued("K", 1),))
    assert sure(shop) == {"K-A": 1}


def test_a_kit_comes_off_the_count_of_the_job_to_which_it_was_issued():
    jobs = [job("J-1"), job("J-2", quantity=3)]
    rows = answer(kit_shop(jobs=jobs, issues=(issued("K", 1, name="J-2"),)))["kits"]
    assert [pick(row, "kit", "count") for row in rows] == [("K", 2), ("K", 5)]


def test_an_issued_kit_comes_off_the_count_of_one_assembly():
    lines = [opens("PUMP", "arm"), renew("arm", "ring"), opens("PUMP", "end"), renew("end", "ring"), holds("K", "ring")]
    fits = [KitFit("K", "end"), KitFit("K", "arm")]
    shop = kit_shop(lines, fits=fits, sections=(("arm", 1), ("end", 1)), issues=(issued("K", 1),))
    assert sure(shop) == {"K": 1}


def test_pieces_issued_beyond_the_need_are_spares_of_the_job():
    """3 balls were issued, none is sure: they serve the 2 open positions; one of two found worn leaves one open."""
    shop = kit_shop(issues=(issued("ball", 3),))
    assert pick(demand_of(shop, "ball"), "positions", "spares", "planned_wear") == (2, 2, 0)
    shop = kit_shop(issues=(issued("ball", 2),), verdicts=(verdict("end 1 / ball", "ball"),))
    assert pick(demand_of(shop, "ball"), "sure", "positions", "spares") == (0, 1, 1)


def test_what_an_issued_kit_holds_too_much_serves_the_rest_of_the_job():
    """The kit's third ring is not needed in the end, and comes off the joint."""
    lines = [*END, holds("K", "ring", 3), holds("K", "cup"), opens("PUMP", "joint"), renew("joint", "ring", 2)]
    shop = kit_shop(lines, sections=(("end", 2), ("joint", 1)), issues=(issued("K", 2),))
    assert kit_rows(shop) == {}
    assert sure(shop) == {}


def test_a_kit_that_fits_nothing_here_is_opened_all_the_same():
    lines = [*PLAIN, holds("K-2", "cup", 2)]
    shop = kit_shop(lines, items=[kit("K-2")], issues=(issued("K-2", 1),))
    assert residues(shop)[1] == {"ring": 4}


def test_a_kit_issued_beyond_the_count_leaves_pieces_for_the_rest():
    shop = kit_shop(fits=[KitFit("K", "end", instances=2)], issues=(issued("K", 2),))
    assert (kit_rows(shop), sure(shop)) == ({}, {})


def test_what_was_issued_to_one_job_is_no_help_to_another():
    shop = kit_shop(jobs=[job("J-1"), job("J-2")], issues=(issued("K", 2),))
    assert [pick(row, "job", "count") for row in answer(shop)["kits"]] == [("J-2", 2)]


@pytest.mark.parametrize("state", ["reserved", "bagged"])
def test_what_is_set_aside_is_still_asked_for(state):
    assert sure(kit_shop(issues=(issued("K", 2, state),))) == {"K": 2}


def test_the_kit_column_of_demand_is_that_of_the_rows():
    shop = kit_shop(jobs=[job("J-1"), job("J-2", quantity=2)])
    found = answer(shop)
    assert row_of(found["demand"], "K")["sure"] == sum(row["count"] for row in found["kits"]) == 6

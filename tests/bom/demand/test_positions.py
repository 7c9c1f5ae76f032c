"""How the places of a job are named and counted, as its strip report prints them."""

from dataclasses import replace

from bom.demand.positions import fold_where, positions_of
from bom.demand.recipes import conditions_of, group_recipes
from bom.structure.arrays import compile_structure
from bom.values import ONE, Item
from tests.bom.small_shops import FKM, NBR, holds, inspect, job, make_shop, opens, renew


def places(lines, one=None, covered=(), **shop):
    """Where, part and millionths of each position, in order."""
    one = one or job()
    made = make_shop(lines, jobs=[one], **shop)
    structure = compile_structure(made.catalog)
    (recipe,), _ = group_recipes(structure, [one], frozenset())
    roots = frozenset(structure.index[name] for name in covered)
    found = positions_of(structure, conditions_of(structure, [recipe]), 0, recipe, roots)
    return structure, found


def names(lines, one=None, **shop):
    return [position.where for position in places(lines, one, **shop)[1]]


def test_a_place_runs_from_the_pump_to_the_position():
    lines = [opens("PUMP", "end"), opens("end", "check"), inspect("check", "ball", 35, position="inlet seat")]
    assert names(lines, sections=(("end", 1),)) == ["pump 1 / end 1 / check 1 / inlet seat"]


def test_a_line_without_a_position_is_named_by_its_part():
    assert names([inspect("PUMP", "ball", 35)]) == ["pump 1 / PUMP 1 / ball"]


def test_pumps_sections_and_assemblies_are_numbered():
    lines = [opens("PUMP", "end", 2), opens("end", "check", 2), inspect("check", "ball", 35)]
    found = names(lines, job(quantity=2), sections=(("end", 2),))
    assert found == [
        f"pump {pump} / end {end} / check {check} / ball" for pump in (1, 2) for end in (1, 2) for check in (1, 2)
    ]


def test_a_line_of_several_is_numbered_and_a_line_of_one_is_not():
    lines = [inspect("PUMP", "ball", 35, 2, position="seat"), inspect("PUMP", "cup", 35, position="gland")]
    assert names(lines) == ["pump 1 / PUMP 1 / seat 1", "pump 1 / PUMP 1 / seat 2", "pump 1 / PUMP 1 / gland"]


def test_assemblies_are_counted_over_all_lines_of_their_parent_in_the_order_of_the_sheet():
    """Inlet and outlet checks stand on two lines; the third check is in the drive, and starts anew."""
    lines = [
        opens("PUMP", "end", order=1), opens("PUMP", "drive", order=2),
        opens("end", "check", position="outlet", order=2), opens("end", "check", position="inlet", order=1),
        opens("drive", "check"), inspect("check", "ball", 35),
    ]  # fmt: skip
    assert names(lines) == [
        "pump 1 / PUMP 1 / end 1 / check 1 / ball",
        "pump 1 / PUMP 1 / end 1 / check 2 / ball",
        "pump 1 / PUMP 1 / drive 1 / check 1 / ball",
    ]


def test_only_lines_that_the_job_meets_are_places():
    lines = [
        inspect("PUMP", "ball", 35, position="soft", options=NBR),
        inspect("PUMP", "ball", 35, position="soft", options=FKM),
        inspect("PUMP", "cup", 35, to_serial="H3"),
        renew("PUMP", "ring"),
        inspect("PUMP", "grease", 35),
    ]
    items = [Item("grease", bench=True)]
    assert names(lines, job(options=FKM, serial="H4"), items=items) == ["pump 1 / PUMP 1 / soft"]


def test_a_measured_line_is_one_place_with_its_quantity():
    line = replace(inspect("PUMP", "cord", 40), quantity=310 * ONE)
    _, (position,) = places([line], items=[Item("cord", countable=False)])
    assert (position.where, position.quantity) == ("pump 1 / PUMP 1 / cord", 310 * ONE)


def test_a_position_knows_the_assembly_that_a_kit_covers():
    lines = [opens("PUMP", "end"), opens("end", "check"), inspect("check", "ball", 35), inspect("PUMP", "cup", 35)]
    structure, found = places([*lines, holds("K", "ball")], covered=("end", "check"), items=[Item("K", "kit")])
    assert [-1 if position.root < 0 else structure.items[position.root].part_number for position in found] == [
        "end",
        -1,
    ]


def test_what_stands_or_falls_together_shares_its_group():
    """Over the assembly each head alone, over the section each end, over the pump each pump."""
    shared = {}
    for over in ("assembly", "section", "pump"):
        line = inspect("head", "bumper", 30, 2, renew_together="b", renew_together_over=over)
        _, found = places(
            [opens("PUMP", "end", 2), opens("end", "head", 2), line], job(quantity=2), sections=(("end", 2),)
        )  # fmt: skip
        shared[over] = len({position.group for position in found})
        assert len(found) == 16
    assert shared == {"assembly": 8, "section": 4, "pump": 2}


def test_lines_of_different_scope_differ_in_group():
    lines = [
        inspect("PUMP", "a", 30, renew_together="b"),
        inspect("PUMP", "b", 30, renew_together="B "),
        inspect("PUMP", "c", 30, renew_together="b", renew_together_over="pump"),
        inspect("PUMP", "d", 30),
    ]
    groups = [position.group for position in places(lines)[1]]
    assert groups[0] == groups[1] != groups[2]
    assert groups[3] is None


def test_places_are_compared_without_case_and_spacing():
    assert fold_where(" Pump 1 /END 2/  Each  Seat 1") == fold_where("pump 1 / end 2 / each seat 1")
    assert fold_where("pump 1 / end 2") != fold_where("pump 1 / end 1")

"""The lists as arrays: every fault of a line is named, totals are divided, codes and serials are read as people do."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from bom.errors import ShopError
from bom.structure.arrays import compile_structure, low_level_codes
from bom.structure.holdings import instances_held
from bom.structure.keys import natural_key
from bom.structure.tables import spread
from bom.values import ONE, Item, Line
from tests.bom.small_shops import FKM, NBR, holds, inspect, make_shop, opens, renew


def faults_of(lines, items=()):
    with pytest.raises(ShopError) as refused:
        compile_structure(make_shop(lines, items=items).catalog)
    return refused.value.faults


def the_fault(lines, key, column, *words, items=()):
    """The only fault stands on this line of Structure, in this column, and its sentence has these words."""
    faults = faults_of(lines, items)
    assert [(fault.sheet, fault.key, fault.column) for fault in faults] == [("Structure", key, column)]
    for word in words:
        assert word in faults[0].says
    assert faults[0].says.endswith(".")


def key_of(parent, child, position="", option="", from_date="", from_serial=""):
    return (parent, child, position, option, from_date, from_serial)


def line_of(lines, child):
    structure = compile_structure(make_shop(lines).catalog)
    (number,) = [number for number, line in enumerate(structure.lines) if line.child == child]
    return structure, number


# --- every fault of a line


def test_a_loop_is_shown_part_by_part():
    lines = [opens("PUMP", "end"), opens("end", "check"), opens("check", "seat"), opens("seat", "end")]
    (fault,) = faults_of(lines)
    assert (fault.sheet, fault.column) == ("Structure", "child")
    assert fault.key in {key_of(line.parent, line.child) for line in lines[1:]}
    loops = ["end > check > seat > end", "check > seat > end > check", "seat > end > check > seat"]
    assert any(loop in fault.says for loop in loops)
    assert "PUMP" not in fault.says
    assert "take one of these lines out" in fault.says


def test_an_assembly_that_holds_itself_is_a_loop():
    the_fault([opens("PUMP", "end"), opens("end", "end")], key_of("end", "end"), "child", "end > end")


def test_a_loop_that_no_pump_reaches_is_found():
    lines = [renew("PUMP", "ring"), holds("K-1", "K-2"), holds("K-2", "K-1")]
    (fault,) = faults_of(lines, items=[Item("K-1", "kit"), Item("K-2", "kit")])
    assert "K-1 > K-2 > K-1" in fault.says or "K-2 > K-1 > K-2" in fault.says


@pytest.mark.parametrize("quantity", [0, -ONE])
def test_a_quantity_is_above_zero(quantity):
    line = replace(renew("PUMP", "ring", position="gland"), quantity=quantity)
    the_fault([line], key_of("PUMP", "ring", "gland"), "quantity", "PUMP", "ring", "not above zero", "give the number")


def test_what_is_counted_is_whole():
    line = replace(renew("PUMP", "ring"), quantity=ONE * 3 // 2)
    the_fault([line], key_of("PUMP", "ring"), "quantity", "1.5", "ring", "give a whole number")


def test_what_is_measured_need_not_be_whole():
    line = replace(renew("PUMP", "cord"), quantity=ONE * 3 // 2)
    assert compile_structure(make_shop([line], items=[Item("cord", countable=False)]).catalog).quantity[0] == 1_500_000


def test_what_happens_at_a_rebuild_must_be_said():
    line = Line("PUMP", "ring", ONE, position="gland")
    the_fault(
        [line], key_of("PUMP", "ring", "gland"), "at_rebuild", "ring in PUMP", "write open, renew, inspect or keep"
    )


def test_what_happens_at_a_rebuild_is_one_of_four_words():
    the_fault([Line("PUMP", "ring", ONE, "swap")], key_of("PUMP", "ring"), "at_rebuild", "'swap'", "write open, renew")


def test_lines_of_kits_and_of_made_assemblies_need_not_say_what_happens():
    lines = [renew("PUMP", "head"), holds("head", "ring"), holds("K", "ring")]
    items = [Item("head", "assembly", source="make"), Item("K", "kit")]
    assert len(compile_structure(make_shop(lines, items=items).catalog).lines) == 3


@pytest.mark.parametrize("kind", ["part", "assembly"])
def test_only_an_assembly_with_lines_of_its_own_is_opened(kind):
    line = opens("PUMP", "end", position="ends")
    words = ("end in PUMP", "lines of its own", "add its lines, or write renew")
    the_fault([line], key_of("PUMP", "end", "ends"), "at_rebuild", *words, items=[Item("end", kind)])


def test_a_part_with_lines_is_not_opened():
    lines = [opens("PUMP", "ring"), renew("ring", "core")]
    the_fault(lines, key_of("PUMP", "ring"), "at_rebuild", "not an assembly", items=[Item("ring", "part")])


@pytest.mark.parametrize(("rate", "shown"), [(Fraction(-1), "-1"), (Fraction(201, 2), "100.5")])
def test_a_rate_lies_between_0_and_100(rate, shown):
    line = inspect("PUMP", "ball", rate)
    the_fault([line], key_of("PUMP", "ball"), "renewals_per_100", shown, "give a number from 0 to 100")


@pytest.mark.parametrize("rate", [0, 100])
def test_the_ends_of_the_range_are_rates(rate):
    assert compile_structure(make_shop([inspect("PUMP", "ball", rate)]).catalog).lines


@pytest.mark.parametrize("column", ["parent", "child", "pump"])
def test_a_line_names_only_items(column):
    """The column at fault is the one that holds the unknown number."""
    known = {"parent": "PUMP", "child": "ring", "pump": "PUMP"}
    lines = [Line(**known | {column: "RX-1"}, quantity=ONE, at_rebuild="renew", quantity_is_for="whole_pump")]
    catalog = replace(make_shop([renew("PUMP", "ring")]).catalog, lines=tuple(lines))
    with pytest.raises(ShopError) as refused:
        compile_structure(catalog)
    (fault,) = refused.value.faults
    assert (fault.sheet, fault.column) == ("Structure", column)
    assert "RX-1" in fault.says
    assert "add it to Items" in fault.says


def test_every_fault_is_named_and_not_only_the_first():
    lines = [Line("PUMP", "ring", ONE), replace(renew("PUMP", "cup"), quantity=0), inspect("PUMP", "ball", 101)]
    assert [fault.column for fault in faults_of(lines)] == ["at_rebuild", "quantity", "renewals_per_100"]


def test_the_key_of_a_line_holds_position_option_and_limits():
    line = Line("PUMP", "ring", ONE, position="gland", options=FKM, from_serial="H4-1")
    (fault,) = faults_of([line])
    assert fault.key == key_of("PUMP", "ring", "gland", "compound=fkm", "", "H4-1")


# --- totals of the whole pump


def whole(parent, child, count, pump="PUMP", **more):
    return renew(parent, child, count, quantity_is_for="whole_pump", pump=pump, **more)


TWIN = [opens("PUMP", "end", 2), opens("end", "check", 2)]


def test_a_total_of_the_whole_pump_is_divided_by_the_instances_of_the_parent():
    """12 balls in a pump of 2 ends of 2 checks: 12 / 4 = 3."""
    structure, line = line_of([*TWIN, whole("check", "ball", 12)], "ball")
    assert structure.quantity[line] == 3 * ONE


def test_a_remainder_is_refused_and_the_division_shown():
    words = ("10 ball in the whole PUMP / 4 check = 2.5", "leaves a remainder", "give the quantity for one check")
    the_fault([*TWIN, whole("check", "ball", 10)], key_of("check", "ball"), "quantity", *words)


def test_a_measured_total_is_divided_to_the_last_millionth():
    """10 mm / 4 = 2.5 mm, but 1 mm in 3 ends is 0.333..., which leaves a remainder."""
    cord = [Item("cord", countable=False)]
    catalog = make_shop([*TWIN, whole("check", "cord", 10)], items=cord).catalog
    assert compile_structure(catalog).quantity.tolist().count(2_500_000) == 1
    three = [opens("PUMP", "end", 3), whole("end", "cord", 1)]
    the_fault(three, key_of("end", "cord"), "quantity", "1 cord in the whole PUMP / 3 end", items=cord)


def test_the_pump_of_a_total_must_hold_the_parent():
    lines = [*TWIN, renew("check", "ball"), opens("OTHER", "joint"), whole("joint", "nut", 4)]
    words = ("PUMP does not hold joint", "correct the pump")
    the_fault(lines, key_of("joint", "nut"), "quantity", *words, items=[Item("OTHER", "pump")])


def test_the_pump_of_a_total_must_be_named():
    lines = [*TWIN, renew("check", "ball"), whole("end", "nut", 4, pump=None)]
    the_fault(lines, key_of("end", "nut"), "pump", "not named", "name it")


def alternatives(first, second):
    """One position, filled by ends that differ in number."""
    return [
        opens("PUMP", "end", first, position="side", options=NBR),
        opens("PUMP", "end", second, position="side", options=FKM),
    ]


def test_alternatives_at_one_position_count_once():
    """Two ends of either compound are two ends, so 8 nuts are 4 for one end."""
    structure, line = line_of([*alternatives(2, 2), whole("end", "nut", 8)], "nut")
    assert structure.quantity[line] == 4 * ONE


def test_alternatives_that_disagree_leave_a_total_undivided():
    words = ("alternatives in PUMP", "different numbers of end", "give the quantity for one end")
    the_fault([*alternatives(2, 1), whole("end", "nut", 8)], key_of("end", "nut"), "quantity", *words)


def test_an_alternative_without_the_parent_does_not_disagree():
    lines = [*alternatives(2, 2)[:1], opens("PUMP", "plug", position="side", options=FKM), renew("plug", "ring")]
    structure, line = line_of([*lines, whole("end", "nut", 8)], "nut")
    assert structure.quantity[line] == 4 * ONE


def test_a_position_is_the_same_in_any_spelling():
    first, second = alternatives(2, 2)
    structure, line = line_of([first, replace(second, position=" SIDE"), whole("end", "nut", 8)], "nut")
    assert structure.quantity[line] == 4 * ONE


def test_lines_at_one_position_that_share_no_option_add_up():
    """An end for oxygen work and an end of FKM are no alternatives: 1 + 1 = 2, so 8 nuts are 4 for one end."""
    lines = [
        opens("PUMP", "end", position="side", options=FKM),
        opens("PUMP", "end", position="side", options=(("service", "oxygen"),)),
    ]
    structure, line = line_of([*lines, whole("end", "nut", 8)], "nut")
    assert structure.quantity[line] == 4 * ONE


def test_limits_are_ignored_when_a_total_is_divided():
    """Two lines for older and newer pumps, one end each: over all lines there are two, so 8 nuts are 4 for one."""
    lines = [
        opens("PUMP", "end", position="old", to_serial="H3"),
        opens("PUMP", "end", position="new", from_serial="H4"),
    ]
    structure, line = line_of([*lines, whole("end", "nut", 8)], "nut")
    assert structure.quantity[line] == 4 * ONE


def test_a_total_at_the_pump_itself_is_for_one():
    structure, line = line_of([whole("PUMP", "label", 2)], "label")
    assert structure.quantity[line] == 2 * ONE


def test_a_total_counts_parents_whose_own_quantity_was_a_total():
    """4 checks in the whole pump of 2 ends are 2 for one end; 8 balls / (2 x 2) = 2."""
    checks = Line("end", "check", 4 * ONE, "open", quantity_is_for="whole_pump", pump="PUMP")
    structure, line = line_of([opens("PUMP", "end", 2), checks, whole("check", "ball", 8)], "ball")
    assert structure.quantity[line] == 2 * ONE


def test_what_is_kept_or_renewed_as_a_whole_counts_as_held():
    """Totals count assemblies whatever happens to them: one end opened, one kept."""
    lines = [opens("PUMP", "end"), Line("PUMP", "end", ONE, "keep", "spare"), whole("end", "nut", 8)]
    by_parent = {"PUMP": lines[:2], "end": lines[2:]}
    assert instances_held(by_parent, "PUMP").counts == {"PUMP": 1, "end": 2}
    structure, line = line_of(lines, "nut")
    assert structure.quantity[line] == 4 * ONE


# --- codes, order, serials


def test_a_low_level_code_is_the_longest_way_down():
    """0 holds 1 and 2, 1 holds 2, 2 holds 3: the ways down to 3 are 0-2-3 and 0-1-2-3."""
    parent, child = np.array([0, 0, 1, 2]), np.array([1, 2, 2, 3])
    assert low_level_codes(5, parent, child).tolist() == [0, 1, 2, 3, 0]


def test_there_is_no_low_level_code_in_a_circle():
    assert low_level_codes(2, np.array([0, 1]), np.array([1, 0])) is None


def test_lines_stand_by_parent_and_order_and_then_as_on_the_sheet():
    lines = [renew("PUMP", "c", order=2), renew("PUMP", "b", order=1), renew("PUMP", "a", order=1)]
    structure = compile_structure(make_shop(lines).catalog)
    assert [line.child for line in structure.lines] == ["b", "a", "c"]


def test_serials_are_read_as_people_read_them():
    assert natural_key("H3-999") < natural_key("H3-1000")
    assert natural_key("h3-0999") == natural_key(" H3-999 ")
    assert natural_key("H10") > natural_key("H9-5")
    assert natural_key("4²") != natural_key("42")


def test_ranges_are_laid_end_to_end():
    assert spread(np.array([2, 5, 7]), np.array([4, 5, 8])).tolist() == [2, 3, 7]
    assert spread(np.array([2]), np.array([2])).size == 0


def test_a_blank_serial_is_the_newest():
    structure = compile_structure(make_shop([renew("PUMP", "ring", to_serial="H4")]).catalog)
    assert structure.serial_band("  ") == structure.serial_band("") != structure.serial_band("H1")

"""Shelf lives, cure quarters and use-by dates against what standards and suppliers publish."""

from calendar import monthrange
from datetime import date

import pytest

from bom.structure.shelf_life import is_elastomer, kit_last_use, last_use, life_of, parse_cure, parse_life, parse_use_by
from kits.catalog.reference import shelf_life_rules

TODAY = date(2026, 3, 4)


@pytest.mark.parametrize(
    ("polymer", "years"),
    [("NBR", 15), ("HNBR", 15), ("ACM", 15), ("CR", 15), ("AU", 5), ("EU", 5), ("IIR", None), ("EPDM", None),
     ("FKM", None), ("FFKM", None), ("VMQ", None), ("FVMQ", None), ("PTFE", None)],
)  # fmt: skip
def test_shelf_life_by_polymer(polymer, years):
    # SAE ARP5316 and MIL-HDBK-695E; None stands for unlimited.
    months = parse_life(shelf_life_rules()[polymer].arp5316_years)
    assert months == (None if years is None else 12 * years)


@pytest.mark.parametrize(
    ("group", "polymers", "first", "extension"),
    [
        ("A", {"AU", "EU"}, 5, 2),
        ("B", {"NBR", "HNBR", "ACM", "CR", "IIR"}, 7, 3),
        ("C", {"EPDM", "FKM", "FFKM", "VMQ", "FVMQ"}, 10, 5),
    ],
)
def test_storage_by_group(group, polymers, first, extension):
    # ISO 2230:2002.
    rules = [rule for rule in shelf_life_rules().values() if rule.iso2230_group == group]
    assert {rule.polymer for rule in rules} == polymers
    assert {(rule.iso2230_first_years, rule.iso2230_extension_years) for rule in rules} == {(first, extension)}


def test_the_two_standards_disagree_so_the_rule_is_named():
    # SAE ARP5316 against ISO 2230:2002.
    rules = shelf_life_rules()
    assert (rules["NBR"].arp5316_years, rules["NBR"].iso2230_first_years) == ("15", 7)
    assert (rules["EPDM"].arp5316_years, rules["EPDM"].iso2230_first_years) == ("unlimited", 10)


def test_every_polymer_of_the_rules_is_rubber_but_ptfe():
    # Codes of ISO 1629; PTFE stands in the table because ARP5316 names it, and ISO 2230 has no group for it.
    assert [polymer for polymer in shelf_life_rules() if not is_elastomer(polymer)] == ["PTFE"]
    ptfe = shelf_life_rules()["PTFE"]
    assert (ptfe.iso2230_group, ptfe.iso2230_first_years) == ("", None)
    assert life_of("", "PTFE") is None


def test_a_polymer_on_which_sources_conflict_is_left_out():
    assert "SBR" not in shelf_life_rules()


def test_the_clock_starts_after_the_cure_quarter():
    # oringslimited.co.uk: cured on 15 November 2020, marked 4Q20, three years: counts from 1 January 2021, out of life
    # on 1 January 2024.
    cure = parse_cure("4Q20", TODAY)
    assert cure.starts_on == date(2021, 1, 1)
    assert last_use(cure, parse_life(3), None) == date(2023, 12, 31)


def test_a_label_of_quarter_and_year():
    # ISO 2230: 3/94 is July to September 1994.
    assert parse_cure("3/94", TODAY).on == date(1994, 9, 30)


@pytest.mark.parametrize(("quarters", "end"), [(12, date(1985, 6, 30)), (40, date(1992, 6, 30))])
def test_a_life_in_quarters_ends_with_a_quarter(quarters, end):
    # The limits are those of MIL-STD-1523 and MIL-STD-1523A; the dates are worked out.
    assert last_use(parse_cure("2Q82", TODAY), 3 * quarters, None) == end


def test_a_full_cure_day_counts_from_that_day():
    # ISO 2230, NBR: cured on 1 November 2011, out of life on 1 November 2018.
    months = 12 * shelf_life_rules()["NBR"].iso2230_first_years
    assert last_use(parse_cure("2011-11-01", TODAY), months, None) == date(2018, 10, 31)


@pytest.mark.parametrize("month", range(1, 13))
@pytest.mark.parametrize("year", [2024, 2026])
def test_a_use_by_month_means_its_last_day(year, month):
    # Guidance of the US Defense Logistics Agency.
    assert parse_use_by(f"{month:02d}/{year}") == date(year, month, monthrange(year, month)[1])


def test_a_kit_lives_as_long_as_its_earliest_piece():
    # Common practice, no published source.
    u_cup = last_use(parse_cure("1Q21", TODAY), parse_life(5), None)
    o_ring = last_use(parse_cure("1Q21", TODAY), parse_life(15), None)
    assert kit_last_use([("o-ring", o_ring), ("ball", None), ("u-cup", u_cup)]) == ("u-cup", date(2026, 3, 31))

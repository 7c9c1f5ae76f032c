"""The table of SAE AS568 sizes against published anchors; by value only where both listings agree."""

from decimal import Decimal

import pytest

from kits.catalog.reference import o_ring_sizes

# ISO 3601-1, class A, sections in millimetres, and the series of AS568 that have them.
SECTIONS = {"0": "1.78", "1": "2.62", "2": "3.53", "3": "5.33", "4": "6.99"}
LOOK_ALIKES = {Decimal("2.65"), Decimal("5.30"), Decimal("7.00")}

AGREED = [size for size in o_ring_sizes().values() if size.listings_agreeing == 2]


def test_the_table_is_complete():
    # SAE AS568: 369 sizes; two public listings agree on 352 of them.
    assert len(o_ring_sizes()) == 369
    assert len(AGREED) == 352


@pytest.mark.parametrize(
    ("dash", "inside", "section"),
    [
        ("010", ".239", ".070"),
        ("110", ".362", ".103"),
        ("210", ".734", ".139"),
        ("325", "1.475", ".210"),
        ("425", "4.475", ".275"),
    ],
)
def test_anchor_sizes(dash, inside, section):
    # SAE AS568.
    size = o_ring_sizes()[dash]
    assert size.listings_agreeing == 2
    assert (size.inside_diameter_in, size.section_in) == (Decimal(inside), Decimal(section))


def test_dash_numbers_keep_their_leading_zeros():
    assert all(len(dash) == 3 and dash.isdigit() for dash in o_ring_sizes())
    assert {"001", "010"} <= set(o_ring_sizes())


@pytest.mark.parametrize(("series", "section"), SECTIONS.items())
def test_sections_in_millimetres(series, section):
    # Sections of ISO 3601-1, class A; the first sizes of the 0 series are thinner than the rest.
    sections = {size.section_mm for size in AGREED if size.dash.startswith(series) and size.dash > "003"}
    assert sections == {Decimal(section)}


def test_metric_look_alikes_are_no_sizes_of_the_table():
    assert LOOK_ALIKES.isdisjoint(size.section_mm for size in o_ring_sizes().values())


def test_within_a_series_the_rings_grow_with_the_number():
    for series in SECTIONS:
        inside = [size.inside_diameter_in for size in AGREED if size.dash.startswith(series) and size.dash > "003"]
        assert inside == sorted(set(inside))


def test_tolerances_are_small_against_what_they_belong_to():
    for size in AGREED:
        assert 0 < size.inside_tolerance_in < size.inside_diameter_in / 6
        assert 0 < size.section_tolerance_in < size.section_in / 10

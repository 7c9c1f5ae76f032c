import pytest

from kits.catalog.models import Item
from kits.catalog.reference import o_ring_sizes
from kits.catalog.rings.finder import FEWEST, Measured, candidates, find_rings
from kits.catalog.rings.sizes import RingSize, written_size


def rings(*sizes):
    made = [Item(part_number=number, folded=number.lower(), size=size) for number, size in sizes]
    return [(item, written_size(item.size)) for item in made]


def dashes(measured, *sizes):
    return [one.dash or [item.part_number for item in one.items] for one in candidates(measured, rings(*sizes))]


@pytest.mark.parametrize("dash", ["011", "014", "112", "210", "358"])
def test_ring_measured_at_its_own_size_is_the_first_candidate(dash):
    size = o_ring_sizes()[dash]
    measured = Measured(float(size.inside_diameter_in) * 25.4, float(size.section_in) * 25.4)
    assert dashes(measured)[0] == dash


def test_there_is_never_one_candidate_alone():
    # 258 is far from its neighbours: within the tolerances it stands alone.
    found = candidates(Measured(151.77, 3.53), [])
    assert [one.within for one in found] == [True] + [False] * (FEWEST - 1)
    assert found[0].dash == "258"


def test_ring_of_no_known_size_still_gets_the_nearest_and_says_so():
    found = candidates(Measured(900.0, 20.0), [])
    assert len(found) == FEWEST
    assert not any(one.within for one in found)


def test_inch_and_metric_size_stand_beside_each_other():
    # From memory: AS568-116 is 18.72 x 2.62 mm; a metric ring of 18.0 x 2.65 mm is easily mistaken for it.
    found = dashes(Measured(18.3, 2.64), ("OR-M18", "18.0 x 2.65 mm"), ("OR-116-N90", "0.737 x 0.103 in"))
    assert found[:2] == ["116", ["OR-M18"]]


def test_all_compounds_of_one_size_stand_with_it_however_it_is_written():
    own = (("B", "0.734 x 0.139 in"), ("A", "0.734 X 0.139 in"), ("C", "18.64 x 3.53 mm"), ("D", "19.5 x 3.5 mm"))
    first = candidates(Measured(18.64, 3.53), rings(*own))[0]
    assert (first.dash, [item.part_number for item in first.items]) == ("210", ["A", "B", "C"])


def test_wider_tolerances_bring_more_candidates():
    narrow = [one.dash for one in candidates(Measured(12.4, 1.78, 0.3, 0.1), []) if one.within]
    wide = [one.dash for one in candidates(Measured(12.4, 1.78, 1.8, 0.1), []) if one.within]
    assert narrow == ["014"]
    assert set(wide) > {"013", "014", "015"}


def test_off_says_how_much_larger_the_size_is():
    first = candidates(Measured(12.0, 1.75), [])[0]
    assert (first.dash, round(first.inside_off_mm, 2), round(first.section_off_mm, 2)) == ("014", 0.42, 0.03)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("0.734 x 0.139 in", RingSize(0.734 * 25.4, 0.139 * 25.4, metric=False)),
        ("18 × 2.65mm", RingSize(18.0, 2.65, metric=True)),
        ("for 210", None),
        ("M20 x 1.5", None),
        ("1.2.3 x 1 mm", None),
    ],
)
def test_written_size_is_read(text, size):
    assert written_size(text) == size


def test_size_is_said_in_both_measures():
    assert written_size("0.734 x 0.139 in").text == "0.734 × 0.139 in (18.64 × 3.53 mm)"
    assert written_size("18.0 x 2.65 mm").text == "18.00 × 2.65 mm (0.709 × 0.104 in)"


@pytest.mark.django_db
def test_rings_of_the_shop_are_found(django_assert_num_queries):
    Item.objects.create(part_number="OR-1", description="ring", kind="part", stock_unit="each", size="18.0 x 2.65 mm")
    Item.objects.create(part_number="NUT", description="nut", kind="part", stock_unit="each", size="M20 x 1.5")
    with django_assert_num_queries(1):
        found = find_rings(Measured(18.0, 2.65))
    assert [item.part_number for item in found[0].items] == ["OR-1"]

"""Total requirements without conditions, against the Gozinto theorem and against counting by hand."""

import numpy as np
import pytest

from bom.demand.checks import check
from bom.errors import QuantityError
from bom.structure.arrays import compile_structure
from bom.structure.totals import total_requirements
from bom.values import ONE, Catalog, Item, Line
from tests.bom.small_shops import make_shop
from tests.shops import random_shop


def wanted_one_of(structure, *names):
    wanted = np.zeros(len(structure.items), np.int64)
    for name in names:
        wanted[structure.index[name]] = ONE
    return wanted


@pytest.fixture(params=[0, 10**9], ids=["sparse products", "few lines at a time"])
def way_down(request, monkeypatch):
    monkeypatch.setattr("bom.structure.arrays.FEW_LINES", request.param)


@pytest.mark.usefixtures("way_down")
@pytest.mark.parametrize("seed", range(20))
def test_totals_are_those_of_the_gozinto_theorem(seed):
    """x = (I - Q)^-1 d; A. Vazsonyi, Scientific Programming in Business and Industry, 1958; solved by NumPy."""
    structure = compile_structure(random_shop(seed).catalog)
    wanted = wanted_one_of(structure, *(item.part_number for item in structure.items if item.kind == "pump"))
    count = len(structure.items)
    held = np.zeros((count, count))
    np.add.at(held, (structure.child, structure.parent), structure.quantity / ONE)
    solved = np.linalg.solve(np.eye(count) - held, wanted / ONE)
    assert total_requirements(structure, wanted) / ONE == pytest.approx(solved, rel=1e-9)


def test_a_bracket_shares_a_part_at_two_levels():
    """50 brackets of 1 base, 2 springs, 4 clamps; base of 1 clamp, 2 housings (Heizer and Render, from memory)."""
    names = ("bracket", "base", "spring", "clamp", "handle", "housing", "bearing")
    held = [("bracket", "base", 1), ("bracket", "spring", 2), ("bracket", "clamp", 4), ("base", "clamp", 1)]
    held += [("base", "housing", 2), ("clamp", "handle", 1), ("housing", "bearing", 2)]
    items = tuple(Item(name, "assembly") for name in names)
    structure = compile_structure(Catalog(items, tuple(Line(p, c, n * ONE, "renew") for p, c, n in held)))
    total = total_requirements(structure, wanted_one_of(structure, "bracket") * 50) // ONE
    assert dict(zip(names, total.tolist(), strict=True)) == {
        "bracket": 50,
        "base": 50,
        "spring": 100,
        "clamp": 250,
        "handle": 250,
        "housing": 100,
        "bearing": 200,
    }


def test_quantities_that_multiply_beyond_counting_are_refused_with_the_pump():
    """Five levels of a million each do not fit into 63 bits of millionths."""
    steps = [("PUMP", "A"), ("A", "B"), ("B", "C"), ("C", "D")]
    lines = [Line(parent, child, 1_000_000 * ONE, "open") for parent, child in steps]
    lines.append(Line("D", "RING", ONE, "renew"))
    shop = make_shop(tuple(lines), items=tuple(Item(name, "assembly") for name in "ABCD"))
    structure = compile_structure(shop.catalog)
    with pytest.raises(QuantityError, match="typed too large"):
        total_requirements(structure, wanted_one_of(structure, "PUMP"))
    told = [fault for fault in check(shop) if "typed too large" in fault.says]
    assert [(fault.sheet, fault.key) for fault in told] == [("Items", ("PUMP",))]
    assert told[0].says.startswith("One PUMP: ")

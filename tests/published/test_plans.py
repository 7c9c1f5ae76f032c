"""Whole plans against textbook explosions and parts lists: needs, netting level by level, what to make and to buy.

"From memory" marks a figure recalled from the named book and worked out again.
"""

from dataclasses import replace
from datetime import date
from fractions import Fraction

import networkx as nx
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from bom.answers.rows import as_json
from bom.plan import plan
from bom.structure.arrays import low_level_codes
from bom.values import ONE, Catalog, Item, Job, KitFit, Line, Lot, OtherNeed, ScopeSection, Shop

AS_OF = date(2026, 3, 4)
BUILD = date(2026, 9, 30)


def make_shop(lines, wanted, stock=None):
    """Every item with parts of its own is made, the others are bought; ``wanted`` are needs from outside."""
    parents = {parent for parent, _, _ in lines}
    names = sorted(parents | {child for _, child, _ in lines})
    items = tuple(
        Item(
            name,
            kind="assembly" if name in parents else "part",
            source="make" if name in parents else "buy",
            lead_days=3,
        )
        for name in names
    )
    return Shop(
        as_of=AS_OF,
        catalog=Catalog(items, tuple(Line(parent, child, each * ONE) for parent, child, each in lines)),
        lots=tuple(Lot(name, "L1", quantity * ONE) for name, quantity in (stock or {}).items() if quantity),
        needs=tuple(OtherNeed(f"need {name}", name, quantity * ONE, BUILD) for name, quantity in wanted.items()),
    )


def rebuild_shop(lines, pumps, looked_at=()):
    """One job of so many pumps P, opened whole: assemblies are opened, parts renewed or, if named, looked at."""
    parents = {parent for parent, _, _ in lines}
    names = sorted(parents | {child for _, child, _ in lines})
    kinds = {name: "assembly" if name in parents else "part" for name in names} | {"P": "pump"}

    def fate(child):
        return "open" if child in parents else "inspect" if child in looked_at else "renew"

    return Shop(
        as_of=AS_OF,
        catalog=Catalog(
            tuple(Item(name, kind=kinds[name], lead_days=3) for name in names),
            tuple(Line(parent, child, each * ONE, fate(child)) for parent, child, each in lines),
            scopes=(ScopeSection("P", "full", "P", 1),),
        ),
        jobs=(Job("J1", "P", "full", BUILD, quantity=pumps),),
    )


def totals(answer):
    return {row["part_number"]: row["total"] for row in answer["demand"]}


def net(answer):
    made = {row["kit"]: row["quantity"] for row in answer["pack"]}
    return made | {row["part_number"]: row["net"] for row in answer["buy"]}


def run(shop):
    return as_json(plan(shop))


CHAIN = [("X", "A", 1), ("A", "B", 1), ("B", "C", 1), ("C", "D", 1)]
CHAIN_STOCK = {"A": 2, "B": 15, "C": 7, "D": 46}


def test_stock_is_netted_level_by_level():
    # Orlicky, Material Requirements Planning (Ptak and Smith edition), p. 105.
    answer = run(make_shop(CHAIN, {"X": 100}, CHAIN_STOCK))
    assert net(answer) == {"X": 100, "A": 98, "B": 83, "C": 76, "D": 30}
    assert totals(answer) == {"X": 100, "A": 100, "B": 98, "C": 83, "D": 76}
    # What the book warns of: netting the gross need of each level against its own stock alone.
    assert net(answer) != {"X": 100} | {name: 100 - held for name, held in CHAIN_STOCK.items()}


BRACKET = [
    ("bracket", "base", 1),
    ("bracket", "spring", 2),
    ("bracket", "clamp", 4),
    ("base", "clamp", 1),
    ("base", "housing", 2),
    ("clamp", "handle", 1),
    ("clamp", "casting", 1),
    ("housing", "bearing", 2),
    ("housing", "shaft", 1),
]


def test_a_part_on_two_levels_gathers_the_needs_of_both():
    # Heizer and Render, Operations Management, chapter 14, bracket problem; its text is from memory.
    assert totals(run(make_shop(BRACKET, {"bracket": 50}))) == {
        "bracket": 50, "base": 50, "spring": 100, "clamp": 250, "handle": 250, "casting": 250, "housing": 100,
        "bearing": 200, "shaft": 100,
    }  # fmt: skip


def test_stock_on_the_upper_levels_spares_everything_below():
    # The same problem with 25 bases and 100 clamps on the shelf.
    answer = run(make_shop(BRACKET, {"bracket": 50}, {"base": 25, "clamp": 100}))
    assert net(answer) == {
        "bracket": 50, "base": 25, "spring": 100, "clamp": 125, "handle": 125, "casting": 125, "housing": 50,
        "bearing": 100, "shaft": 50,
    }  # fmt: skip


def test_opening_assemblies_reaches_a_shared_part_by_every_path():
    # The same problem taken apart instead of put together: 50 pumps that hold one bracket each.
    answer = run(rebuild_shop([("P", "bracket", 1), *BRACKET], pumps=50))
    assert totals(answer) == {"spring": 100, "handle": 250, "casting": 250, "bearing": 200, "shaft": 100}


SPEAKER_KIT = [
    ("A", "B", 2), ("A", "C", 3), ("B", "D", 2), ("B", "E", 2), ("C", "E", 2), ("C", "F", 2), ("F", "D", 2),
    ("F", "G", 1),
]  # fmt: skip


def test_a_kit_of_kits():
    # Heizer and Render, speaker kits.
    assert totals(run(make_shop(SPEAKER_KIT, {"A": 50}))) == {
        "A": 50, "B": 100, "C": 150, "D": 800, "E": 500, "F": 300, "G": 300,
    }  # fmt: skip


def test_a_kit_of_kits_with_stock():
    # The same with stock; the net figures are the sums of the releases of the book's schedule, which is from memory.
    answer = run(make_shop(SPEAKER_KIT, {"A": 50}, {"A": 10, "B": 15, "C": 20, "D": 10, "E": 10, "F": 5}))
    assert net(answer) == {"A": 40, "B": 65, "C": 100, "F": 195, "D": 380 + 130, "E": 120 + 200, "G": 195}


def as_lines(rows, row_name, columns_name):
    """Turn a table of quantities (rows go into columns) into lines from column to row."""
    return [
        (f"{columns_name}{column}", f"{row_name}{row}", each)
        for row, entries in enumerate(rows)
        for column, each in enumerate(entries)
        if each
    ]


def two_stages(raw_in_middle, middle_in_end):
    return [*as_lines(raw_in_middle, "raw", "middle"), *as_lines(middle_in_end, "middle", "end")]


def named(name, quantities):
    return {f"{name}{number}": quantity for number, quantity in enumerate(quantities)}


def test_needs_of_two_stages_by_the_gozinto_theorem():
    # Vazsonyi's theorem x = (I - N)^-1 d on an exercise for Mathcad.
    raw_in_middle = [[5, 2, 7, 3, 2], [4, 0, 3, 2, 5], [3, 0, 2, 1, 4]]
    middle_in_end = [[2, 3], [4, 3], [1, 3], [4, 2], [1, 2]]
    answer = run(make_shop(two_stages(raw_in_middle, middle_in_end), named("end", [5, 4])))
    expected = named("end", [5, 4]) | named("middle", [22, 32, 17, 28, 13]) | named("raw", [403, 260, 180])
    assert totals(answer) == expected


def test_shortage_of_two_stages_by_the_gozinto_theorem():
    # The input is published, the answer worked out by the theorem.
    raw_in_middle = [[6, 6, 2], [2, 0, 2], [0, 4, 1]]
    middle_in_end = [[4, 2, 2], [2, 4, 4], [6, 2, 4]]
    shop = make_shop(
        two_stages(raw_in_middle, middle_in_end), named("end", [600, 400, 750]), named("raw", [85_000, 25_000, 25_000])
    )
    answer = run(shop)
    assert {name: total for name, total in totals(answer).items() if name.startswith("raw")} == named(
        "raw", [77_800, 24_200, 30_600]
    )
    assert {row["part_number"]: row["net"] for row in answer["buy"]} == {"raw2": 5_600}


@st.composite
def structures(draw):
    """Lines of a structure without a cycle, all reached from the first item; parents have the smaller number."""
    size = draw(st.integers(2, 7))
    pairs = {(draw(st.integers(0, child - 1)), child) for child in range(1, size)}
    pairs |= set(draw(st.lists(st.sampled_from([(p, c) for c in range(size) for p in range(c)]), max_size=8)))
    return size, {pair: draw(st.integers(1, 4)) for pair in sorted(pairs)}


@given(structures(), st.integers(1, 9))
@settings(max_examples=40)
def test_needs_of_any_structure_equal_the_inverse_and_the_path_products(structure, wanted):
    # Vazsonyi's theorem by numpy.linalg.inv, and the sum of path products by NetworkX.
    size, each = structure
    lines = [(f"i{parent}", f"i{child}", quantity) for (parent, child), quantity in each.items()]
    found = totals(run(make_shop(lines, {"i0": wanted})))

    into = np.zeros((size, size))
    for (parent, child), quantity in each.items():
        into[child, parent] = quantity
    needed = np.linalg.inv(np.eye(size) - into) @ (wanted * np.eye(size)[0])
    assert found == {f"i{number}": round(total) for number, total in enumerate(needed)}

    graph = nx.DiGraph([(parent, child, {"each": quantity}) for (parent, child), quantity in each.items()])
    for item in range(1, size):
        assert found[f"i{item}"] == wanted * sum(product(graph, path) for path in paths(graph, item))


@given(structures(), st.integers(1, 9))
@settings(max_examples=40)
def test_opening_any_structure_reaches_its_parts_by_all_paths(structure, pumps):
    # The sum of path products by NetworkX, over assemblies that are opened.
    _, each = structure
    graph = nx.DiGraph([(parent, child, {"each": quantity}) for (parent, child), quantity in each.items()])
    lines = [
        ("P" if parent == 0 else f"i{parent}", f"i{child}", quantity) for (parent, child), quantity in each.items()
    ]
    found = totals(run(rebuild_shop(lines, pumps)))
    leaves = [item for item in graph if not graph.out_degree(item)]
    assert found == {f"i{leaf}": pumps * sum(product(graph, path) for path in paths(graph, leaf)) for leaf in leaves}


def paths(graph, item):
    return nx.all_simple_paths(graph, 0, item)


def product(graph, path):
    result = 1
    for step in nx.utils.pairwise(path):
        result *= graph.edges[step]["each"]
    return result


def test_low_level_codes_follow_the_longest_way_down():
    # The structure is a published problem; the codes follow from the definition in Orlicky, pp. 111-113.
    lines = ["AB", "AC", "AD", "BE", "BF", "CF", "CD", "ED"]
    parent, child = (np.array(["ABCDEF".index(line[end]) for line in lines]) for end in (0, 1))
    codes = low_level_codes(6, parent, child)
    assert dict(zip("ABCDEF", codes.tolist(), strict=True)) == {"A": 0, "B": 1, "C": 1, "D": 3, "E": 2, "F": 2}


# TM 9-2320-279-34-3, p. 20-3 (US Army): the strip-down of one hydraulic pump sub-assembly, and the call-outs of its
# assembly, list the same pieces. A batch of 12 needs 60 packings and 48 backup rings.
STRIP_DOWN = {"packing": 5, "backup ring": 4, "scraper": 1, "seal housing": 1, "seat": 1, "poppet": 1, "spring": 1}


def kit_of_the_strip_down(kit_holds, stock):
    """Twelve pumps whose sub-assembly has a kit to be packed here, with loose pieces on the shelf."""
    names = ("P", "sub-assembly", "kit", *STRIP_DOWN)
    kinds = {"P": "pump", "sub-assembly": "assembly", "kit": "kit"}
    lines = [Line("P", "sub-assembly", ONE, "open")]
    lines += [Line("sub-assembly", part, each * ONE, "renew") for part, each in STRIP_DOWN.items()]
    lines += [Line("kit", part, each * ONE) for part, each in kit_holds.items()]
    items = [Item(name, kind=kinds.get(name, "part"), source="pack" if name == "kit" else "buy") for name in names]
    return Shop(
        as_of=AS_OF,
        catalog=Catalog(
            tuple(items),
            tuple(lines),
            scopes=(ScopeSection("P", "full", "P", 1),),
            kit_fits=(KitFit("kit", "sub-assembly"),),
        ),
        lots=tuple(Lot(name, "L1", quantity * ONE) for name, quantity in stock.items()),
        jobs=(Job("J1", "P", "full", BUILD, quantity=12),),
    )


def test_a_kit_of_the_strip_down_list_does_the_assembly_to_the_piece():
    answer = run(kit_of_the_strip_down(STRIP_DOWN, {"packing": 17}))
    (row,) = answer["kits"]
    assert (row["count"], row["covered"]["packing"], row["covered"]["backup ring"]) == (12, 60, 48)
    assert (row["short"], row["spare"], row["surplus"]) == ({}, {}, {})
    assert net(answer)["packing"] == 60 - 17


def test_a_kit_that_leaves_a_piece_out_is_short_by_one_for_each_pump():
    answer = run(kit_of_the_strip_down({**STRIP_DOWN, "packing": 4, "spring": 2}, {}))
    (row,) = answer["kits"]
    assert (row["short"], row["surplus"]) == ({"packing": 12}, {"spring": 12})
    assert totals(answer)["packing"] == 60


def test_what_a_piston_pump_always_replaces_is_sure_and_what_it_inspects_follows_the_binomial():
    # TM 55-1930-208-24, p. 3-26 (US Army): a ball-check piston pump. The rate is invented; the cover is SciPy's.
    always, looked_at, pumps, rate = {"O-ring": 6, "oil seal": 1}, {"ball": 3, "spring": 4, "seat": 2}, 12, 10
    shop = rebuild_shop([("P", part, count) for part, count in (always | looked_at).items()], pumps, looked_at)
    lines = tuple(
        replace(line, renewals_per_100=Fraction(rate)) if line.child in looked_at else line
        for line in shop.catalog.lines
    )
    answer = run(replace(shop, catalog=replace(shop.catalog, lines=lines)))
    assert {row["part_number"]: row["sure"] for row in answer["demand"] if row["sure"]} == {
        "O-ring": 72,
        "oil seal": 12,
    }
    planned = {row["part_number"]: row["planned_wear"] for row in answer["demand"] if row["positions"]}
    assert planned == {part: int(binom.ppf(0.9, count * pumps, rate / 100)) for part, count in looked_at.items()}
    assert planned == {"ball": 6, "spring": 8, "seat": 4}

"""What no scope leads to is named with its reason and its remedy, and nothing that a job could ask for is."""

from dataclasses import replace

import pytest

from bom.answers.never_asked import never_asked
from bom.structure.arrays import compile_structure
from bom.values import ASKING_STAGES, Item, KitFit, Line, ScopeSection
from tests.bom.small_shops import FKM, NBR, answer, holds, inspect, kit, make_shop, opens, renew
from tests.demo_shop import demo_shop
from tests.oracle.explosion import conditions_of, walk_job
from tests.oracle.kits import chosen_kits
from tests.oracle.structure import Structure
from tests.shops import random_shop

TWIN = [opens("PUMP", "end", 2), renew("end", "ring"), opens("end", "check", 2), inspect("check", "ball", 35)]
ENDS = [("end", 2)]


def keep(parent, child):
    return Line(parent, child, 1_000_000, "keep")


def told(shop):
    return [(row.names, row.within, row.why) for row in never_asked(compile_structure(shop.catalog))]


def remedies(shop):
    return [row.remedy for row in never_asked(compile_structure(shop.catalog))]


def test_nothing_of_the_demo_shop_is_never_asked_for():
    assert told(demo_shop()) == []


def test_parts_beside_the_sections_of_every_scope_are_named():
    shop = make_shop([*TWIN, renew("PUMP", "gasket"), inspect("PUMP", "plate", 5), keep("PUMP", "tank")], sections=ENDS)
    assert told(shop) == [(("gasket", "plate"), ("PUMP",), "directly under PUMP, which no scope of it opens itself")]
    assert "gasket" not in {row["part_number"] for row in answer(shop)["demand"]}
    opened = replace(shop.catalog, scopes=(*shop.catalog.scopes, ScopeSection("PUMP", "body", "PUMP", 1)))
    assert told(replace(shop, catalog=opened)) == []


def test_bench_items_are_never_asked_for_and_not_named():
    shop = make_shop([*TWIN, renew("PUMP", "grease")], items=[Item("grease", bench=True)], sections=ENDS)
    assert told(shop) == []


def test_the_uppermost_assembly_that_no_scope_opens_is_named_with_its_section():
    lines = [*TWIN, opens("PUMP", "drive"), opens("drive", "valve"), renew("valve", "cup")]
    shop = make_shop(lines, sections=ENDS)
    assert told(shop) == [(("drive",), ("PUMP",), "no scope of PUMP opens it")]
    assert remedies(shop) == ["add the section drive to a scope of PUMP"]


def test_an_assembly_that_goes_back_unopened_is_named_if_it_holds_what_wears():
    lines = [*TWIN, keep("end", "stem"), renew("stem", "pin"), keep("end", "block"), keep("block", "core")]
    assert told(make_shop(lines, sections=ENDS)) == [(("stem",), ("PUMP",), "goes back into end unopened")]


def test_an_assembly_that_is_renewed_as_a_whole_is_asked_for():
    assert told(make_shop([*TWIN, renew("end", "stem"), renew("stem", "pin")], sections=ENDS)) == []


def test_what_goes_back_inside_what_is_not_opened_is_found_as_well():
    lines = [*TWIN, opens("PUMP", "drive"), keep("drive", "block"), keep("drive", "stem"), renew("stem", "pin")]
    shop = make_shop([*lines, keep("block", "core")], sections=ENDS)
    assert told(shop) == [(("stem",), ("PUMP",), "no scope of PUMP opens it")]


def test_a_pump_without_a_scope_is_named_once():
    items = [Item("PUMP-2", "pump")]
    shop = make_shop([*TWIN, opens("PUMP-2", "end"), renew("PUMP-2", "gasket")], items=items, sections=ENDS)
    assert told(shop) == [(("PUMP-2",), ("PUMP-2",), "no scope of rebuild is listed for it")]


def test_an_assembly_that_nothing_holds_is_named():
    shop = make_shop([*TWIN, opens("spare", "inner"), renew("inner", "pin")], sections=ENDS)
    assert told(shop) == [(("spare",), (), "no list says what holds it")]


def kits(*fits, lines=(), scopes=None, sections=ENDS):
    names = dict.fromkeys(fit.kit for fit in fits)
    contents = [holds(name, part) for name in names for part in ("ring", "ball")]
    shop = make_shop([*TWIN, *contents, *lines], items=[kit(name) for name in names], fits=fits, sections=sections)
    if scopes is not None:
        shop = replace(shop, catalog=replace(shop.catalog, scopes=scopes), jobs=())
    return told(shop)


def test_a_kit_for_what_no_scope_opens_is_named():
    lines = [opens("PUMP", "head"), renew("head", "ring")]
    assert kits(KitFit("K", "head"), lines=lines)[-1] == (("K",), ("head",), "it fits head, which no scope opens")


def test_a_kit_that_only_scopes_without_kits_could_take_is_named():
    scopes = (ScopeSection("PUMP", "loose", "end", 2, use_kits=False),)
    assert kits(KitFit("K", "end"), scopes=scopes) == [(("K",), ("end",), "only scopes without kits open end")]


def test_a_kit_below_another_that_is_always_taken_is_named():
    below = (("K-2",), ("check",), "a kit for what holds check is always taken before it")
    assert kits(KitFit("K", "end"), KitFit("K-2", "check")) == [below]
    assert kits(KitFit("K", "end", options=NBR), KitFit("K-2", "check")) == []


def test_a_kit_behind_another_of_its_set_is_named():
    behind = (("K-2",), ("end",), "another kit of the same set always serves end first")
    assert kits(KitFit("K", "end"), KitFit("K-2", "end")) == [behind]
    assert kits(KitFit("K", "end"), KitFit("K-2", "end", set_name="b")) == []
    assert kits(KitFit("K", "end", options=FKM), KitFit("K-2", "end")) == []


def test_a_clean_kit_behind_one_that_is_not_serves_clean_jobs():
    fits = (KitFit("K", "end"), KitFit("K-2", "end"))
    items = [kit("K"), kit("K-2", cleanliness="oxygen_clean")]
    lines = [*TWIN, holds("K", "ring"), holds("K-2", "ring")]
    assert told(make_shop(lines, items=items, fits=fits, sections=ENDS)) == []


def test_a_kit_inside_another_is_asked_for():
    lines, fits = [*TWIN, holds("K", "ball"), holds("K-9", "K")], [KitFit("K-9", "end"), KitFit("K", "check")]
    assert told(make_shop(lines, items=[kit("K"), kit("K-9")], fits=fits, sections=ENDS)) == []


def test_half_entered_kits_are_named():
    shop = make_shop(
        [*TWIN, holds("K", "ring")], items=[kit("K"), kit("K-2")], fits=[KitFit("K-2", "end")], sections=ENDS
    )
    assert told(shop) == [
        (("K",), (), "it fits nothing yet"),
        (("K-2",), ("end",), "it is said to fit end and holds nothing yet"),
    ]


@pytest.mark.parametrize("first", range(0, 120, 40))
def test_nothing_that_a_job_opens_or_takes_is_said_never_to_be_asked_for(first):
    """The slow walk of every job against the list; limits of lines may only make the list shorter."""
    found = 0
    for seed in range(first, first + 40):
        shop = random_shop(seed)
        lists = Structure(shop.catalog)
        rows = never_asked(compile_structure(shop.catalog))
        unopened = {(name, pump) for row in rows for name in row.names for pump in row.within}
        kits_left = {row.names[0] for row in rows if lists.items[row.names[0]].kind == "kit"}
        found += bool(rows)
        for job in shop.jobs:
            if job.stage not in ASKING_STAGES:
                continue
            walk, conditions = walk_job(lists, job), conditions_of(lists, job)
            assert not {(line.parent, job.pump) for line in walk.reached} & unopened, f"seed {seed}"
            taken = {fit.kit for at in walk.covered_instances for fit in chosen_kits(lists, at, conditions)}
            overrides = job.use_kits is True
            assert overrides or not taken & kits_left, f"seed {seed}"
    assert found > 10

"""Every fault of scopes, kits, jobs, strip reports and stock is named: where it stands, what is wrong, what to do."""

from dataclasses import replace

import pytest

from bom.demand.checks import check
from bom.errors import ShopError
from bom.plan import plan
from bom.values import ONE, Issue, Item, KitFit, OtherNeed, ScopeSection
from tests.bom.small_shops import (
    FKM,
    NBR,
    answer,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    offer,
    opens,
    order,
    pick,
    renew,
    sure,
    verdict,
)
from tests.demo_shop import demo_shop
from tests.oracle import slow_faults
from tests.shops import random_shop

HALF_ENTERED = ("fits_nothing", "kit_without_contents")
TWIN = [opens("PUMP", "end", 2, position="ends"), renew("end", "ring")]
COMPOUNDS = [
    renew("PUMP", "soft", position="gland", options=NBR),
    renew("PUMP", "hard", position="gland", options=FKM),
]


def refuses(shop, sheet, key, column, *words):
    """The only fault of the shop stands there, and its sentence has these words."""
    faults = check(shop)
    assert [(fault.sheet, fault.key, fault.column) for fault in faults] == [(sheet, key, column)]
    for word in words:
        assert word in faults[0].says
    assert faults[0].says.endswith(".")


def test_a_sound_shop_has_no_faults():
    assert check(make_shop(TWIN, sections=(("end", 2),), lots=(lot("ring", 2),))) == ()
    assert check(demo_shop()) == ()


@pytest.mark.parametrize("first", range(0, 120, 40))
def test_shops_that_obey_every_rule_have_no_faults(first):
    for seed in range(first, first + 40):
        assert check(random_shop(seed)) == (), f"seed {seed}"


@pytest.mark.parametrize(
    "lines",
    [
        [inspect("PUMP", "seat", None, 9_000_000_000)],
        [opens("PUMP", "end", 9_000_000_000), inspect("end", "seat", None)],
        [opens("PUMP", "end", 9_000_000_000), renew("end", "ring")],
        [opens("PUMP", "end", 400), inspect("end", "seat", None, 251)],
    ],
)
def test_what_would_be_looked_at_for_ever_is_refused(lines):
    """No strip report names a hundred thousand places: a quantity is wrong."""
    shop = make_shop(lines)
    refuses(shop, "Schedule", ("J-1",), "quantity", "places to open or look at", "below PUMP in Structure")
    with pytest.raises(ShopError, match="places to open or look at"):
        plan(shop)  # where it was written into the tables by hand


def test_what_is_renewed_unseen_is_no_place_to_look_at():
    lines = [renew("PUMP", "ring", 1_000_000), inspect("PUMP", "seat", None, 3)]
    assert check(make_shop(lines)) == ()


def test_faults_of_lines_are_passed_on():
    (fault,) = check(make_shop([replace(renew("PUMP", "ring"), quantity=0)]))
    assert (fault.sheet, fault.column) == ("Structure", "quantity")


def test_faults_of_several_sheets_are_named_at_once():
    shop = make_shop(TWIN, sections=(("end", 3),), jobs=[job(scope="overhaul")], lots=[lot("ring", -1)])
    assert {fault.sheet for fault in check(shop)} == {"Scopes", "Schedule", "Lots"}


# --- scopes


def test_a_scope_does_not_open_more_of_a_section_than_the_pump_holds():
    words = ("opens 3 of end", "one PUMP holds 2", "lower the number")
    refuses(make_shop(TWIN, sections=(("end", 3),)), "Scopes", ("PUMP", "reseal", "end"), "how_many", *words)
    assert check(make_shop(TWIN, sections=(("end", 2),))) == ()


def test_a_scope_opens_the_pump_itself_once():
    shop = make_shop(TWIN, sections=(("PUMP", 2),))
    refuses(shop, "Scopes", ("PUMP", "reseal", "PUMP"), "how_many", "opens 2 of PUMP", "holds 1")


def test_the_larger_of_two_alternatives_may_be_opened():
    lines = [
        opens("PUMP", "end", 1, position="side", options=NBR),
        opens("PUMP", "end", 2, position="side", options=FKM),
        renew("end", "ring"),
    ]
    pump = Item("PUMP", "pump", default_options=FKM)
    assert check(make_shop(lines, items=[pump], sections=(("end", 2),))) == ()
    refuses(
        make_shop(lines, items=[pump], sections=(("end", 3),)),
        *("Scopes", ("PUMP", "reseal", "end"), "how_many", "holds 2"),
    )


@pytest.mark.parametrize("section", ["joint", "ring", "nowhere"])
def test_a_section_is_an_assembly_of_the_pump_with_lines_of_its_own(section):
    shop = make_shop([*TWIN, holds("OTHER", "joint"), renew("joint", "nut")][:2], sections=((section, 1),))
    words = (f"opens {section}", "PUMP holds no assembly of that number with lines of its own", "correct the section")
    refuses(shop, "Scopes", ("PUMP", "reseal", section), "section", *words)


def test_a_scope_opens_one_at_least():
    shop = make_shop(TWIN, sections=(("end", 0),))
    refuses(shop, "Scopes", ("PUMP", "reseal", "end"), "how_many", "opens 0 of end", "give 1 or more")


def test_a_scope_is_for_a_pump():
    shop = make_shop(TWIN, scopes=[ScopeSection("end", "reseal", "end", 1)])
    refuses(shop, "Scopes", ("end", "reseal", "end"), "pump", "end, which is not a pump", "correct the pump")


def two_rows(**second):
    lines = [*TWIN, opens("PUMP", "drive", position="drive"), renew("drive", "cup")]
    rows = [ScopeSection("PUMP", "mixed", "end", 2), replace(ScopeSection("PUMP", "mixed", "drive", 1), **second)]
    return make_shop(lines, scopes=rows)


def test_a_scope_says_the_same_of_kits_on_all_its_rows():
    words = ("Scope 'mixed' of PUMP", "both yes and no to kits", "say the same on all its rows")
    refuses(two_rows(use_kits=False), "Scopes", ("PUMP", "mixed", "end"), "use_kits", *words)


def test_a_scope_gives_one_value_for_an_option():
    shop = two_rows(options=(("depth", "overhaul"),))
    assert check(shop) == ()
    first, *rest = shop.catalog.scopes[1:]
    rows = (shop.catalog.scopes[0], replace(first, options=(("depth", "reseal"),)), *rest)
    words = ("sets depth to overhaul and reseal", "say one value")
    shop = replace(shop, catalog=replace(shop.catalog, scopes=rows))
    refuses(shop, "Scopes", ("PUMP", "mixed", "end"), "option", *words)


# --- kits


def kit_shop(contents=("ring",), fits=(), **more):
    lines = [*TWIN, *(holds("K", part) for part in contents)]
    return make_shop(lines, items=[kit("K"), *more.pop("items", ())], fits=fits, **more)


def unfinished(shop):
    """The shop is sound, and these kits are flagged."""
    assert check(shop) == ()
    flags = answer(shop)["flags"]
    return [pick(flag, "kind", "part_number") for flag in flags if flag["kind"] in HALF_ENTERED]


def test_a_kit_that_fits_nothing_yet_is_flagged_and_stops_no_plan():
    assert unfinished(kit_shop()) == [("fits_nothing", "K")]
    (flag,) = answer(kit_shop())["flags"]
    assert flag["says"] == "Kit K fits nothing yet, so no job takes it: say on its page, or in KitFits, what it fits."
    assert sure(kit_shop()) == {"ring": 2}


def test_a_kit_on_the_shelf_that_fits_nothing_yet_is_flagged_all_the_same():
    for named in ({"offers": [offer("K")]}, {"lots": [lot("K", 1)]}, {"orders": [order("K", 1, march(9))]}):
        assert unfinished(kit_shop(**named)) == [("fits_nothing", "K")]


def test_a_kit_that_is_asked_for_otherwise_may_fit_nothing():
    assert unfinished(kit_shop(needs=[OtherNeed("van", "K", ONE, march(12))])) == []
    assert unfinished(kit_shop(items=[Item("ring", source="in_kit_only", get_as="K")])) == []
    assert unfinished(make_shop([*TWIN, holds("K", "ring"), holds("K-2", "K")], items=[kit(), kit("K-2")])) == [
        ("fits_nothing", "K-2")
    ]


def test_a_kit_without_contents_is_flagged_and_taken_by_nobody():
    shop = make_shop(TWIN, items=[kit()], fits=[KitFit("K", "end")])
    assert unfinished(shop) == [("kit_without_contents", "K")]
    assert sure(shop) == {"ring": 2}
    assert answer(shop)["kits"] == []


def test_a_kit_for_an_assembly_without_lines_is_flagged_until_they_are_there():
    shop = kit_shop(items=[Item("head", "assembly")], fits=[KitFit("K", "head")])
    assert unfinished(shop) == [("fits_nothing", "K")]


def test_a_kit_without_contents_lets_the_next_of_its_set_serve():
    lines = [*TWIN, holds("K-2", "ring")]
    fits = [KitFit("K-1", "end", preferred=True), KitFit("K-2", "end")]
    shop = make_shop(lines, items=[kit("K-1"), kit("K-2")], fits=fits)
    assert unfinished(shop) == [("kit_without_contents", "K-1")]
    assert sure(shop) == {"K-2": 2}


def test_a_kit_shares_a_part_with_what_it_fits():
    words = ("Kit K shares no part with end", "fits nothing there", "correct the assembly or the contents")
    refuses(kit_shop(("cup",), [KitFit("K", "end")]), "KitFits", ("K", "end"), "fits", *words)
    assert check(kit_shop(("cup", "ring"), [KitFit("K", "end")])) == ()


def test_a_kit_may_share_a_part_with_what_is_opened_inside():
    assert check(kit_shop(fits=[KitFit("K", "PUMP")])) == ()


def test_a_part_inside_what_is_not_opened_is_not_shared():
    lines = [*TWIN, renew("end", "head"), holds("head", "core"), holds("K", "core")]
    shop = make_shop(lines, items=[kit(), Item("head", "assembly", source="make")], fits=[KitFit("K", "end")])
    refuses(shop, "KitFits", ("K", "end"), "fits", "shares no part")


def test_limits_do_not_hide_what_a_kit_shares():
    """The only shared part is in the kit from April on, and so it is shared."""
    lines = [*TWIN, holds("K", "cup"), holds("K", "ring", from_on=march(20))]
    assert check(make_shop(lines, items=[kit()], fits=[KitFit("K", "end")])) == ()


def test_a_kit_shares_what_lies_in_a_kit_inside_it():
    lines = [*TWIN, holds("K", "K-2"), holds("K-2", "ring")]
    assert check(make_shop(lines, items=[kit(), kit("K-2")], fits=[KitFit("K", "end")])) == ()


def test_what_is_said_to_fit_is_a_kit():
    shop = make_shop([*TWIN, renew("end", "cup")], fits=[KitFit("cup", "end")])
    refuses(shop, "KitFits", ("cup", "end"), "kit", "cup is not of the kind kit", "correct the kit, or its kind")


def test_a_kit_fits_what_is_opened():
    shop = kit_shop(fits=[KitFit("K", "ring")])
    refuses(shop, "KitFits", ("K", "ring"), "fits", "fit ring", "not opened at a rebuild", "name an assembly or a pump")


def test_a_kit_does_one_assembly_at_least():
    shop = kit_shop(fits=[KitFit("K", "end", instances=0)])
    refuses(shop, "KitFits", ("K", "end"), "instances", "Kit K does 0 of end", "give 1 or more")


@pytest.mark.parametrize(("fit", "column"), [(KitFit("K-9", "end"), "kit"), (KitFit("K", "K-9"), "fits")])
def test_kits_and_what_they_fit_are_items(fit, column):
    refuses(kit_shop(fits=[fit]), "KitFits", (fit.kit, fit.fits), column, "Part K-9", "add it to Items")


def test_a_piece_got_in_another_number_must_be_held_by_it():
    items = [Item("cup", source="in_kit_only", get_as="K")]
    shop = kit_shop(fits=[KitFit("K", "end")], items=items)
    refuses(shop, "Items", ("cup",), "get_as", "cup is to be got in K, which does not hold it", "correct get_as")


# --- options


def test_an_option_that_nobody_answers_is_refused():
    """A compound that nobody stated must never become a pump without seals."""
    words = ("Job J-1", "PUMP", "compound is not stated", "at 'gland' of PUMP", "state one of fkm, nbr")
    refuses(make_shop(COMPOUNDS), "Schedule", ("J-1",), "option", *words)


def test_an_answer_that_no_line_knows_is_refused():
    shop = make_shop(COMPOUNDS, jobs=[job(options=(("compound", "epdm"),))])
    words = ("Job J-1", "compound=epdm is not known at 'gland' of PUMP", "known there: fkm, nbr")
    refuses(shop, "Schedule", ("J-1",), "option", *words)


def test_the_fault_is_told_to_every_job_that_has_it():
    shop = make_shop(COMPOUNDS, jobs=[job("J-1"), job("J-2"), job("J-3", options=FKM)])
    assert [(fault.sheet, fault.key) for fault in check(shop)] == [("Schedule", ("J-1",)), ("Schedule", ("J-2",))]


def test_every_position_that_asks_is_named():
    lines = [*COMPOUNDS, *(replace(line, position="seat") for line in COMPOUNDS)]
    assert [("gland" in fault.says, "seat" in fault.says) for fault in check(make_shop(lines))] == [
        (True, False),
        (False, True),
    ]


def test_each_position_knows_its_own_values_alone():
    lines = [*COMPOUNDS, renew("PUMP", "cap", position="seat", options=FKM)]
    assert [fault.says for fault in check(make_shop(lines, jobs=[job(options=FKM)]))] == []
    words = ("compound=nbr is not known at 'seat' of PUMP", "known there: fkm.")
    refuses(make_shop(lines, jobs=[job(options=NBR)]), "Schedule", ("J-1",), "option", *words)


def test_a_line_without_a_position_names_its_parent():
    shop = make_shop([replace(COMPOUNDS[0], position="")])
    refuses(shop, "Schedule", ("J-1",), "option", "in PUMP it decides", "state one of nbr")


@pytest.mark.parametrize("stage", ["held", "built", "tested", "shipped", "cancelled"])
def test_jobs_that_ask_for_nothing_are_not_asked(stage):
    assert check(make_shop(COMPOUNDS, jobs=[job(stage=stage)])) == ()


def test_lines_that_no_scope_reaches_ask_nothing():
    lines = [*TWIN, *COMPOUNDS]
    assert check(make_shop(lines, sections=(("end", 1),))) == ()


def test_lines_outside_their_dates_still_ask():
    """Strict on purpose: the answer would be needed on another day."""
    lines = [replace(line, from_on=march(30)) for line in COMPOUNDS]
    refuses(make_shop(lines), "Schedule", ("J-1",), "option", "compound is not stated")


def test_an_option_that_another_answer_rules_out_makes_no_value_unknown():
    """Oxygen work is a question for FKM alone: with NBR any service will do."""
    lines = [
        renew("PUMP", "soft", position="gland", options=NBR),
        renew("PUMP", "hard", position="gland", options=(*FKM, ("service", "normal"))),
        renew("PUMP", "clean", position="gland", options=(*FKM, ("service", "oxygen"))),
    ]
    answered = {
        "nbr, dry": (*NBR, ("service", "dry")),
        "fkm, dry": (*FKM, ("service", "dry")),
        "fkm": FKM,
        "fkm, oxygen": (*FKM, ("service", "oxygen")),
        "epdm": (("compound", "epdm"),),
    }
    faults = {name: check(make_shop(lines, jobs=[job(options=options)])) for name, options in answered.items()}
    assert faults["nbr, dry"] == faults["fkm, oxygen"] == ()
    assert "service=dry is not known at 'gland' of PUMP; known there: normal, oxygen." in faults["fkm, dry"][-1].says
    assert ["service is not stated" in fault.says for fault in faults["fkm"]] == [True]
    assert {word for word in ("compound=epdm", "service is not") for fault in faults["epdm"] if word in fault.says} == {
        "compound=epdm",
        "service is not",
    }


def asking_kit(**more):
    lines = [*TWIN, holds("K", "ring", options=NBR), holds("K", "cup", options=FKM)]
    return make_shop(lines, items=[kit()], fits=[KitFit("K", "end", **more)])


def test_lines_of_a_kit_that_is_chosen_ask():
    words = ("Job J-1", "compound is not stated", "in K it decides", "state one of fkm, nbr")
    refuses(asking_kit(), "Schedule", ("J-1",), "option", *words)


def test_lines_of_a_kit_that_is_not_chosen_ask_nothing():
    """The kit fits only oxygen work, which nobody said this is; a condition of the fit itself is no question."""
    assert check(asking_kit(options=(("service", "oxygen"),))) == ()
    assert check(replace(asking_kit(), jobs=(job(use_kits=False),))) == ()


def test_lines_of_a_kit_inside_a_chosen_kit_ask():
    lines = [*TWIN, holds("K", "K-2"), holds("K-2", "ring", options=NBR), holds("K-2", "cup", options=FKM)]
    shop = make_shop(lines, items=[kit(), kit("K-2")], fits=[KitFit("K", "end")])
    refuses(shop, "Schedule", ("J-1",), "option", "in K-2 it decides")


# --- jobs


def test_a_job_is_for_a_pump():
    shop = make_shop(TWIN, jobs=[replace(job(), pump="end")])
    refuses(shop, "Schedule", ("J-1",), "pump", "J-1 is for end, which is not a pump", "correct the pump")


def test_a_job_asks_for_a_scope_of_its_pump():
    words = ("scope 'overhaul'", "PUMP does not have", "known for it: reseal")
    refuses(make_shop(TWIN, jobs=[job(scope="overhaul")]), "Schedule", ("J-1",), "scope", *words)
    shop = make_shop([*TWIN, renew("P-2", "ring")], items=[Item("P-2", "pump")], jobs=[replace(job(), pump="P-2")])
    refuses(shop, "Schedule", ("J-1",), "scope", "no scopes yet", "add one to Scopes")


def test_a_job_is_for_one_pump_at_least():
    refuses(make_shop(TWIN, jobs=[job(quantity=0)]), "Schedule", ("J-1",), "quantity", "0 pumps", "give 1 or more")


# --- strip reports


def test_a_verdict_on_an_unknown_job_is_a_fault():
    shop = make_shop(TWIN, verdicts=(verdict("pump 1 / ball", "ball", name="J-9"),))
    words = ("no job J-9", "the verdict on ball at 'pump 1 / ball'", "schedule it first")
    refuses(shop, "Verdicts", ("J-9", "pump 1 / ball", "ball"), "job", *words)


@pytest.mark.parametrize("state", ["reserved", "bagged", "issued", "returned"])
def test_what_has_gone_to_an_unknown_job_is_a_fault(state):
    shop = make_shop(TWIN, lots=[lot("ring", 1)], issues=(Issue("J-9", "ring", "L", ONE, state),))
    words = ("no job J-9", f"what is {state} of ring", "schedule it first")
    refuses(shop, "Issued", ("J-9", "ring", "L", state), "job", *words)


@pytest.mark.parametrize("stage", ["held", "cancelled", "shipped"])
def test_a_job_that_asks_for_nothing_is_still_known(stage):
    issues = (Issue("J-1", "ring", "L", ONE, "issued"),)
    assert check(make_shop(TWIN, jobs=[job(stage=stage)], lots=[lot("ring", 1)], issues=issues)) == ()


def test_a_verdict_stands_at_a_place_of_the_job():
    lines = [opens("PUMP", "end", 2), inspect("end", "ball", 35, position="seat")]
    shop = make_shop(lines, verdicts=(verdict("end 3 / seat", "ball"),))
    words = ("J-1 has no inspected position 'end 3 / seat' with ball", "such as 'pump 1 / PUMP 1 / end 1 / seat'")
    refuses(shop, "Verdicts", ("J-1", "end 3 / seat", "ball"), "where", *words)


def test_a_verdict_names_the_part_of_its_place():
    lines = [inspect("PUMP", "ball", 35, position="seat"), inspect("PUMP", "cup", 35, position="gland")]
    shop = make_shop(lines, verdicts=(verdict("PUMP 1 / seat", "cup"),))
    refuses(shop, "Verdicts", ("J-1", "PUMP 1 / seat", "cup"), "where", "'PUMP 1 / seat' with cup")


def test_places_are_read_without_case_and_spacing_and_one_pump_needs_no_number():
    lines = [opens("PUMP", "end", 2), inspect("end", "ball", 35, 2, position="each seat")]
    for where in ("pump 1 / PUMP 1 / end 2 / each seat 2", "pump 1/END 2/Each  Seat 2"):
        shop = make_shop(lines, sections=(("end", 2),), verdicts=(verdict(where.replace("PUMP 1 / ", ""), "ball"),))
        assert check(shop) == ()
    shop = make_shop(lines, sections=(("end", 2),), verdicts=(verdict("end 2 / each seat 2", "ball"),))
    assert check(shop) == ()


def test_with_several_pumps_the_place_names_the_pump():
    lines = [inspect("PUMP", "ball", 35)]
    shop = make_shop(lines, jobs=[job(quantity=2)], verdicts=(verdict("PUMP 1 / ball", "ball"),))
    refuses(shop, "Verdicts", ("J-1", "PUMP 1 / ball", "ball"), "where", "no inspected position")
    assert check(replace(shop, verdicts=(verdict("pump 2 / PUMP 1 / ball", "ball"),))) == ()


# --- stock and other lists


def unknown_rows():
    shop = make_shop(TWIN, lots=[lot("X-1", 1)], orders=[order("X-2", 1, march(9))], offers=[offer("X-3")])
    items = tuple(item for item in shop.catalog.items if not item.part_number.startswith("X"))
    return replace(shop, catalog=replace(shop.catalog, items=(*items, Item("cup", get_as="X-4"))))


def test_every_list_names_only_items():
    faults = check(unknown_rows())
    assert {(fault.sheet, fault.key, fault.column) for fault in faults} == {
        ("Lots", ("X-1", "L", ""), "part_number"),
        ("Orders", ("PO-1", "1"), "part_number"),
        ("Offers", ("Norrvik", "X-3"), "part_number"),
        ("Items", ("cup",), "get_as"),
    }
    for number in range(1, 5):
        assert any(f"Part X-{number} is not among the items; add it" in fault.says for fault in faults)


def test_nothing_holds_less_than_nought():
    words = ("-2 of ring", "below zero", "count it")
    refuses(make_shop(TWIN, lots=[lot("ring", -2)]), "Lots", ("ring", "L", ""), "quantity", *words)


def test_pieces_in_stock_are_whole():
    half = replace(lot("ring", 1), quantity=ONE // 2)
    refuses(make_shop(TWIN, lots=[half]), "Lots", ("ring", "L", ""), "quantity", "0.5 of ring", "give a whole number")


# --- against the oracle


def test_the_oracle_finds_fault_where_the_engine_does():
    """Shops with a scope, an answer or a kit spoiled: both find faults, or neither does."""
    found = 0
    for seed in range(30):
        shop = random_shop(seed)
        for spoil in (deepen_scope, forget_answers, empty_kit, no_word, forget_jobs):
            broken = spoil(shop)
            refused = bool(check(broken))
            assert refused == bool(slow_faults(broken)), f"seed {seed}, {spoil.__name__}"
            found += refused
    assert found > 50


def deepen_scope(shop):
    scopes = tuple(replace(row, how_many=row.how_many + 1) for row in shop.catalog.scopes[:2]) + shop.catalog.scopes[2:]
    return replace(shop, catalog=replace(shop.catalog, scopes=scopes))


def forget_answers(shop):
    items = tuple(replace(item, default_options=()) for item in shop.catalog.items)
    return replace(shop, catalog=replace(shop.catalog, items=items))


def empty_kit(shop):
    """Every kit holds bench items only."""
    kits = {item.part_number for item in shop.catalog.items if item.kind == "kit"}
    lines = tuple(replace(line, child="B1") if line.parent in kits else line for line in shop.catalog.lines)
    items = tuple(replace(item, get_as=None, source="buy") if item.get_as else item for item in shop.catalog.items)
    return replace(shop, catalog=replace(shop.catalog, lines=lines, items=items))


def forget_jobs(shop):
    """The last job is gone; what was said of it and what went to it is still there."""
    return replace(shop, jobs=shop.jobs[:-1])


def no_word(shop):
    lines = tuple(replace(line, at_rebuild="") if line.at_rebuild == "keep" else line for line in shop.catalog.lines)
    return replace(shop, catalog=replace(shop.catalog, lines=lines))

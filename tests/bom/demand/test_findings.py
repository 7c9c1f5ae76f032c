"""Named findings: what they add, what they renew, what a verdict keeps from them, and what cannot be."""

from dataclasses import replace

import pytest

from bom.answers.flags import flags_of
from bom.answers.rows import as_json
from bom.demand.checks import check
from bom.errors import ShopError
from bom.explain import paths
from bom.plan import plan
from bom.values import ONE, Finding, FindingRule, Item, KitFit
from tests.bom.small_shops import (
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    make_shop,
    opens,
    pick,
    renew,
    row_of,
    sure,
    verdict,
)

OIL, BORE = "metal in the oil", "bore honed"
TWIN = [
    opens("PUMP", "end", 2),
    opens("PUMP", "drive"),
    opens("end", "check", 2),
    renew("end", "cup"),
    inspect("check", "ball", 35),
    inspect("check", "seat", 20, 2),
    inspect("drive", "spool", 10),
    inspect("drive", "ball", 5),
]
SECTIONS = (("end", 2), ("drive", 1))


def adds(finding, assembly, part, count=1):
    return FindingRule(finding, assembly, "add", part, count * ONE)


def renews(finding, assembly, part=""):
    return FindingRule(finding, assembly, "renew", part)


def found(finding=OIL, section="", name="J-1"):
    return Finding(name, finding, section)


def shop_with(rules, findings, lines=TWIN, **more):
    shop = make_shop(lines, sections=more.pop("sections", SECTIONS), **more)
    return replace(shop, catalog=replace(shop.catalog, finding_rules=tuple(rules)), findings=tuple(findings))


def test_a_finding_adds_to_each_opened_instance():
    shop = shop_with([adds(BORE, "check", "band", 2)], [found(BORE)], items=[Item("band", lead_days=5)])
    assert sure(shop) == {"cup": 2, "band": 2 * 4}
    assert sure(replace(shop, jobs=(job(quantity=3),)))["band"] == 2 * 4 * 3


def test_a_finding_renews_every_inspected_line_of_the_part_inside_the_assembly():
    shop = shop_with([renews(OIL, "end", "ball")], [found()])
    assert sure(shop) == {"cup": 2, "ball": 4}
    row = demand_of(shop, "ball")
    assert pick(row, "sure", "positions", "expected") == (4, 1, 0.05)


def test_without_a_part_everything_inspected_inside_is_renewed():
    assert sure(shop_with([renews(OIL, "check")], [found()])) == {"cup": 2, "ball": 4, "seat": 8}


def test_a_finding_in_one_section_leaves_the_others_alone():
    rules = [renews(OIL, "check", "ball"), renews(OIL, "drive"), adds(OIL, "drive", "band")]
    items = [Item("band", lead_days=5)]
    assert sure(shop_with(rules, [found(section="drive")], items=items)) == {"cup": 2, "ball": 1, "spool": 1, "band": 1}
    assert sure(shop_with(rules, [found(section="end")], items=items)) == {"cup": 2, "ball": 4}


def test_jobs_of_the_same_recipe_without_the_finding_keep_their_chances():
    shop = shop_with([renews(OIL, "end", "ball")], [found()], jobs=[job("J-1"), job("J-2")])
    assert pick(demand_of(shop, "ball"), "sure", "positions") == (4, 1 + 5)


def test_names_compare_folded():
    assert sure(shop_with([renews(OIL, "drive")], [found(" Metal  in the OIL ")]))["spool"] == 1


def test_a_finding_named_twice_acts_once_on_each_instance():
    rules = [adds(BORE, "end", "band")]
    shop = shop_with(rules, [found(BORE), found(BORE, "end")], items=[Item("band", lead_days=5)])
    assert sure(shop)["band"] == 2


def test_two_findings_that_add_the_same_part_add_up():
    rules = [adds(BORE, "end", "band"), adds(OIL, "end", "band", 2)]
    shop = shop_with(rules, [found(BORE), found(OIL)], items=[Item("band", lead_days=5)])
    assert sure(shop)["band"] == 2 + 4


@pytest.mark.parametrize(("said", "balls"), [("keep", 3), ("rework", 3), ("not_as_listed", 3), ("renew", 4)])
def test_a_verdict_stands_against_a_finding(said, balls):
    shop = shop_with(
        [renews(OIL, "end", "ball")], [found()], verdicts=(verdict("end 1 / check 2 / ball", "ball", said),)
    )
    assert sure(shop)["ball"] == balls


def test_what_is_renewed_together_goes_along_unless_a_verdict_says_otherwise():
    lines = [
        inspect("PUMP", "bearing", 10, renew_together="shaft"),
        inspect("PUMP", "race", 10, 2, renew_together="shaft"),
    ]
    rules = [renews(OIL, "PUMP", "bearing")]
    shop = shop_with(rules, [found()], lines, sections=(("PUMP", 1),))
    assert sure(shop) == {"bearing": 1, "race": 2}
    kept = replace(shop, verdicts=(verdict("PUMP 1 / race 2", "race", "keep"),))
    assert sure(kept) == {"bearing": 1, "race": 1}
    bearing_kept = replace(shop, verdicts=(verdict("PUMP 1 / bearing", "bearing", "keep"),))
    assert sure(bearing_kept) == {}


def test_a_finding_teaches_no_rate():
    shop = shop_with([renews(OIL, "end", "ball")], [found(name=f"J-{n}") for n in range(9)],
                     jobs=[job(f"J-{n}") for n in range(10)])  # fmt: skip
    assert demand_of(shop, "ball")["expected"] == pytest.approx(4 * 0.35 + 10 * 0.05)


def test_a_kit_covers_what_a_finding_asks_for_inside_its_assembly():
    lines = [*TWIN, holds("K", "cup"), holds("K", "ball", 3)]
    fits = [KitFit("K", "end")]
    shop = shop_with(
        [renews(OIL, "check", "ball"), adds(OIL, "check", "seat")], [found()], lines, items=[kit()], fits=fits
    )
    (row,) = answer(shop)["kits"]
    assert pick(row, "count", "covered", "short", "surplus") == (2, {"ball": 4, "cup": 2}, {"seat": 4}, {"ball": 2})


def test_a_need_that_only_a_finding_brings_takes_the_kit():
    lines = [opens("PUMP", "end"), inspect("end", "ball", 35), holds("K", "ball")]
    shop = shop_with(
        [renews(OIL, "end")], [found()], lines, items=[kit()], fits=[KitFit("K", "end")], sections=(("end", 1),)
    )
    assert [row["count"] for row in answer(shop)["kits"]] == [1]
    assert answer(replace(shop, findings=()))["kits"] == []


def test_a_job_that_asks_for_nothing_gets_nothing():
    shop = shop_with([renews(OIL, "end", "ball")], [found()], jobs=[job(stage="shipped")])
    assert sure(shop) == {}
    assert check(shop) == ()


def test_a_measured_line_is_renewed_with_its_whole_quantity():
    lines = [inspect("PUMP", "cord", 10, 310)]
    shop = shop_with(
        [renews(OIL, "PUMP")], [found()], lines, items=[Item("cord", countable=False)], sections=(("PUMP", 1),)
    )
    assert sure(shop) == {"cord": 310}


def test_the_way_to_a_number_names_the_finding():
    rules = [renews(OIL, "check", "ball"), adds(BORE, "end", "ball", 3)]
    rows = paths(plan(shop_with(rules, [found(), found(BORE, "end")])), "ball")
    assert [(row.section, row.at_rebuild, row.quantity // ONE, row.says) for row in rows] == [
        (
            "end",
            "finding",
            4,
            "1 per check × 2 check per end × 2 end × 1 pump = 4, because of finding 'metal in the oil'",
        ),
        ("drive", "inspect", 1, "1 per drive × 1 drive × 1 pump = 1"),
        ("end", "finding", 6, "3 per end × 2 end × 1 pump = 6, because of finding 'bore honed'"),
    ]


def test_the_report_tells_what_a_finding_renews_and_what_goes_along():
    lines = [
        inspect("PUMP", "bearing", 10, renew_together="shaft"),
        inspect("PUMP", "race", 10, renew_together="shaft"),
    ]
    made = plan(shop_with([renews(OIL, "PUMP", "race")], [found("METAL in the oil")], lines, sections=(("PUMP", 1),)))
    report = made.demand.reports["J-1"]
    assert [(position.where, name) for position, name in report.because] == [("pump 1 / PUMP 1 / race", OIL)]
    assert [(position.where, name) for position, name in report.along] == [("pump 1 / PUMP 1 / bearing", OIL)]


# --- what cannot be


def refuses(shop, sheet, key, column, *words):
    faults = check(shop)
    assert [(fault.sheet, fault.key, fault.column) for fault in faults] == [(sheet, key, column)], faults
    assert all(word in faults[0].says for word in words), faults[0].says


def test_a_finding_that_no_rule_explains_is_a_fault_and_a_flag():
    shop = shop_with([renews(OIL, "end", "ball")], [found("rust")])
    words = ("'rust'", "write one of metal in the oil", "add it to FindingRules")
    refuses(shop, "Findings", ("J-1", "rust", ""), "finding", *words)
    assert [flag["job"] for flag in flags_of(plan(shop)) if flag["kind"] == "finding_without_effect"] == ["J-1"]


def test_a_section_that_the_job_does_not_open_is_a_fault():
    shop = shop_with([renews(OIL, "end", "ball")], [found(section="drive")], sections=(("end", 2),))
    refuses(shop, "Findings", ("J-1", OIL, "drive"), "section", "opens no section drive", "write one of end")


def test_a_finding_about_what_the_job_does_not_open_is_a_fault():
    shop = shop_with([renews(OIL, "drive")], [found()], sections=(("end", 2),))
    refuses(shop, "Findings", ("J-1", OIL, ""), "finding", "speaks of drive", "does not open anywhere", "add a rule")
    shop = shop_with([renews(OIL, "drive")], [found(section="end")])
    refuses(shop, "Findings", ("J-1", OIL, "end"), "finding", "does not open in end")


def test_one_of_several_rules_is_enough():
    shop = shop_with([renews(OIL, "drive"), renews(OIL, "end")], [found()], sections=(("end", 2),))
    assert check(shop) == ()


def test_a_finding_on_an_unknown_job_is_a_fault():
    shop = shop_with([renews(OIL, "end", "ball")], [found(name="J-9")])
    refuses(shop, "Findings", ("J-9", OIL, ""), "job", "no job J-9", "schedule it first")


@pytest.mark.parametrize(
    ("rule", "column", "words"),
    [
        (renews(OIL, "motor", "ball"), "assembly", ("Part motor", "add it to Items first")),
        (adds(OIL, "end", "band"), "part_number", ("Part band", "add it to Items first")),
        (renews(OIL, "ball", ""), "assembly", ("ball has no lines of its own", "name an assembly")),
        (FindingRule(OIL, "end", "swap", "ball"), "effect", ("'swap'", "write add or renew")),
        (FindingRule(OIL, "end", "add"), "part_number", ("not what", "name the part")),
        (adds(OIL, "end", "K"), "part_number", ("the kit K", "name single parts")),
        (adds(OIL, "end", "grease"), "part_number", ("kept at the bench", "name a counted part")),
        (adds(OIL, "end", "ball", 0), "quantity", ("not above zero", "give the number")),
        (FindingRule(OIL, "end", "add", "ball", ONE // 2), "quantity", ("0.5", "give a whole number")),
        (FindingRule(OIL, "end", "renew", "ball", ONE), "quantity", ("leave the quantity blank", "or write add")),
        (renews(OIL, "end", "spool"), "part_number", ("not inspected anywhere in end", "correct part or assembly")),
        (renews(OIL, "plain"), "assembly", ("Nothing is inspected in plain", "correct the assembly")),
    ],
)
def test_a_rule_that_cannot_be_is_a_fault(rule, column, words):
    lines = [*TWIN, holds("K", "ball"), opens("PUMP", "plain"), renew("plain", "cup")]
    items = [kit(), Item("grease", bench=True)]
    shop = shop_with([rule], [], lines, items=items, fits=[KitFit("K", "end")])
    refuses(shop, "FindingRules", (rule.finding, rule.assembly, rule.effect, rule.part_number), column, *words)


def test_a_rule_about_an_unknown_part_never_becomes_a_plan():
    with pytest.raises(ShopError, match="Part band"):
        plan(shop_with([adds(OIL, "end", "band")], [found()]))


def test_clean_work_refuses_an_added_part_that_is_not_clean():
    lines = [renew("PUMP", "cup", wetted=True), renew("PUMP", "dry band")]
    items = [Item("cup", cleanliness="oxygen_clean"), Item("band"), Item("clean band", cleanliness="oxygen_clean")]
    clean = [job(cleanliness="oxygen_clean")]
    for part, refused in (("band", True), ("clean band", False), ("dry band", False)):
        shop = shop_with(
            [adds(BORE, "PUMP", part)], [found(BORE)], lines, items=items, jobs=clean, sections=(("PUMP", 1),)
        )
        says = [fault.says for fault in check(shop)]
        assert bool(says) is refused, says
        if refused:
            assert "adds band to PUMP" in says[0]
    assert check(replace(shop, jobs=(job(),))) == ()


def test_the_order_of_rows_changes_nothing():
    rules = [
        renews(OIL, "check", "ball"),
        renews(BORE, "end", "ball"),
        adds(OIL, "end", "ball"),
        adds(BORE, "drive", "cup"),
    ]
    findings = [found(OIL), found(BORE, "end"), found(BORE)]
    there, back = shop_with(rules, findings), shop_with(rules[::-1], findings[::-1])
    assert as_json(plan(there)) == as_json(plan(back))
    assert paths(plan(there), "ball") == paths(plan(back), "ball")


def test_only_the_named_rows_of_the_answer_change():
    shop = shop_with([renews(OIL, "drive", "spool")], [found()])
    before, after = answer(replace(shop, findings=())), answer(shop)
    assert row_of(before["demand"], "cup") == row_of(after["demand"], "cup")
    assert before.keys() == after.keys()

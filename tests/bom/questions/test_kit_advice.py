"""Which kits waste least: one for the whole pump, or one for each section."""

from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest

from bom.errors import ShopError
from bom.plan import plan
from bom.questions.kits.advice import kit_advice
from bom.values import ASKING_STAGES, ONE, Issue, KitFit, ScopeSection
from tests.bom.results import plan_of
from tests.bom.small_shops import FKM, NBR, holds, inspect, job, kit, make_shop, offer, opens, renew, verdict
from tests.demo_shop import demo_shop
from tests.oracle.plan import JobsTakenApart

LINES = (
    opens("PUMP", "END", 2),
    opens("PUMP", "DRIVE"),
    renew("END", "RING"),
    renew("END", "SEAT"),
    renew("DRIVE", "CUP"),
    holds("KE", "RING"),
    holds("KE", "SEAT", 2),
    holds("KD", "CUP"),
    holds("KP", "RING", 2),
    holds("KP", "SEAT", 2),
    holds("KP", "CUP", 2),
)
FITS = (KitFit("KE", "END"), KitFit("KD", "DRIVE"), KitFit("KP", "PUMP"))
KITS = (kit("KE"), kit("KD"), kit("KP"))
PRICES = (
    offer("RING", "1.00"),
    offer("SEAT", "10.00", pack=5),
    offer("CUP", "3.00"),
    offer("KE", "20.00"),
    offer("KD", "9.00"),
    offer("KP", "60.00"),
)


def advice_shop(lines=LINES, **more):
    given = {"items": KITS, "fits": FITS, "offers": PRICES} | more
    return make_shop(lines, **given)


def kits_of(way):
    return [(use.kit, use.count) for use in way.uses]


def ranked(advice):
    return [kits_of(way) for way in advice.ways]


def amounts(told):
    return {part: amount // ONE for part, amount in told}


def test_the_whole_pump_kit_leaves_a_cup_and_the_section_kits_two_seats():
    """A cup is worth 3.00, a seat 10.00 / 5 = 2.00, and two of them lie over."""
    advice = kit_advice(plan(advice_shop()), "J-1")
    whole, sections = advice.ways
    assert (kits_of(whole), amounts(whole.surplus)) == ([("KP", 1)], {"CUP": 1})
    assert (kits_of(sections), amounts(sections.surplus)) == ([("KD", 1), ("KE", 2)], {"SEAT": 2})
    assert (whole.value, sections.value) == (Decimal("3.00"), Decimal("4.00"))
    assert (whole.kit_price, sections.kit_price) == (Decimal("60.00"), Decimal("49.00"))
    assert (advice.best, advice.ranked_by, advice.is_complete) == (whole, "value", True)


def test_pieces_may_decide_instead_of_money():
    cups = (offer("CUP", "5.00"), *(row for row in PRICES if row.part_number != "CUP"))
    made = plan(advice_shop(offers=cups))
    assert ranked(kit_advice(made, "J-1"))[0] == [("KD", 1), ("KE", 2)]
    assert ranked(kit_advice(made, "J-1", by="pieces"))[0] == [("KP", 1)]


def test_without_a_price_the_pieces_decide_and_the_advice_says_so():
    unknown = tuple(row for row in PRICES if row.part_number != "CUP")
    advice = kit_advice(plan(advice_shop(offers=unknown)), "J-1")
    assert (advice.ranked_by, kits_of(advice.best)) == ("pieces", [("KP", 1)])
    assert (advice.best.value, advice.best.unpriced) == (None, ("CUP",))


def test_expired_offers_and_other_money_give_no_price():
    for changed in ({"valid_to": job().build_on.replace(day=1)}, {"foreign_currency": "USD"}):
        offers = tuple(replace(row, **changed) if row.part_number == "CUP" else row for row in PRICES)
        assert kit_advice(plan(advice_shop(offers=offers)), "J-1").best.unpriced == ("CUP",)


def test_the_way_of_the_plan_is_marked():
    assert [kits_of(way) for way in kit_advice(plan(advice_shop()), "J-1").ways if way.is_planned] == [[("KP", 1)]]
    without = kit_advice(plan(advice_shop(jobs=[job(use_kits=False)])), "J-1")
    assert [way.is_planned for way in without.ways] == [False, False]


def test_what_is_not_in_the_kits_is_told_as_loose():
    lines = (*LINES, renew("DRIVE", "NUT", 4))
    assert [amounts(way.loose) for way in kit_advice(plan(advice_shop(lines)), "J-1").ways] == [{"NUT": 4}, {"NUT": 4}]


def test_spares_for_inspection_are_no_waste():
    lines = (*LINES, inspect("DRIVE", "CUP", 10, position="second"))
    whole, sections = kit_advice(plan(advice_shop(lines)), "J-1").ways
    assert (kits_of(whole), amounts(whole.surplus), amounts(whole.uses[0].spare)) == ([("KP", 1)], {}, {"CUP": 1})
    assert amounts(sections.surplus) == {"SEAT": 2}


def test_a_verdict_takes_its_position_out_of_the_spares():
    lines = (*LINES, inspect("DRIVE", "CUP", 10, position="second"))
    said = verdict("PUMP 1 / DRIVE 1 / second", "CUP", "keep")
    shop = advice_shop(lines, verdicts=(said,))
    ways = {kits_of(way)[-1][0]: way for way in kit_advice(plan(shop), "J-1").ways}
    assert amounts(ways["KP"].surplus) == {"CUP": 1}


def test_issued_pieces_make_a_kit_waste_more():
    shop = advice_shop(issues=(Issue("J-1", "CUP", "L", ONE, "issued"),))
    ways = {kits_of(way)[-1][0]: way for way in kit_advice(plan(shop), "J-1").ways}
    assert amounts(ways["KP"].surplus) == {"CUP": 2}
    assert kits_of(ways["KE"]) == [("KE", 2)]  # the drive needs nothing more, so it takes no kit


def test_a_kit_for_the_pump_is_set_against_a_scope_that_opens_sections_only():
    scopes = (
        ScopeSection("PUMP", "ends", "END", 2),
        ScopeSection("PUMP", "ends", "DRIVE", 1),
        ScopeSection("PUMP", "one end", "END", 1),
    )
    made = plan(advice_shop(scopes=scopes, jobs=[job(scope="ends"), job("J-2", scope="one end")]))
    both = kit_advice(made, "J-1")
    assert [(kits_of(way), way.beyond_scope) for way in both.ways] == [
        ([("KP", 1)], True),
        ([("KD", 1), ("KE", 2)], False),
    ]
    assert [way.is_planned for way in both.ways] == [False, True]
    one = kit_advice(made, "J-2")
    assert [kits_of(way) for way in one.ways] == [[("KE", 1)], [("KP", 1)]]
    assert amounts(one.ways[1].surplus) == {"RING": 1, "SEAT": 1, "CUP": 2}


def test_a_kit_for_the_pump_counts_pumps_spares_and_verdicts_like_any_other():
    lines = (*LINES, inspect("DRIVE", "CUP", 10, position="second"))
    scopes = (ScopeSection("PUMP", "drive", "DRIVE", 1),)
    fits = (FITS[0], FITS[1], replace(FITS[2], instances=2))
    shop = advice_shop(lines, scopes=scopes, fits=fits, jobs=[job(scope="drive", quantity=3)])
    whole = next(way for way in kit_advice(plan(shop), "J-1").ways if way.beyond_scope)
    assert kits_of(whole) == [("KP", 2)]  # two kits for three pumps: four cups, three of them needed, one to spare
    (use,) = whole.uses
    assert (amounts(use.covered), amounts(use.spare)) == ({"CUP": 3}, {"CUP": 1})
    assert amounts(use.surplus) == {"RING": 4, "SEAT": 4}
    said = tuple(verdict(f"pump {pump} / DRIVE 1 / second", "CUP", "keep") for pump in (1, 2, 3))
    whole = next(way for way in kit_advice(plan(replace(shop, verdicts=said)), "J-1").ways if way.beyond_scope)
    assert amounts(whole.surplus) == {"CUP": 1, "RING": 4, "SEAT": 4}


def test_a_kit_for_the_pump_in_another_compound_is_no_way_beyond_the_scope_either():
    fits = (*FITS[:2], replace(FITS[2], options=FKM))
    shop = advice_shop(
        scopes=(ScopeSection("PUMP", "drive", "DRIVE", 1),), fits=fits, jobs=[job(scope="drive", options=NBR)]
    )
    assert ranked(kit_advice(plan(shop), "J-1")) == [[("KD", 1)]]


def test_of_equal_ways_the_planned_one_stands_first():
    lines = (renew("PUMP", "RING"), holds("K1", "RING"), holds("K2", "RING"))
    fits = (KitFit("K1", "PUMP"), KitFit("K2", "PUMP", preferred=True))
    advice = kit_advice(plan(advice_shop(lines, fits=fits, items=(kit("K1"), kit("K2")))), "J-1")
    assert ranked(advice) == [[("K2", 1)], [("K1", 1)]]


def test_several_pumps_of_a_scope_share_a_kit_for_two():
    fits = (replace(FITS[0], instances=4), *FITS[1:])
    scopes = (ScopeSection("PUMP", "one end", "END", 1),)
    made = plan(advice_shop(fits=fits, scopes=scopes, jobs=[job(scope="one end", quantity=4)]))
    (first, *_) = kit_advice(made, "J-1").ways
    assert (kits_of(first), amounts(first.surplus), amounts(first.loose)) == ([("KE", 1)], {}, {"RING": 3, "SEAT": 2})


def test_kits_of_one_set_are_alternatives_and_kits_of_two_sets_go_together():
    lines = (
        renew("PUMP", "RING"),
        renew("PUMP", "SEAT"),
        holds("K1", "RING", 2),
        holds("K2", "RING", 3),
        holds("S1", "SEAT"),
    )
    fits = (
        KitFit("K1", "PUMP", set_name="rings"),
        KitFit("K2", "PUMP", set_name="rings", preferred=True),
        KitFit("S1", "PUMP", set_name="seats"),
    )
    advice = kit_advice(plan(advice_shop(lines, fits=fits, items=(kit("K1"), kit("K2"), kit("S1")))), "J-1")
    assert ranked(advice) == [[("K1", 1), ("S1", 1)], [("K2", 1), ("S1", 1)]]
    assert [way.is_planned for way in advice.ways] == [False, True]


def test_a_kit_for_another_compound_is_no_way():
    fits = (FITS[0], FITS[1], replace(FITS[2], options=FKM))
    assert ranked(kit_advice(plan(advice_shop(fits=fits, jobs=[job(options=NBR)])), "J-1")) == [[("KD", 1), ("KE", 2)]]


def test_a_kit_that_asks_what_nobody_answered_is_no_way():
    lines = (*LINES, replace(holds("KE", "RING"), options=FKM, position="extra"))
    assert ranked(kit_advice(plan(advice_shop(lines)), "J-1")) == [[("KP", 1)]]


def test_nothing_fits():
    advice = kit_advice(plan(advice_shop(fits=())), "J-1")
    assert (advice.ways, advice.best) == ((), None)


def test_too_many_ways_are_said():
    names = [f"A{number}" for number in range(9)]
    lines = [opens("PUMP", name) for name in names] + [renew(name, "RING") for name in names]
    lines += [holds(f"K{number}{other}", "RING", other + 1) for number in range(9) for other in range(2)]
    fits = [KitFit(f"K{number}{other}", f"A{number}") for number in range(9) for other in range(2)]
    shop = advice_shop(lines, fits=fits, items=[kit(fit.kit) for fit in fits])
    advice = kit_advice(plan(shop), "J-1")
    assert not advice.is_complete
    assert len(advice.ways) == 1


def test_unknown_jobs_and_scopes_are_refused():
    made = plan(advice_shop())
    with pytest.raises(ShopError, match="There is no job J-9"):
        kit_advice(made, "J-9")


# --- by the slow oracle


@pytest.mark.parametrize("first", range(0, 60, 30))
def test_every_way_is_what_the_plan_would_do_with_those_kits_alone(first):
    """Take all other kits out of the lists: the slow plan then uses these, and leaves over what the advice says."""
    several = 0
    for seed in range(first, first + 30):
        made = plan_of(seed)
        shop = made.shop
        for asked in (row for row in shop.jobs if row.stage in ASKING_STAGES):
            advice = kit_advice(made, asked.job)
            several += len(advice.ways) > 1
            for way in advice.ways:
                if not way.beyond_scope:
                    assert rows_of(way) == slow_rows(shop, asked, way), f"seed {seed}, {asked.job}"
            planned = [rows_of(way) for way in advice.ways if way.is_planned]
            slow = slow_rows(shop, asked, None)
            takes_kits = asked.use_kits if asked.use_kits is not None else scope_takes_kits(shop, asked)
            assert planned == ([slow] if slow and takes_kits else []), f"seed {seed}, {asked.job}"
            check_waste(advice)
    assert several


def scope_takes_kits(shop, asked):
    return all(row.use_kits for row in shop.catalog.scopes if (row.pump, row.scope) == (asked.pump, asked.scope))


def rows_of(way):
    return sorted(
        (use.kit, use.fits, use.count, dict(use.covered), dict(use.spare), dict(use.surplus)) for use in way.uses
    )


def slow_rows(shop, asked, way):
    fits = shop.catalog.kit_fits
    if way is not None:
        used = {(use.kit, use.fits) for use in way.uses}
        fits = tuple(fit for fit in fits if (fit.kit, fit.fits) in used)
    alone = replace(
        shop,
        catalog=replace(shop.catalog, kit_fits=fits),
        needs=(),
        jobs=tuple(replace(row, use_kits=True) for row in shop.jobs if row.job == asked.job),
        issues=tuple(row for row in shop.issues if row.job == asked.job),
    )
    return sorted(
        (row["kit"], row["fits"], row["count"], row["covered"], row["spare"], row["surplus"])
        for row in JobsTakenApart(alone).kit_rows
    )


def check_waste(advice):
    """The surplus of a way is that of its kits, and the first way wastes least."""
    for way in advice.ways:
        total = Counter()
        for use in way.uses:
            total.update(dict(use.surplus))
        assert dict(way.surplus) == dict(total)
        assert (way.value is None) == bool(way.unpriced)
    waste = [way.value if advice.ranked_by == "value" else way.pieces for way in advice.ways]
    assert waste == sorted(waste)


def test_demo_shop_end_kits_and_check_valve_kits_both_serve():
    advice = kit_advice(plan(demo_shop()), "J-3116")
    assert ranked(advice) == [
        [("K-CV", 1), ("K-D4", 1), ("K-E38N", 1)],
        [("K-CKS", 2), ("K-CV", 1), ("K-D4", 1)],
    ]
    assert [amounts(way.surplus) for way in advice.ways] == [{"OR-016-N70": 1}, {"OR-016-N70": 1}]
    assert [len(way.loose) for way in advice.ways] == [6, 12]
    assert advice.best.value == Decimal("0.26")

"""What a job was given against what its pump needs: by hand, and on random shops."""

import random
from dataclasses import replace

import pytest

from bom.plan import plan
from bom.questions.bag_check import InBag, check_bags, held_beyond_need
from bom.values import ASKING_STAGES, ONE, Issue, KitFit
from tests.bom.small_shops import holds, inspect, job, kit, lot, make_shop, opens, renew, verdict
from tests.shops import random_shop

LINES = (
    opens("PUMP", "end", 2),
    renew("end", "ring", 2),
    renew("end", "nut", 4),
    inspect("end", "ball", 35, position="seat"),
    holds("K", "ring", 2),
    holds("K", "tag"),
)
FITS = (KitFit("K", "end"),)
BALLS_KEPT = tuple(verdict(f"pump 1 / end {n} / seat", "ball", "keep") for n in (1, 2))


NOTHING = {}


def bench(**more):
    return make_shop(LINES, items=(kit(),), fits=FITS, **more)


def checked(shop, *more, **given):
    bag = [InBag(part, n * ONE) for part, n in given.items()]
    found = check_bags(plan(shop).demand.structure, shop, {"J-1": [*bag, *more]})["J-1"]
    return (*({part: n / ONE for part, n in rows.items()} for rows in (found.missing, found.beyond)), len(found.unseen))


def beyond(shop, recorded=NOTHING):
    return [
        (row.job, row.part_number, row.state, row.lot, row.quantity / ONE)
        for row in held_beyond_need(plan(shop), recorded)
    ]


def issue(part, count, state="issued", code="L", name="J-1", place=""):
    return Issue(name, part, code, count * ONE, state, place)


def test_an_empty_bag_lacks_all_that_is_sure():
    assert checked(bench()) == ({"K": 2, "nut": 8}, {}, 2)


def test_a_full_bag_lacks_nothing_and_holds_nothing_beyond():
    assert checked(bench(), K=2, nut=8) == ({}, {}, 2)


def test_loose_pieces_stand_for_the_kit_that_would_bring_them():
    assert checked(bench(), ring=4, nut=8) == ({}, {}, 2)


def test_a_kit_of_which_pieces_were_given_loose_is_missing_by_the_piece():
    assert checked(bench(), ring=3, nut=8) == ({"ring": 1}, {}, 2)


def test_one_of_two_kits_leaves_the_other_missing_as_a_kit():
    assert checked(bench(), K=1, nut=8) == ({"K": 1}, {}, 2)


def test_what_is_given_beyond_the_need_is_named():
    assert checked(bench(), K=3, nut=9) == ({}, {"K": 1, "nut": 1}, 2)


def test_a_kit_of_which_a_piece_serves_is_not_beyond_the_need():
    assert checked(bench(), K=2, ring=1, nut=8) == ({}, {"ring": 1}, 2)


def test_pieces_for_positions_without_a_verdict_may_stay():
    assert checked(bench(), K=2, nut=8, ball=3) == ({}, {"ball": 1}, 2)


def test_pieces_for_positions_that_were_kept_are_beyond_the_need():
    assert checked(bench(verdicts=BALLS_KEPT), K=2, nut=8, ball=1) == ({}, {"ball": 1}, 0)


def test_a_part_that_the_pump_does_not_take_is_beyond_the_need():
    assert checked(bench(lots=[lot("washer", 5)]), K=2, nut=8, washer=3) == ({}, {"washer": 3}, 2)


RING_SHORT = (("ring", ONE), ("tag", ONE))


def test_a_kit_that_is_without_a_piece_leaves_it_missing():
    assert checked(bench(), InBag("K", 2 * ONE, RING_SHORT), nut=8) == ({"ring": 2}, {}, 2)


def test_a_loose_piece_in_the_place_of_what_a_kit_is_without_is_needed():
    assert checked(bench(), InBag("K", ONE, RING_SHORT), K=1, nut=8, ring=1) == ({}, {}, 2)
    assert checked(bench(), InBag("K", ONE, RING_SHORT), K=1, nut=8, ring=2) == ({}, {"ring": 1}, 2)


def test_what_kits_in_bags_really_hold_counts_in_the_plan():
    shop = bench(issues=[issue("nut", 8), issue("K", 2), issue("ring", 2)])
    assert beyond(shop) == [("J-1", "ring", "issued", "", 2)]
    assert beyond(shop, {("K", "L"): RING_SHORT}) == []


def test_a_bag_that_nobody_took_is_looked_at_like_one_at_the_bench():
    bag = [issue(part, count, "bagged") for part, count in (("nut", 8), ("K", 2), ("ring", 2))]
    assert beyond(bench(issues=bag)) == [("J-1", "ring", "bagged", "", 2)]
    assert beyond(bench(issues=bag), {("K", "L"): RING_SHORT}) == []


def test_what_is_beyond_the_need_goes_back_from_the_bag_before_the_bench():
    some = [issue("K", 2), issue("nut", 6), issue("nut", 5, "bagged", "M")]
    assert beyond(bench(issues=some)) == [("J-1", "nut", "bagged", "", 3)]
    some = [issue("K", 2), issue("nut", 9), issue("nut", 1, "bagged", "M")]
    assert beyond(bench(issues=some)) == [("J-1", "nut", "bagged", "", 1), ("J-1", "nut", "issued", "", 1)]


def test_what_the_shop_says_was_issued_does_not_count_beside_what_is_named():
    assert checked(bench(issues=[issue("nut", 8)]), K=2) == ({"nut": 8}, {}, 2)


def test_a_job_that_asks_for_nothing_is_not_checked():
    shop = bench(jobs=[job(stage="built")])
    assert check_bags(plan(shop).demand.structure, shop, {"J-1": []}) == {}


def test_what_was_issued_beyond_the_need_is_found_in_the_plan():
    assert beyond(bench(issues=[issue("nut", 10), issue("nut", 1, "returned"), issue("K", 2)])) == [
        ("J-1", "nut", "issued", "", 1)
    ]


def test_what_is_set_aside_beyond_the_need_is_found_by_its_lot():
    issues = [issue("nut", 10, "reserved", "L", place="A1"), issue("K", 3, "bagged")]
    assert beyond(bench(lots=[lot("nut", 20, place="A1")], issues=issues)) == [
        ("J-1", "K", "bagged", "", 1),
        ("J-1", "nut", "reserved", "L", 2),
    ]


def test_what_is_set_aside_for_positions_without_a_verdict_may_stay():
    issues = [issue("ball", 3, "reserved", "L", place="A1")]
    assert beyond(bench(lots=[lot("ball", 9, place="A1")], issues=issues)) == [("J-1", "ball", "reserved", "L", 1)]


@pytest.mark.parametrize(
    ("stage", "states"),
    [
        ("cancelled", ["bagged", "issued", "reserved"]),
        ("built", ["reserved"]),
        ("shipped", ["reserved"]),
        ("held", []),
    ],
)
def test_a_job_that_is_given_up_holds_all_of_it_beyond_its_need(stage, states):
    issues = [issue("nut", 2, state) for state in ("issued", "bagged", "reserved")]
    assert [row[2] for row in beyond(bench(jobs=[job(stage=stage)], lots=[lot("nut", 9)], issues=issues))] == states


# --- on random shops


def given_to(shop, rng):
    """For each asking job some of what it lacks, and some of what it does not."""
    structure = plan(shop).demand.structure
    asking = [one.job for one in shop.jobs if one.stage in ASKING_STAGES]
    lacking = check_bags(structure, shop, {name: [] for name in asking})
    parts = [item.part_number for item in structure.items if item.kind in ("part", "kit") and not item.bench]
    given = {}
    for name in asking:
        wanted = {part: rng.randint(0, quantity // ONE) * ONE for part, quantity in lacking[name].missing.items()}
        strange = {part: rng.randint(0, 3) * ONE for part in rng.sample(parts, min(3, len(parts)))}
        given[name] = {part: wanted.get(part, 0) + strange.get(part, 0) for part in {**wanted, **strange}}
    return structure, lacking, given


def bags(given):
    return {name: [InBag(part, quantity) for part, quantity in parts.items()] for name, parts in given.items()}


SEEDS = range(25)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_was_missing_fills_the_bag_to_the_piece(seed):
    shop = random_shop(seed)
    structure, lacking, _ = given_to(shop, random.Random(seed))
    full = bags({name: one.missing for name, one in lacking.items()})
    for name, check in check_bags(structure, shop, full).items():
        assert (check.missing, check.beyond) == ({}, {}), name


@pytest.mark.parametrize("seed", SEEDS)
def test_a_bag_without_what_is_beyond_its_need_lacks_no_more_and_holds_nothing_beyond(seed):
    shop = random_shop(seed)
    structure, _, given = given_to(shop, random.Random(seed))
    before = check_bags(structure, shop, bags(given))
    kept = {
        name: {part: n - before[name].beyond.get(part, 0) for part, n in parts.items()} for name, parts in given.items()
    }
    for name, check in check_bags(structure, shop, bags(kept)).items():
        assert (check.missing, check.beyond) == (before[name].missing, {}), name


@pytest.mark.parametrize("seed", SEEDS)
def test_the_plan_asks_for_what_is_missing(seed):
    """A job alone, with what was given as issued: what the plan asks for directly is what is missing, kits as kits."""
    shop = random_shop(seed)
    structure, _, given = given_to(shop, random.Random(seed))
    checks = check_bags(structure, shop, bags(given))
    for one in shop.jobs:
        if one.job not in checks:
            continue
        issues = tuple(Issue(one.job, part, "", n, "issued") for part, n in given[one.job].items() if n)
        alone = plan(replace(shop, jobs=(one,), needs=(), issues=issues, findings=_of(one, shop.findings)), structure)
        pieces = alone.netting.pieces
        direct = ~pieces.wear & (pieces.parent < 0) & (pieces.way < 0)
        asked = {}
        for item, quantity in zip(pieces.item[direct].tolist(), pieces.quantity[direct].tolist(), strict=True):
            part = structure.items[item].part_number
            asked[part] = asked.get(part, 0) + quantity
        kits = {part for part in asked if structure.is_kit[structure.index[part]]}
        assert (asked == {}) == (checks[one.job].missing == {}), one.job
        if not kits:
            assert asked == checks[one.job].missing, one.job


def _of(job, rows):
    return tuple(row for row in rows if row.job == job.job)

"""What strip reports say: verdicts become sure needs, groups follow one another, and every report teaches the rates."""

from dataclasses import replace

import pytest

from bom.plan import plan
from tests.bom.small_shops import answer, demand_of, inspect, job, make_shop, march, opens, pick, verdict

# --- verdicts

SEAT = inspect("PUMP", "ball", 35, position="seat")


def after(lines, *verdicts, **shop):
    """Sure, open positions and what is expected, by part number."""
    found = answer(make_shop(lines, verdicts=verdicts, **shop))
    return {row["part_number"]: pick(row, "sure", "positions", "expected") for row in found["demand"]}


@pytest.mark.parametrize("said", ["renew", "missing"])
def test_what_is_worn_or_missing_is_sure(said):
    assert after([SEAT], verdict("PUMP 1 / seat", "ball", said)) == {"ball": (1, 0, 0)}


@pytest.mark.parametrize("said", ["keep", "rework", "not_as_listed"])
def test_every_other_verdict_takes_the_position_out_of_the_chances(said):
    assert after([SEAT], verdict("PUMP 1 / seat", "ball", said)) == {}


def test_rework_and_other_parts_are_flagged():
    lines = [SEAT, inspect("PUMP", "cup", 35)]
    verdicts = (verdict("PUMP 1 / seat", "ball", "rework"), verdict("PUMP 1 / cup", "cup", "not_as_listed"))
    flags = answer(make_shop(lines, verdicts=verdicts))["flags"]
    assert [pick(flag, "kind", "part_number", "job") for flag in flags] == [
        ("plan_again", "cup", "J-1"), ("rework", "ball", "J-1"),
    ]  # fmt: skip
    assert ["seat" in flag["says"] for flag in flags] == [False, True]


def test_positions_without_a_verdict_stay_open():
    four = inspect("PUMP", "ball", 25, 4, position="seat")
    verdicts = (verdict("PUMP 1 / seat 1", "ball", "keep"), verdict("PUMP 1 / seat 3", "ball"))
    assert after([four], *verdicts) == {"ball": (1, 2, 0.5)}


def test_verdicts_touch_their_own_job_alone():
    found = after([SEAT], verdict("PUMP 1 / seat", "ball"), jobs=[job("J-1"), job("J-2")])
    assert found == {"ball": (1, 1, 0.35)}


PAIR = inspect("PUMP", "bumper", 50, 3, position="head", renew_together="b")


def test_one_renewal_renews_its_group():
    """Also a member that was to be kept."""
    verdicts = [verdict("PUMP 1 / head 1", "bumper"), verdict("PUMP 1 / head 2", "bumper", "keep")]
    assert after([PAIR], *verdicts) == {"bumper": (3, 0, 0)}


def pulled_along(*verdicts):
    """The positions that are renewed only because their group is."""
    report = plan(make_shop([PAIR], verdicts=verdicts)).demand.reports["J-1"]
    return [position.where.rpartition(" ")[2] for position in report.with_group]


def test_what_is_renewed_only_with_its_group_is_told_apart():
    """Nobody looked at head 2, head 3 was good; neither is the reason why anything is renewed."""
    torn = verdict("PUMP 1 / head 1", "bumper", found="torn")
    assert pulled_along(torn, verdict("PUMP 1 / head 3", "bumper", "keep")) == ["2", "3"]
    assert pulled_along(torn, verdict("PUMP 1 / head 2", "bumper", with_group=True)) == ["2", "3"]
    worn_itself = verdict("PUMP 1 / head 2", "bumper", found="worn", with_group=True)
    assert pulled_along(torn, worn_itself) == ["3"]
    assert pulled_along(torn, verdict("PUMP 1 / head 2", "bumper", "keep", with_group=False)) == ["3"]
    assert pulled_along(verdict("PUMP 1 / head 1", "bumper", "keep")) == []


def test_a_member_that_is_reworked_or_not_as_listed_stays_out():
    verdicts = [verdict("PUMP 1 / head 1", "bumper"), verdict("PUMP 1 / head 2", "bumper", "rework")]
    verdicts += [verdict("PUMP 1 / head 3", "bumper", "not_as_listed")]
    assert after([PAIR], *verdicts) == {"bumper": (1, 0, 0)}


def test_a_renewal_may_be_kept_from_its_group():
    """The lead overrides: this one alone. The other two stay a group of two: 2 x (1 - 0.25)."""
    assert after([PAIR], verdict("PUMP 1 / head 1", "bumper", with_group=False)) == {"bumper": (1, 2, 1.5)}


def test_a_member_may_be_kept_from_the_renewal():
    verdicts = [verdict("PUMP 1 / head 1", "bumper"), verdict("PUMP 1 / head 2", "bumper", "keep", with_group=False)]
    assert after([PAIR], *verdicts) == {"bumper": (2, 0, 0)}


def test_a_missing_member_renews_its_group():
    """Also the one that was to be kept, unless the lead says that the missing one stands alone."""
    kept = verdict("PUMP 1 / head 2", "bumper", "keep")
    assert after([PAIR], verdict("PUMP 1 / head 1", "bumper", "missing"), kept) == {"bumper": (3, 0, 0)}
    alone = verdict("PUMP 1 / head 1", "bumper", "missing", with_group=False)
    assert after([PAIR], alone) == {"bumper": (1, 2, 1.5)}


def test_what_is_open_of_a_group_after_a_report_falls_together():
    """Three bumpers at 50 % and a cap that nobody has a rate for: each is renewed with 1 - 0.5 ** 3."""
    lines = [SEAT, PAIR, inspect("PUMP", "cap", None, position="rim", renew_together="b")]
    found = after(lines, verdict("PUMP 1 / seat", "ball", "keep"))
    assert found == {"bumper": (0, 3, 3 * 0.875), "cap": (0, 1, 0.875)}


def test_an_open_position_that_nobody_has_a_rate_for_plans_nothing():
    lines = [SEAT, inspect("PUMP", "cap", None, position="rim")]
    assert after(lines, verdict("PUMP 1 / seat", "ball", "keep")) == {"cap": (0, 1, 0)}


def test_a_renewal_reaches_as_far_as_its_group():
    """Over the assembly one head of two; over the section both of one end; over the pump all four, of one pump."""
    reached = {}
    for over in ("assembly", "section", "pump"):
        line = inspect("head", "bumper", 0, position="rim", renew_together="b", renew_together_over=over)
        lines = [opens("PUMP", "end", 2), opens("end", "head", 2), line]
        said = verdict("pump 1 / end 1 / head 1 / rim", "bumper")
        found = after(lines, said, sections=(("end", 2),), jobs=[job(quantity=2)])
        reached[over] = found["bumper"][:2]
    assert reached == {"assembly": (1, 7), "section": (2, 6), "pump": (4, 4)}


def test_one_bad_ball_renews_the_balls_of_both_ends_and_leaves_the_next_pump_open():
    """Two ends of two check valves, one ball bad: four are renewed. The other pump plans 4 (1 - 0.65 ** 4) = 3.286."""
    ball = inspect("check", "ball", 35, position="seat", renew_together="balls", renew_together_over="pump")
    lines = [opens("PUMP", "end", 2), opens("end", "check", 2), ball]
    said = verdict("pump 1 / end 2 / check 1 / seat", "ball")
    sure, still_open, expected = after(lines, said, sections=(("end", 2),), jobs=[job(quantity=2)])["ball"]
    assert (sure, still_open, round(expected, 3)) == (4, 4, 3.286)


# --- learned rates


def rate_after(entered, found_worn, kept, pumps=5, line=None, said="renew", extra=(), **more):
    """Chance of one position after old jobs, of one pump each, in which it was found worn or kept."""
    line = line or inspect("PUMP", "ball", entered, position="seat")
    old = [job(f"old-{number}", march(2), stage="shipped") for number in range(pumps)]
    words = [said] * found_worn + ["keep"] * kept
    verdicts = [
        verdict("PUMP 1 / seat", "ball", word, name=f"old-{number % pumps}", **(more if word == said else {}))
        for number, word in enumerate(words)
    ]
    shop = make_shop([line], jobs=[job(), *old], verdicts=(*verdicts, *extra))
    return demand_of(shop, "ball")["expected"]


def test_five_pumps_teach_and_an_entered_rate_counts_as_ten():
    """(3.5 + 3) / (10 + 5) = 0.4333; without any worn 3.5 / 15 = 0.2333."""
    assert rate_after(35, 3, 2) == pytest.approx(6.5 / 15, abs=1e-6)
    assert rate_after(35, 0, 5) == pytest.approx(3.5 / 15, abs=1e-6)


def test_below_five_pumps_the_entered_rate_stands():
    assert rate_after(35, 4, 0, pumps=4) == 0.35


def test_without_an_entered_rate_five_pumps_are_enough():
    assert rate_after(None, 2, 3) == 0.4
    assert rate_after(None, 2, 2, pumps=4) == 0


def test_without_an_entered_rate_and_without_a_look_nothing_is_known():
    """Five pumps lacked the part: nobody has ever looked at one."""
    assert rate_after(None, 5, 0, said="missing") == 0
    assert rate_after(35, 5, 0, said="missing") == 0.35


def test_pumps_are_counted_and_not_positions():
    """Four balls of one dirty pump are not four observations; here 8 positions of 2 pumps teach nothing."""
    line = inspect("PUMP", "ball", 35, 4, position="seat")
    old = job("old", march(2), stage="shipped", quantity=2)
    verdicts = tuple(
        verdict(f"pump {pump} / PUMP 1 / seat {seat}", "ball", name="old") for pump in (1, 2) for seat in (1, 2, 3, 4)
    )
    assert demand_of(make_shop([line], jobs=[job(), old], verdicts=verdicts), "ball")["expected"] == 1.4
    five = replace(old, quantity=5)
    verdicts = tuple(
        verdict(f"pump {pump} / PUMP 1 / seat {seat}", "ball", "renew" if seat == 1 else "keep", name="old")
        for pump in range(1, 6) for seat in (1, 2, 3, 4)
    )  # fmt: skip
    found = demand_of(make_shop([line], jobs=[job(), five], verdicts=verdicts), "ball")["expected"]
    assert found == pytest.approx(4 * (3.5 + 5) / (10 + 20), abs=1e-6)


def test_what_was_sent_for_rework_was_found_worn():
    assert rate_after(35, 3, 2, said="rework") == pytest.approx(6.5 / 15, abs=1e-6)


@pytest.mark.parametrize("said", ["missing", "not_as_listed"])
def test_what_was_not_there_teaches_nothing_of_wear(said):
    """Three of five pumps were looked at for nothing: (3.5 + 0) / (10 + 2)."""
    assert rate_after(35, 3, 2, said=said) == pytest.approx(3.5 / 12, abs=1e-6)


def dragged(said="renew", **second):
    """Five pumps with two bumpers each; the first is worn, or missing, the second goes along."""
    line = inspect("PUMP", "bumper", 35, 2, position="head", renew_together="b")
    old = job("old", march(2), stage="shipped", quantity=5)
    verdicts = []
    for pump in range(1, 6):
        verdicts.append(verdict(f"pump {pump} / PUMP 1 / head 1", "bumper", said, name="old", found="torn"))
        verdicts.append(verdict(f"pump {pump} / PUMP 1 / head 2", "bumper", name="old", **second))
    found = demand_of(make_shop([line], jobs=[job(), old], verdicts=tuple(verdicts)), "bumper")["expected"]
    chance = 1 - (found / 2)  # both whole: (1 - p) squared
    return 1 - chance**0.5


def test_what_went_along_with_its_group_was_not_found_worn():
    """10 looked at; 5 found and 5 dragged: (3.5 + 5) / 20, and (3.5 + 10) / 20 if each was found worn itself."""
    assert dragged(with_group=True) == pytest.approx(8.5 / 20, abs=1e-6)
    assert dragged(with_group=True, found="torn too") == pytest.approx(13.5 / 20, abs=1e-6)
    assert dragged() == pytest.approx(13.5 / 20, abs=1e-6)


def test_what_went_along_with_a_missing_member_was_not_found_worn():
    """The missing ones were not looked at, so 5 were: (3.5 + 0) / 15, and (3.5 + 5) / 15 if each was worn itself."""
    assert dragged("missing", with_group=True) == pytest.approx(3.5 / 15, abs=1e-6)
    assert dragged("missing", with_group=True, found="torn too") == pytest.approx(8.5 / 15, abs=1e-6)


def test_a_lone_renewal_of_a_group_was_found_worn():
    line = inspect("PUMP", "ball", 35, position="seat", renew_together="b")
    assert rate_after(35, 3, 2, line=line, with_group=True) == pytest.approx(6.5 / 15, abs=1e-6)


def test_a_job_of_today_teaches_as_well():
    """Five jobs of the run were looked at, all worn: (3.5 + 5) / 15 for the sixth."""
    jobs = [job(f"J-{number}") for number in range(1, 7)]
    verdicts = tuple(verdict("PUMP 1 / seat", "ball", name=f"J-{number}") for number in range(1, 6))
    row = demand_of(make_shop([SEAT], jobs=jobs, verdicts=verdicts), "ball")
    assert (row["sure"], row["positions"]) == (5, 1)
    assert row["expected"] == pytest.approx(8.5 / 15, abs=1e-6)


def test_a_line_is_learned_and_not_the_part():
    """The same ball at another place keeps its own rate."""
    lines = [SEAT, inspect("PUMP", "ball", 10, position="guide")]
    old = [job(f"old-{number}", march(2), stage="shipped") for number in range(5)]
    verdicts = tuple(verdict("PUMP 1 / seat", "ball", "keep", name=f"old-{number}") for number in range(5))
    shop = make_shop(lines, jobs=[job(), *old], verdicts=verdicts)
    assert demand_of(shop, "ball")["expected"] == pytest.approx(3.5 / 15 + 0.1, abs=1e-6)

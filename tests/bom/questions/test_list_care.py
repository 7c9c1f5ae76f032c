"""What past rebuilds say of the lists: by hand."""

from dataclasses import replace
from datetime import date

from bom.plan import plan
from bom.questions.bag_check import InBag
from bom.questions.lists.list_care import LEAST_PUMPS, PastRebuild, always_left_over, off_lists, taken_besides
from bom.values import ONE, Item, KitFit
from tests.bom.small_shops import holds, inspect, job, kit, make_shop, opens, renew, verdict

LINES = (
    opens("PUMP", "end", 2),
    renew("end", "ring", 2),
    renew("end", "nut", 4),
    inspect("end", "ball", 35, position="seat"),
    holds("K", "ring", 2),
    holds("K", "ball"),
    holds("K", "tag"),
)
FITS = (KitFit("K", "end"),)
FULL = {"K": 2, "nut": 8}


def past(count=LEAST_PUMPS, *, lines=LINES, verdicts=(), **jobs):
    names = [f"J-{n}" for n in range(1, count + 1)]
    made = tuple(replace(job(name, **jobs), stage="built") for name in names)
    looked = tuple(replace(one, job=name) for name in names for one in verdicts)
    return make_shop(lines, items=(kit(), Item("shim")), fits=FITS, jobs=made, verdicts=looked), names


def seen(shop, used, stand_ins=None):
    rows = [PastRebuild(name, tuple(InBag(part, n * ONE) for part, n in bag.items())) for name, bag in used.items()]
    rows = off_lists(plan(shop).demand.structure, shop, rows, stand_ins or {})
    proposals = (*taken_besides(rows), *always_left_over(rows))
    return [(one.of, one.scope, one.part_number, one.each, one.showing, one.pumps) for one in proposals]


KEPT = tuple(verdict(f"pump 1 / end {n} / seat", "ball", "keep") for n in (1, 2))


def test_a_part_taken_by_more_than_half_is_proposed_with_the_least_that_any_took():
    """Of 5 rebuilds 3 took shims beyond the list: 4, 2 and 2, so 2 each; 3 of 5 is more than half."""
    shop, names = past(verdicts=KEPT)
    taken = dict(zip(names, (4, 2, 2, 0, 0), strict=True))
    used = {name: {**FULL, "shim": count} for name, count in taken.items()}
    assert ("PUMP", "reseal", "shim", 2, 3, 5) in seen(shop, used)


def test_half_is_not_most_and_four_are_too_few():
    shop, names = past(6, verdicts=KEPT)
    used = {name: {**FULL, "shim": place % 2} for place, name in enumerate(names)}
    assert not [row for row in seen(shop, used) if row[2] == "shim"]
    shop, names = past(4, verdicts=KEPT)
    assert not seen(shop, {name: {**FULL, "shim": 1} for name in names})


def test_more_than_listed_counts_like_what_is_not_listed_at_all():
    """10 nuts where the list asks for 8."""
    shop, names = past(verdicts=KEPT)
    assert ("PUMP", "reseal", "nut", 2, 5, 5) in seen(shop, {name: {"K": 2, "nut": 10} for name in names})


def test_a_list_that_was_changed_since_speaks_for_itself():
    shop, names = past(lines=(*LINES, renew("end", "shim")), verdicts=KEPT)
    assert not [row for row in seen(shop, {name: {**FULL, "shim": 2} for name in names}) if row[2] == "shim"]


def test_a_job_of_several_pumps_counts_as_so_many_and_takes_whole_pieces_in_each():
    """5 shims in 2 pumps are 2 in each; 3 such jobs are 6 pumps."""
    shop, names = past(3, verdicts=(), quantity=2)
    used = {name: {"K": 4, "nut": 16, "shim": 5} for name in names}
    assert ("PUMP", "reseal", "shim", 2, 6, 6) in seen(shop, used)


def test_what_stood_in_for_a_missing_part_was_not_taken_besides():
    shop, names = past(verdicts=KEPT)
    used = {name: {"K": 2, "shim": 8} for name in names}
    assert [row for row in seen(shop, used) if row[2] == "shim"]
    assert not [row for row in seen(shop, used, {"shim": frozenset({"nut"})}) if row[2] == "shim"]


def test_what_a_position_without_a_verdict_may_have_taken_is_not_beyond_the_list():
    """Two balls without a word on either seat; a third has no seat. The kit's own balls are spares, not left over."""
    shop, names = past()
    loose = {"ring": 4, "nut": 8}
    assert not seen(shop, {name: {**loose, "ball": 2} for name in names})
    assert seen(shop, {name: {**loose, "ball": 3} for name in names}) == [("PUMP", "reseal", "ball", 1, 5, 5)]
    assert seen(shop, dict.fromkeys(names, FULL)) == [("K", "", "tag", 1, 5, 5)]


def test_a_piece_that_every_kit_left_over_is_proposed():
    """The tag serves nothing; each ball was found good, so the kit's ball came back as well."""
    shop, names = past(verdicts=KEPT)
    assert seen(shop, dict.fromkeys(names, FULL)) == [("K", "", "ball", 1, 5, 5), ("K", "", "tag", 1, 5, 5)]


def test_a_piece_that_one_rebuild_used_is_not():
    """One of the balls was worn once: its kit left none over in that end, and one of two kits is less than one each."""
    shop, names = past(verdicts=KEPT)
    worn = replace(KEPT[0], job="J-3", verdict="renew")
    shop = replace(shop, verdicts=tuple(worn if (v.job, v.where) == ("J-3", worn.where) else v for v in shop.verdicts))
    assert seen(shop, dict.fromkeys(names, FULL)) == [("K", "", "tag", 1, 5, 5)]


def test_only_jobs_that_took_the_kit_speak_of_it():
    shop, names = past(verdicts=KEPT)
    loose = {name: {"ring": 4, "nut": 8} for name in names}
    assert not seen(shop, loose)


def test_a_job_that_the_lists_know_no_more_is_left_out_and_the_others_stay():
    shop, names = past(6, verdicts=KEPT)
    shop = replace(shop, jobs=(replace(shop.jobs[0], scope="gone"), *shop.jobs[1:]))
    assert ("PUMP", "reseal", "shim", 1, 5, 5) in seen(shop, {name: {**FULL, "shim": 1} for name in names})


def test_jobs_are_read_as_if_built_today():
    shop, names = past(verdicts=KEPT, build_on=date(2020, 1, 6))
    assert ("K", "", "tag", 1, 5, 5) in seen(shop, dict.fromkeys(names, FULL))

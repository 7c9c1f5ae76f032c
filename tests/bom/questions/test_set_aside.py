"""What jobs lack and the shelf has all the same: taken from others, never from what may not serve the job."""

from bom.plan import plan
from bom.questions.set_aside import take_from_others
from bom.values import ONE, Issue
from tests.bom.small_shops import job, lot, make_shop, march, renew


def taken(*lots, jobs, issues=(), wanted=("LATE",)):
    found = take_from_others(plan(make_shop([renew("PUMP", "RING", 2)], jobs=jobs, lots=lots, issues=issues)), wanted)
    return [(one.job, one.lot.lot, one.quantity // ONE, one.holders) for one in found]


SOON, LATE = job("SOON", march(12)), job("LATE", march(20))


def test_pieces_that_the_plan_gives_to_an_earlier_job_are_found():
    assert taken(lot("RING", 2), jobs=(SOON, LATE)) == [("LATE", "L", 2, ("SOON",))]


def test_only_what_the_job_lacks_is_taken():
    assert taken(lot("RING", 3), jobs=(SOON, LATE)) == [("LATE", "L", 1, ("SOON",))]


def test_what_may_not_serve_the_job_is_not_taken():
    lots = (lot("RING", 1, "DIES", last_use=march(19)), lot("RING", 1, "ANNA", owner="Anna"), lot("RING", 0, "NONE"))
    assert taken(*lots, jobs=(SOON, LATE)) == []


def test_what_is_set_aside_for_others_stays_theirs():
    issues = (Issue("SOON", "RING", "L", 2 * ONE, "reserved"),)
    assert taken(lot("RING", 2), jobs=(SOON, LATE), issues=issues) == []


def test_jobs_that_are_chosen_take_nothing_from_each_other():
    assert taken(lot("RING", 2), jobs=(SOON, LATE), wanted=("SOON", "LATE")) == []

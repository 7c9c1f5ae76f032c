"""The words for the state of a job: never plainly ready, never buildable on a broken promise."""

from datetime import date

import pytest

from kits.planning.words.states import in_words, plural, state_of_job

AS_OF = date(2026, 3, 4)


def state(**changes):
    usual = {
        "status": "ready", "stage": "here", "to_inspect": 6, "parts_on": date(2026, 3, 18), "days_late": 0,
        "order_by": None, "as_of": AS_OF, "orders_overdue": (),
    }  # fmt: skip
    return state_of_job(**{**usual, **changes})


@pytest.mark.parametrize(
    ("stage", "to_inspect", "says"),
    [
        ("expected", 6, "parts ready, pump not here"),
        ("expected", 0, "parts ready, pump not here"),
        ("here", 1, "ready to strip"),
        ("here", 0, "ready to build"),
        ("stripped", 6, "ready to build, 6 positions still to inspect"),
        ("building", 1, "ready to build, 1 position still to inspect"),
        ("stripped", 0, "ready to build"),
    ],
)
def test_ready_says_for_what(stage, to_inspect, says):
    assert state(stage=stage, to_inspect=to_inspect).says == says


def test_waiting_names_the_day_and_the_promise_it_leans_on():
    assert state(status="waiting").says == "waiting"
    leaning = state(status="waiting", orders_overdue=("PO-1", "PO-2"))
    assert leaning.says == "waiting on a broken promise"
    assert leaning.besides == "parts here on 18 Mar if PO-1 and PO-2 come"


@pytest.mark.parametrize(
    ("days_late", "order_by", "parts_on", "says"),
    [
        (0, date(2026, 3, 9), date(2026, 3, 11), "short, in time if ordered by 9 Mar"),
        (0, AS_OF, date(2026, 3, 11), "short, in time if ordered today"),
        (17, date(2026, 2, 9), date(2026, 4, 17), "short, 17 working days late"),
        (1, date(2026, 2, 9), date(2026, 4, 17), "short, 1 working day late"),
        (None, None, None, "short, no lead time known"),
    ],
)
def test_short_says_whether_an_order_can_still_be_in_time(days_late, order_by, parts_on, says):
    assert state(status="short", days_late=days_late, order_by=order_by, parts_on=parts_on).says == says


def test_late_says_by_how_much():
    assert state(status="late", days_late=4).says == "4 working days late"


def test_counts_and_lists_read_aloud():
    assert plural(1, "batch", "batches") == "1 batch"
    assert in_words(["A", "B", "C"]) == "A, B and C"
    assert in_words(list("ABCDEF")) == "A, B, C, D and 2 more"
    assert in_words([]) == ""

"""Dates: the century, the order of day and month, cure quarters and use-by months."""

from datetime import date, datetime

import pytest

from kits.schedule.models import Job
from kits.stock.models import Lot
from tests.kits.exchange.books import SHOP, check_sheets, load_sheets, only_problem, remarks_of, with_cell

pytestmark = pytest.mark.django_db


def build_on(value):
    return with_cell("Schedule", 2, "build_date", value)


def stored_build_day():
    return Job.objects.get().build_on


@pytest.mark.parametrize(
    "typed",
    [
        datetime(2026, 3, 16),
        "2026-03-16",
        "2026/3/16",
        "16 Mar 2026",
        "16-March-2026",
        "Mar 16, 2026",
        "16.03.2026",
        "16/03/2026",
        "03/16/2026",
    ],
)
def test_a_day_with_one_reading_is_read(typed):
    assert load_sheets(build_on(typed)).stored
    assert stored_build_day() == date(2026, 3, 16)


@pytest.mark.parametrize(
    ("typed", "says", "remedy"),
    [
        ("03/04/2026", "may mean 3 Apr 2026 or 4 Mar 2026", "write 2026-04-03 or 2026-03-04"),
        ("16.03.26", "the year has two digits", "2026-03-04"),
        (datetime(1926, 3, 16), "1926 lies in the wrong century", "if 2026 is meant"),
        ("2126-03-16", "2126 lies in the wrong century", "if 2026 is meant"),
        ("0026-03-16", "26 lies in the wrong century", "2026-03-04"),
        (46097, "a number, not a date", "the day number of 16 Mar 2026"),
        ("2026-02-30", "no such day", "2026-03-04"),
        ("mid March", "cannot be read as a date", "2026-03-04"),
        (True, "it is no date", "2026-03-04"),
    ],
)
def test_a_day_that_is_not_plain_is_refused(typed, says, remedy):
    problem = only_problem(check_sheets(build_on(typed)))
    assert (problem.sheet, problem.row, problem.column) == ("Schedule", 2, "build_date")
    assert says in problem.reason
    assert remedy in problem.remedy


def schedule_of(*days):
    head, job = SHOP["Schedule"][0], SHOP["Schedule"][1]
    return {**SHOP, "Schedule": [head, *[[f"J-{number}", *job[1:3], day, *job[4:]] for number, day in enumerate(days)]]}


def test_a_text_date_among_real_dates_is_refused_for_the_others_may_be_changed_over():
    problem = only_problem(check_sheets(schedule_of(datetime(2026, 4, 3), "16/03/2026", datetime(2026, 5, 4))))
    assert (problem.row, problem.value) == (3, "16/03/2026")
    assert "day and month changed over" in problem.reason


def test_a_column_cannot_have_both_orders():
    problem = only_problem(check_sheets(schedule_of("16/03/2026", "17/03/2026", "03/18/2026")))
    assert (problem.row, problem.value) == (4, "03/18/2026")


def test_how_a_text_date_was_read_is_said():
    assert "read as day, month, year" in remarks_of(check_sheets(build_on("16/03/2026")))
    assert "read as month, day, year" in remarks_of(check_sheets(build_on("03/16/2026")))


@pytest.mark.parametrize(
    ("typed", "starts"),
    [
        ("4Q24", date(2025, 1, 1)),
        ("2024-Q4", date(2025, 1, 1)),
        ("3/94", date(1994, 10, 1)),
        (datetime(2024, 11, 15), date(2024, 11, 15)),
        ("2024-11-15", date(2024, 11, 15)),
    ],
)
def test_a_cure_is_a_quarter_or_a_day(typed, starts):
    assert load_sheets(with_cell("Lots", 2, "cure", typed)).stored
    assert Lot.objects.get(lot="L-1").cure_on == starts


@pytest.mark.parametrize("typed", ["5Q24", "4Q2031", "old", "2027-01-01", "03/04/2024"])
def test_a_cure_that_cannot_be_is_refused(typed):
    assert only_problem(check_sheets(with_cell("Lots", 2, "cure", typed))).column == "cure"


def test_a_use_by_month_means_its_last_day():
    outcome = load_sheets(with_cell("Lots", 2, "last_use", "02/2030"))
    assert Lot.objects.get(lot="L-1").printed_last_use_on == date(2030, 2, 28)
    assert "a month was read as its last day" in remarks_of(outcome)

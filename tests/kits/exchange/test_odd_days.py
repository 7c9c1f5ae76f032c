"""Build days and promises that can hardly be meant are asked about, by whatever way they come; none is lost."""

import io
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from kits.catalog.errors import Refusal
from kits.exchange.actions import keep_upload, load_upload, say_it_is_meant
from kits.exchange.models import UploadState
from kits.exchange.uploads.outcome import outcome_from_json
from kits.purchasing.models import OrderEntry, OrderLine
from kits.schedule.models import Job
from tests.kits.exchange.books import AT, SHOP, book_file, check_sheets, load_sheets, with_cell, with_row
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 4)


def asked(sheets):
    outcome = check_sheets(sheets)
    assert not outcome.problems, [one.says for one in outcome.problems]
    return [one.says for one in outcome.questions]


@pytest.mark.parametrize(
    ("day", "doubt"),
    [
        (date(2025, 3, 16), "the day has passed, for today is 4 Mar 2026"),
        (date(2026, 3, 3), "the day has passed, for today is 4 Mar 2026"),
        (
            date(2026, 3, 15),
            "the shop is closed on Sunday 15 Mar 2026; the working day before it is Friday 13 Mar 2026",
        ),
        (date(2028, 3, 6), "the day lies more than 2 years ahead"),
    ],
)
def test_odd_build_day_is_asked_about(day, doubt):
    (says,) = asked(with_cell("Schedule", 2, "build_date", day))
    assert says == (f'lists.xlsx, Schedule row 2, build_date "{day}": {doubt}: correct it, or say that it is meant.')


@pytest.mark.parametrize("day", [TODAY, date(2026, 3, 5), date(2028, 3, 3)])
def test_day_that_can_be_meant_is_not_asked_about(day):
    assert not asked(with_cell("Schedule", 2, "build_date", day))


def test_closed_days_and_settings_of_the_same_workbook_count():
    closed = {**SHOP, "Holidays": [["date", "name"], [date(2026, 3, 16), "fair"]]}
    (says,) = asked(closed)
    assert "the shop is closed on Monday 16 Mar 2026; the working day before it is Friday 13 Mar 2026" in says
    far = with_cell("Schedule", 2, "build_date", date(2027, 3, 8))
    assert not asked(far)
    (says,) = asked({**far, "Settings": [*SHOP["Settings"], ["years_ahead", 1]]})
    assert "the day lies more than 1 year ahead" in says


@pytest.mark.parametrize("stage", ["tested", "shipped", "held", "cancelled"])
def test_job_of_the_past_is_not_asked_about(stage):
    past = with_cell("Schedule", 2, "build_date", date(2019, 3, 16))
    rows = [[*past["Schedule"][0], "stage"], [*past["Schedule"][1], stage]]
    assert not asked({**past, "Schedule": rows})
    rows[1][-1] = "building"
    assert len(asked({**past, "Schedule": rows})) == 1


def test_a_row_that_stands_here_as_it_is_asks_nothing():
    odd = with_cell("Schedule", 2, "build_date", date(2026, 3, 2))
    assert load_sheets(odd).stored
    assert not asked(odd)
    assert len(asked(with_cell("Schedule", 2, "build_date", date(2026, 3, 3)))) == 1


def test_job_that_asks_for_parts_again_is_asked_about():
    odd = with_cell("Schedule", 2, "build_date", date(2026, 3, 2))
    rows = [[*odd["Schedule"][0], "stage"], [*odd["Schedule"][1], "held"]]
    assert load_sheets({**odd, "Schedule": rows}).stored
    rows[1][-1] = "here"
    assert len(asked({**odd, "Schedule": rows})) == 1


def test_odd_day_of_another_need_is_asked_about():
    needs = [["need", "part_number", "quantity", "need_date"], ["van", "OR-014", 2, date(2025, 4, 10)]]
    (says,) = asked({**SHOP, "OtherNeeds": needs})
    assert 'OtherNeeds row 2, need_date "2025-04-10": the day has passed' in says


@pytest.mark.parametrize(
    ("day", "doubt"),
    [
        (date(2028, 3, 6), "the day lies more than 2 years ahead"),
        (date(2023, 3, 20), "the day lies more than 2 years back"),
    ],
)
def test_absurd_promise_is_asked_about(day, doubt):
    (says,) = asked(with_cell("Orders", 2, "promised", day))
    assert says == (f'lists.xlsx, Orders row 2, promised "{day}": {doubt}: correct it, or say that it is meant.')


def test_broken_promise_is_not_asked_about():
    assert not asked(with_cell("Orders", 2, "promised", date(2026, 1, 2)))


def test_promise_before_its_order_was_placed_is_asked_about(ordered_here):
    (says,) = asked(with_cell("Orders", 2, "promised", date(2026, 3, 3)))
    assert "the order was placed only on 4 Mar 2026" in says
    assert not asked(with_cell("Orders", 2, "promised", date(2026, 3, 4)))


@pytest.fixture
def ordered_here(people):
    assert load_sheets(SHOP).stored
    OrderLine.objects.update(entry=OrderEntry.objects.create(key="k", by=people, at=AT))


@pytest.fixture
def people():
    return person_of("Administrator", "pat")


def test_upload_waits_until_somebody_says_that_it_is_meant(people):
    odd = book_file(with_cell("Schedule", 2, "build_date", date(2026, 3, 15)))
    kept = keep_upload(files=[odd], by=people, at=AT)
    outcome = load_upload(upload=kept, by=people, at=AT)
    assert not outcome.stored
    assert outcome.changes_something, "what it would change is still shown"
    assert kept.state == UploadState.CHECKED
    assert not Job.objects.exists()
    say_it_is_meant(upload=kept, asked=outcome.asked, by=people)
    assert load_upload(upload=kept, by=people, at=AT).stored
    assert Job.objects.get().build_on == date(2026, 3, 15)


def test_yes_to_one_question_is_no_yes_to_another(people):
    """Between the yes and the load somebody closes another day of the list."""
    two = with_row("Schedule", "J-2", "P-1", "full", date(2026, 3, 17), "spring", None)
    two["Schedule"][1] = [*two["Schedule"][1][:3], date(2026, 3, 15), *two["Schedule"][1][4:]]
    kept = keep_upload(files=[book_file(two)], by=people, at=AT)
    seen = load_upload(upload=kept, by=people, at=AT).asked
    say_it_is_meant(upload=kept, asked=seen, by=people)
    assert load_sheets({"Holidays": [["date"], [date(2026, 3, 17)]]}).stored
    outcome = load_upload(upload=kept, by=people, at=AT)
    assert len(outcome.questions) == 2
    assert not outcome.stored
    kept.refresh_from_db()
    with pytest.raises(Refusal, match="Something else is asked about"):
        say_it_is_meant(upload=kept, asked=seen, by=people)


def test_question_that_is_settled_meanwhile_keeps_nothing_waiting(people):
    """The shop opens on that Sunday after somebody has said yes to it."""
    kept = keep_upload(files=[book_file(with_cell("Schedule", 2, "build_date", date(2026, 3, 15)))], by=people, at=AT)
    say_it_is_meant(upload=kept, asked=outcome_from_json(kept.outcome).asked, by=people)
    assert load_sheets({"Settings": [["name", "value"], ["workdays", "Mon Tue Wed Thu Fri Sat Sun"]]}).stored
    assert load_upload(upload=kept, by=people, at=AT).stored


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def odd_list(tmp_path):
    assert load_sheets(SHOP).stored
    path = tmp_path / "schedule.csv"
    path.write_text("job,pump,scope,build_date\nJ-9,P-1,full,2026-03-15\n")
    return str(path)


def load(monkeypatch, *arguments, typed=None):
    monkeypatch.setattr("sys.stdin", Terminal(typed) if typed is not None else io.StringIO())
    out, err = io.StringIO(), io.StringIO()
    call_command("load", *arguments, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_command_asks_at_a_terminal_and_stores_on_a_yes(odd_list, monkeypatch):
    _, said = load(monkeypatch, odd_list, typed="yes\n")
    assert 'Schedule row 2, build_date "2026-03-15": the shop is closed on Sunday' in said
    assert Job.objects.filter(job="J-9").exists()


def test_command_stores_nothing_on_a_no(odd_list, monkeypatch):
    with pytest.raises(CommandError, match="Nothing was stored: put right what was asked"):
        load(monkeypatch, odd_list, typed="no\n")
    assert not Job.objects.filter(job="J-9").exists()


def test_command_stores_nothing_where_the_terminal_is_left(odd_list, monkeypatch):
    with pytest.raises(CommandError, match="Nothing was stored: put right what was asked"):
        load(monkeypatch, odd_list, typed="")
    assert not Job.objects.filter(job="J-9").exists()


@pytest.mark.parametrize("typed", [None, ""])
def test_command_that_nobody_can_answer_stores_and_reports_it(odd_list, monkeypatch, typed):
    """A script loads what it has; what is odd stands in what it prints."""
    said, _ = load(monkeypatch, odd_list, *([] if typed is None else ["--meant"]), typed=typed)
    assert 'Asked: schedule.csv, Schedule row 2, build_date "2026-03-15"' in said
    assert "Schedule: 1 new" in said
    assert Job.objects.filter(job="J-9").exists()

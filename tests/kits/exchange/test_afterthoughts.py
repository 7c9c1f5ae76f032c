"""Once the lists stand together: what is renewed whole here and opened there is asked about, what is idle is listed."""

import io

import pytest
from django.core.management import call_command

from kits.catalog.models import Item
from kits.exchange.actions import keep_upload, load_upload, say_it_is_meant
from kits.exchange.models import UploadState
from kits.exchange.uploads.outcome import outcome_from_json
from tests.kits.exchange.books import AT, SHOP, book_file, check_sheets, load_sheets, make_book
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db

SECOND = ["P-2", "small pump", "pump", "each", None, None, None]
LINES = SHOP["Structure"][0]


def second_pump(at_rebuild, quantity=1):
    return {
        "Items": [SHOP["Items"][0], SECOND],
        "Structure": [LINES, ["P-2", "E-1", quantity, None, at_rebuild, None, "ends"]],
    }


def test_an_assembly_renewed_here_and_opened_there_is_asked_about_with_both_readings(shop):
    (question,) = check_sheets(second_pump("renew", 2)).questions
    assert (question.sheet, question.row, question.column, question.value) == ("Structure", 2, "at_rebuild", "renew")
    assert question.reason == (
        "the scope full of P-1 opens E-1: renewed as a whole, each P-2 buys 2 × E-1; "
        "opened, it would ask for 620 mm × CO-1 and 6 × OR-014 and look at 2 × BA-1"
    )


def test_an_assembly_that_is_opened_in_both_is_no_question(shop):
    assert check_sheets(second_pump("open")).questions == ()


def test_an_assembly_that_no_scope_opens_may_be_renewed_without_a_question(shop):
    sheets = second_pump("renew")
    sheets["Items"].append(["E-2", "other end", "assembly", "each", None, None, None])
    sheets["Structure"] = [
        LINES,
        ["P-2", "E-2", 1, None, "renew", None, "ends"],
        ["E-2", "BA-1", 1, None, "renew", None, ""],
    ]
    assert check_sheets(sheets).questions == ()


def test_what_options_decide_is_said_and_not_counted(shop):
    sheets = second_pump("renew")
    sheets["Structure"] = [
        [*LINES, "option"],
        [*sheets["Structure"][1], None],
        ["E-1", "BA-1", 5, None, "renew", None, "lid", "compound=NBR"],
    ]
    (question,) = check_sheets(sheets).questions
    assert question.reason.endswith(
        "ask for 310 mm × CO-1 and 3 × OR-014 and look at 1 × BA-1, besides what options, days or serials decide"
    )


def test_it_waits_until_somebody_says_that_it_is_meant_and_is_not_asked_again(shop):
    lead = person_of("Service lead")
    upload = keep_upload(files=[book_file(second_pump("renew"))], by=lead, at=AT)
    assert not load_upload(upload=upload, by=lead, at=AT).stored
    (question,) = load_upload(upload=upload, by=lead, at=AT).questions
    say_it_is_meant(upload=upload, asked=load_upload(upload=upload, by=lead, at=AT).asked, by=lead)
    assert load_upload(upload=upload, by=lead, at=AT).stored
    assert upload.state == UploadState.LOADED
    assert question.reason.startswith("the scope full of P-1 opens E-1")
    assert check_sheets(second_pump("renew")).questions == ()


def test_what_of_the_load_no_job_can_ask_for_is_listed_and_nothing_else(shop):
    outcome = check_sheets(second_pump("open"))
    assert [(row.names, row.why) for row in outcome.never_asked] == [(("P-2",), "no scope of rebuild is listed for it")]
    assert load_sheets(second_pump("open")).stored
    assert check_sheets({"Scopes": [*SHOP["Scopes"], ["P-1", "one end", "E-1", 1]]}).never_asked == ()
    assert check_sheets({"Holidays": [["date", "name"], ["2026-12-25", "closed"]]}).never_asked == ()


def test_it_is_kept_with_the_upload(shop):
    upload = keep_upload(files=[book_file(second_pump("open"))], by=None, at=AT)
    upload.refresh_from_db()
    assert outcome_from_json(upload.outcome).never_asked[0].names == ("P-2",)


def test_the_command_says_what_is_asked_and_what_is_idle(shop, tmp_path):
    (tmp_path / "lists.xlsx").write_bytes(make_book(second_pump("renew")))
    out = io.StringIO()
    call_command("load", str(tmp_path / "lists.xlsx"), stdout=out)
    said = out.getvalue()
    assert "Asked: lists.xlsx, Structure row 2, at_rebuild" in said
    assert "Never asked for: P-2, no scope of rebuild is listed for it: make a scope that says what is opened." in said
    assert Item.objects.filter(part_number="P-2").exists()

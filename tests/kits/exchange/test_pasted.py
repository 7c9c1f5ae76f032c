"""Cells pasted from a spreadsheet become a text file of their sheet, and are checked like any upload."""

import pytest

from kits.catalog.errors import Refusal
from kits.exchange.actions import keep_upload
from kits.exchange.columns.catalog_layouts import ITEMS, STRUCTURE
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.files.pasted_text import MOST_SIGNS
from kits.exchange.models import UploadOrigin, UploadState
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.pasted import pasted_file
from kits.exchange.uploads.outcome import outcome_from_json
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of


def text_of(text, sheet=SCHEDULE, given=(), findings=None):
    return pasted_file(text, sheet, dict(given), findings or Findings()).content.decode()


def test_cells_with_their_headings_are_taken_as_they_stand():
    text = "Job\tPump\tScope\tBuild date\r\nJ-1\tP-1\tfull\t2026-03-16\r\n"
    assert text_of(text) == "Job,Pump,Scope,Build date\nJ-1,P-1,full,2026-03-16\n"


def test_cells_without_headings_are_read_in_the_usual_order_and_that_is_said():
    findings = Findings()
    assert text_of("J-1\tP-1\tfull\t2026-03-16\nJ-2\tP-1\tfull\t2026-03-17\t2", findings=findings) == (
        "job,pump,scope,build_date,quantity\nJ-1,P-1,full,2026-03-16,\nJ-2,P-1,full,2026-03-17,2\n"
    )
    assert "read in the order job, pump, scope, build_date, quantity" in findings.remarks[0].says


def test_what_is_given_fills_a_column_that_was_not_pasted():
    assert text_of("child\tquantity\nSE-1\t2", STRUCTURE, {"parent": "E-1"}) == "child,quantity,parent\nSE-1,2,E-1\n"
    assert text_of("parent\tchild\nX\tSE-1", STRUCTURE, {"parent": "E-1"}) == "parent,child\nX,SE-1\n"


@pytest.mark.parametrize("delimiter", [",", ";", "|"])
def test_text_from_elsewhere_is_parted_by_what_it_uses(delimiter):
    text = delimiter.join(("job", "pump", "scope")) + "\n" + delimiter.join(("J-1", "P-1", "full"))
    assert text_of(text) == "job,pump,scope\nJ-1,P-1,full\n"


def test_blank_lines_keep_the_numbers_of_the_rows():
    assert text_of("job\tpump\n\nJ-1\tP-1") == "job,pump\n,\nJ-1,P-1\n"


@pytest.mark.parametrize("text", ["=1+2", "'-5", "'", '"a"'])
def test_a_pasted_text_is_kept_letter_by_letter(text, db):
    upload = keep_upload(
        files=[
            pasted_file(f"part_number\tdescription\tkind\tstock_unit\nX-1\t{text}\tpart\teach", ITEMS, {}, Findings())
        ],
        by=None,
        at=AT,
    )
    (row,) = outcome_from_json(upload.outcome).sheets[0].rows
    assert {change.column: change.after for change in row.changes}["description"] == text.strip('"')


@pytest.mark.parametrize(("text", "says"), [(" \n\t", "Nothing was pasted"), ("x" * (MOST_SIGNS + 1), "save the list")])
def test_nothing_and_too_much_are_refused(text, says):
    with pytest.raises(Refusal, match=says):
        text_of(text)


def test_pasted_rows_are_checked_with_the_sentences_of_an_upload(shop):
    findings = Findings()
    file = pasted_file("J-1\tP-1\tfull\t2026-03-17\nJ-7\tP-7\tfull\t2026-03-16", SCHEDULE, {}, findings)
    keeper = person_of("Administrator", "keeper")
    upload = keep_upload(files=[file], by=keeper, at=AT, origin=UploadOrigin.PASTED, findings=findings)
    kept = outcome_from_json(upload.outcome)
    assert (upload.state, upload.origin) == (UploadState.REFUSED, UploadOrigin.PASTED)
    assert [(one.row, one.column, one.value) for one in kept.problems] == [(3, "pump", "P-7")]
    assert "no headings were pasted" in kept.remarks[0].says

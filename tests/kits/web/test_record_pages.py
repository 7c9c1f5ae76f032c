"""The rebuild record and the history of a serial on pages; from lot to serial and back in one step."""

from datetime import date

import pytest

from kits.picking.actions import confirm_line, start_round
from kits.picking.closing.actions import close_job, record_test
from kits.schedule.models import Job, Verdict
from kits.service.models import Arrival
from kits.stock.models import Lot
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def reader(small_shop, client):
    """The twin pump S-77 was rebuilt a year ago and now, its first ball pitted each time."""
    person = person_of("Service lead", "lead", first_name="Lee")
    client.force_login(person)
    old, job = Job.objects.get(job="J-9"), Job.objects.get(job="J-1")
    Job.objects.filter(pk=old.pk).update(serial="S-77", build_on=date(2025, 1, 10))
    Job.objects.filter(pk=job.pk).update(stage="stripped")
    for one in (old, job):
        ball = one.pump.lines.get(child__part_number="E-1").child.lines.get(child__part_number="CK-1").child.lines.get(
            child__part_number="BA-1"
        ).child  # fmt: skip
        Verdict.objects.create(
            job=one, where="pump 1 / E-1 1 / CK-1 1 / ball", item=ball, verdict="renew", found="pitted"
        )
    for line in start_round(jobs=[job], by=person, at=AT, key="start").lines.all():
        full = {share.bag.job_id: share.asked for share in line.shares.select_related("bag")}
        confirm_line(line=line, quantities=full, by=person, at=AT, request_key=f"pick {line.pk}")
    close_job(job=job, decisions=[], by=person, at=AT, key="close", why="a seat came by hand")
    record_test(job=job, says="10 minutes, no drop", by=person, at=AT, key="test")
    return client


def test_the_record_says_what_was_done_found_used_tested_and_by_whom(reader):
    sheet = sheet_of(reader.get("/records/J-1/"))
    assert "The pump was rebuilt and has passed its test." in sheet
    assert "Full: 2 of 2 liquid end." in sheet
    assert "Ball again, second time in 14 months (E-1 1 / CK-1 1 / ball)." in sheet
    assert "E-1 1 / CK-1 1 / ball BA-1 ball renewed pitted" in sheet
    assert "OR-014 O-ring 014" in sheet
    assert "10 minutes, no drop" in sheet
    assert "The last rebuild against this one J-9 , full, built 10 Jan 2025 : 14 months before." in sheet
    assert "a seat came by hand although" in sheet
    assert "Signed for the shop" in sheet


def test_the_record_says_how_the_pump_came(reader):
    assert "How it came" not in sheet_of(reader.get("/records/J-1/"))
    Arrival.objects.create(
        job=Job.objects.get(job="J-1"),
        serial="S-77",
        fluid="HLP 46",
        flushed_by="Mr Roe",
        flushed_with="fresh oil",
        at=AT,
    )
    sheet = sheet_of(reader.get("/records/J-1/"))
    assert "Plate serial S-77, model not readable Fluid it pumped HLP 46" in sheet
    assert "Flushed by Mr Roe, with fresh oil" in sheet


def test_from_a_lot_to_its_serials_and_back_is_one_step(reader):
    lot = Lot.objects.get(lot="L-1")
    page = reader.get(f"/storeroom/lots/{lot.pk}/")
    assert "Pumps it went into" in sheet_of(page)
    assert b'href="/serials/S-77/"' in page.content
    assert b'href="/records/J-1/"' in page.content
    assert f'href="/storeroom/lots/{lot.pk}/"'.encode() in reader.get("/records/J-1/").content


def test_the_history_of_a_serial_tells_what_comes_back_and_goes_out_as_a_list(reader):
    sheet = sheet_of(reader.get("/serials/S-77/"))
    assert "2 rebuilds of P-1. Ball again, second time in 14 months (E-1 1 / CK-1 1 / ball)." in sheet
    assert "J-1 16 Mar 2026 14 months P-1 full" in sheet
    text = reader.get("/serials/S-77/?export=csv&sort=on").content.decode()
    assert text.splitlines()[1:] == [
        "J-9,2025-01-10,E-1 1 / CK-1 1 / ball,BA-1,renewed,pitted,",
        "J-1,2026-03-16,E-1 1 / CK-1 1 / ball,BA-1,renewed,pitted,",
    ]
    assert "No row holds" in sheet_of(reader.get("/serials/S-77/?find=spring"))


def test_the_parts_of_a_record_go_out_as_a_list(reader):
    text = reader.get("/records/J-1/?export=csv").content.decode()
    assert "1,,OR-014,O-ring 014,2,L-1,4Q24,2039-12-31,," in text


def test_the_job_leads_to_the_history_of_its_serial(reader):
    assert b'href="/serials/S-77/"' in reader.get("/jobs/J-1/").content


def test_a_job_that_is_not_built_yet_shows_what_is_on_record_so_far(reader):
    assert "The pump is expected: this is what is on record so far." in sheet_of(reader.get("/records/J-2/"))

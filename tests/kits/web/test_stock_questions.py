"""What the pages of a pump, a job and a part say of today's shelf, on the small shop by hand and on the demo shop."""

import pytest

from kits.schedule.models import Job
from tests.kits.exchange.books import load_sheets
from tests.kits.web.shops import SMALL, sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def says(small_shop, reader):
    return lambda address: sheet_of(reader.get(address))


def test_pump_counts_what_the_shelf_rebuilds_beside_the_jobs_and_alone(says):
    """Two kits serve one pump, but of its 620 mm of cord only 500 lie here; beside the jobs nothing is left at all."""
    sheet = says("/pumps/P-1/")
    assert "full none none 620 mm × CO-1 , 2 × K-1" in sheet


def test_pump_with_cord_enough_is_limited_by_its_kits(small_shop, reader):
    load_sheets({**SMALL, "Lots": [*SMALL["Lots"], ["CO-1", "C-3", 5000, "A1", "1Q25"]]})
    Job.objects.update(stage="held")
    assert "full 1 1 2 × K-1" in sheet_of(reader.get("/pumps/P-1/"))


def test_job_says_from_when_it_could_be_built(says):
    assert "Could be built from 5 Mar on if its overdue order comes: 7 working days to spare before 16 Mar." in says(
        "/jobs/J-1/"
    )
    assert "No first day of building can be named: a lead time is not known." in says("/jobs/J-2/")
    assert "Could be built" not in says("/jobs/J-9/")


def test_part_says_week_by_week_what_is_needed_coming_and_left(says):
    """500 mm here and 500 overdue in the week of 2 March; 620 needed on 13 March, 620 more on the 23rd."""
    weeks = says("/parts/CO-1/").split("For wear Coming Left Missing ")[1].split(" Who asks")[0]
    assert weeks == "2 Mar 2026 500 mm 1000 mm 9 Mar 2026 620 mm 380 mm 23 Mar 2026 620 mm 240 mm"


def test_kit_that_can_be_packed_is_not_called_missing_in_its_weeks(says):
    weeks = says("/kits/K-1/").split("For wear Coming Left To pack or buy ")[1].split(" Who asks")[0]
    assert weeks == "9 Mar 2026 2 23 Mar 2026 2 2"


def test_part_keeps_wear_apart_in_its_weeks(says):
    assert "Needed, sure For wear Coming Left Missing" in says("/parts/BA-1/")


def test_part_that_nobody_asks_for_has_no_weeks(small_shop, reader):
    Job.objects.update(stage="held")
    assert "Week by week" not in sheet_of(reader.get("/parts/BA-1/"))


def test_demo_pump_says_what_limits_it(demo_shop, reader):
    sheet = sheet_of(reader.get("/pumps/SKARN-144T/"))
    assert "check valves, one end 2 " in sheet
    assert "one end none" in sheet
    assert "1 × BR-112 , 1 × K-E12N" in sheet


def test_demo_job_says_how_late_it_could_be_built(demo_shop, reader):
    assert "Could be built from 25 Mar on: 3 working days after 20 Mar." in sheet_of(reader.get("/jobs/J-3109/"))

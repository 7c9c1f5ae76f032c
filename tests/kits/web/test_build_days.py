"""How many pumps are built a day, against what the benches do: on the schedule, and on a sheet of its own."""

import re
from datetime import date, timedelta

import pytest

from kits.catalog.models import Holiday, Setting
from kits.schedule.models import Job
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def busy(small_shop):
    """Today is Wednesday 4 March; J-1 is 3 pumps on Monday the 16th, J-2 is 1 on Tuesday the 24th."""
    Job.objects.filter(job="J-1").update(quantity=3)
    Setting.objects.create(name="pumps_a_day", value="2")


def rows(answer):
    """What the table says, day by day."""
    table = re.search(r'(?s)aria-label="Pumps built on each day">(.*?)</table>', answer.content.decode())[1]
    cells = [re.findall(r"(?s)<t[dh][^>]*>(.*?)</t[dh]>", row) for row in table.split("<tr>")[2:]]
    return [tuple(" ".join(re.sub(r"<[^>]+>", "", cell).split()) for cell in row) for row in cells]


def test_three_weeks_stand_on_the_schedule_with_what_is_too_full_in_words_and_shape(busy, reader):
    """From Monday 2 to Sunday 22 March one job is built, 3 pumps: 1 more than the benches do. J-2 is later."""
    answer = reader.get("/schedule/")
    assert "3 pumps on 1 day; 1 day over the 2 that the benches do." in sheet_of(answer)
    assert rows(answer) == [("16 Mar 2026", "Mon", "3", "2", "1 over")]
    page = answer.content.decode()
    assert page.count('class="too-full"') == 1
    assert ">1 over</text>" in page
    assert page.count('class="build-week"') == 3


def test_weeks_beyond_the_third_stand_on_a_further_sheet(busy, reader):
    assert 'href="/build-days/">All 4 weeks</a>' in reader.get("/schedule/").content.decode()
    assert [row[0] for row in rows(reader.get("/build-days/"))] == ["16 Mar 2026", "24 Mar 2026"]


def test_closed_days_are_marked_and_a_build_on_one_is_told(busy, reader):
    Holiday.objects.create(date=date(2026, 3, 16), name="works outing")
    answer = reader.get("/schedule/")
    assert "something is built on 1 closed day" in sheet_of(answer)
    assert rows(answer) == [("16 Mar 2026", "Mon", "3", "2", "closed, and something is built")]


def test_without_the_setting_nothing_is_compared_and_the_page_says_which_it_is(small_shop, reader):
    sheet = sheet_of(reader.get("/schedule/"))
    assert "1 pump on 1 day. " in sheet
    Job.objects.update(build_on=date(2026, 2, 27))
    assert re.search(r"No pump; \d pumps? should have been built before\.", sheet_of(reader.get("/schedule/")))
    assert "the setting pumps_a_day does" in sheet
    assert "over the" not in sheet


def test_what_should_have_been_built_before_this_week_is_told(busy, reader):
    Job.objects.filter(job="J-2").update(build_on=date(2026, 2, 27))
    assert "1 pump should have been built before" in sheet_of(reader.get("/schedule/"))


def test_a_year_of_four_hundred_jobs_takes_a_page_for_every_twelve_weeks(busy, reader):
    first = Job.objects.get(job="J-1")
    Job.objects.bulk_create(
        Job(job=f"L-{n:03}", pump=first.pump, scope="full", build_on=date(2026, 3, 9) + timedelta(days=n % 280))
        for n in range(400)
    )
    page = reader.get("/build-days/").content.decode()
    assert page.count('class="build-week"') == 12
    assert "1 to 12 of 41" in " ".join(page.split())
    assert reader.get("/build-days/?page=4").content.decode().count('class="build-week"') == 5

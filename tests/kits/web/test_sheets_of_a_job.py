import re

import pytest

from kits.web.templatetags.jobs import SHEETS, ways
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("page", ["/jobs/J-1/", "/picking/jobs/J-1/close/"])
def test_every_page_of_a_job_leads_to_its_sheets(small_shop, client, page):
    client.force_login(person_of("Service lead"))
    told = client.get(page).content.decode()
    line = re.search(r'aria-label="Sheets of J-1">(.*?)</nav>', told, re.DOTALL)
    assert line, told[:300]
    assert '<a\n  href="/jobs/J-1/" aria-current="page">Job</a>' in line[1]


def test_sections_and_kits_are_a_sheet_of_the_job(small_shop, client):
    client.force_login(person_of("Service lead"))
    assert (
        'href="/sections/J-1/" aria-current="page">Sections and kits</a>'
        in client.get("/sections/J-1/").content.decode()
    )


def test_sheets_without_a_page_are_left_out_and_the_rest_stand_in_the_order_of_the_work():
    shown = [way.word for way in ways("J-1")["ways"]]
    assert shown[0] == "Job"
    assert shown == [word for _, word in SHEETS if word in shown]
    assert all(way.url for way in ways("J-1")["ways"])

import re

import pytest

from kits.people.roles import ROLES
from kits.schedule.models import Job
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
TRAY = "/tray/J-1/"


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_everybody_may_read_a_tray_sheet(small_shop, client, role):
    client.force_login(person_of(role))
    told = sheet_of(client.get(TRAY))
    assert "8 lines not picked yet. 4 positions still to be looked at." in told
    assert "1. E-1 1 / CK-1 1 check valve" in told
    assert "SE-1 × 1 valve seat; seat new" in told
    assert "BA-1 × 1 ball; ball still to be looked at" in told


def test_a_tray_sheet_carries_the_cautions_and_those_of_clean_work_where_it_is_clean(small_shop, reader):
    told = sheet_of(reader.get(TRAY))
    assert "test only behind the shield" in told
    assert "never feel for a leak by hand" in told
    assert "trained people, clean parts, clean place" not in told


def test_a_drawing_is_a_list_with_number_part_and_count(small_shop, reader):
    page = reader.get(TRAY).content.decode()
    drawing = re.search(r'(?s)<ol aria-label="E-1 1">.*?</ol>', page).group()
    assert len(re.findall("<li ", drawing)) == drawing.count("<svg") == 3
    words = " ".join(re.sub("<[^>]+>", " ", drawing).split())
    assert words == ("1 CK-1 × 2 not picked 2 OR-014 × 3 not picked 3 CO-1 × 310 mm")


def test_pumps_of_one_job_have_a_sheet_each(small_shop, reader):
    Job.objects.filter(job="J-1").update(quantity=3)
    assert "Tray of J-1 : pump 1 of 3" in sheet_of(reader.get(TRAY))
    assert "Tray of J-1 : pump 3 of 3" in sheet_of(reader.get(f"{TRAY}?pump=3"))
    for odd in ("0", "-1", "x", "²", "9" * 5000):
        assert "pump 1 of 3" in sheet_of(reader.get(f"{TRAY}?pump={odd}"))


def test_a_job_of_the_past_says_that_it_has_no_tray(small_shop, reader):
    assert "J-9 asks for no parts any more, or opens nothing." in sheet_of(reader.get("/tray/J-9/"))


def test_trays_are_closed_but_for_the_first_and_say_what_is_in_them(small_shop, reader):
    page = reader.get(TRAY).content.decode()
    assert page.count('<details class="one-tray" open>') == 1
    assert page.count('<details class="one-tray"') == page.count('class="block tray"') > 1
    assert "2 parts, 1 not picked, 1 to be looked at" in " ".join(re.sub("<[^>]+>", "", page).split())
    opened = reader.get(f"{TRAY}?all=1").content.decode()
    assert opened.count('<details class="one-tray" open>') == opened.count('class="block tray"')

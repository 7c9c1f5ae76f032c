"""The guides: one for each role, read by everybody, every link of which leads somewhere."""

import re

import pytest

from kits.people.roles import ADMINISTRATOR, PLANNER, PURCHASING, SERVICE_LEAD, STOREROOM_CLERK
from kits.web.views.plan.guide import GUIDES
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db

OWN = {
    STOREROOM_CLERK.name: "clerk",
    PLANNER.name: "planner",
    PURCHASING.name: "purchaser",
    SERVICE_LEAD.name: "lead",
    ADMINISTRATOR.name: "administrator",
}


@pytest.mark.parametrize(("role", "whose"), OWN.items())
def test_today_leads_to_the_guide_of_ones_own_role(small_shop, client, role, whose):
    client.force_login(person_of(role))
    assert 'href="/guide/"' in client.get("/").content.decode()
    assert f'href="/guide/{whose}/"\n    aria-current="page"' in client.get("/guide/").content.decode()


@pytest.mark.parametrize("whose", GUIDES)
def test_every_link_of_a_guide_leads_to_a_page(small_shop, client, whose):
    client.force_login(person_of(ADMINISTRATOR.name))
    answer = client.get(f"/guide/{whose}/")
    assert GUIDES[whose] in sheet_of(answer)
    links = set(re.findall(r'<a href="(/[^"#]*)"', answer.content.decode()))
    told = {link: client.get(link, follow=True).status_code for link in sorted(links)}
    assert told == dict.fromkeys(told, 200)


def test_there_is_no_guide_for_nobody(small_shop, client):
    client.force_login(person_of(PLANNER.name))
    assert client.get("/guide/owner/").status_code == 404

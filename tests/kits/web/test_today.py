"""Today by role: its first sentence answers what that role asks first. On the demo shop, whose story is invented."""

import re
from types import SimpleNamespace

import pytest
from django.contrib.auth.models import Group
from django.test import Client

from kits.planning.sheets.today.answers import clerk_says
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of, text_of

ROLES = {"planner": "Planner", "clerk": "Storeroom clerk", "purchaser": "Purchasing", "lead": "Service lead"}


@pytest.fixture
def says(demo_shop):
    """What the sheet of somebody with these roles says."""

    def say(*roles, address="/"):
        browser, person = Client(), person_of("", "somebody")
        person.groups.set(Group.objects.filter(name__in=roles))
        browser.force_login(person)
        answer = browser.get(address)
        person.delete()
        assert answer.status_code == 200
        return answer

    return say


def sentence(answer):
    return sheet_of(answer).split("Today, 4 Mar 2026 ")[-1]


def test_the_planner_reads_which_pumps_can_be_built_next_week_and_what_helps_most(says):
    """Five jobs are built from 9 to 13 March; J-3103 waits for a cage. PO-7102 alone holds five jobs of the shop."""
    sheet = sheet_of(says("Planner"))
    assert (
        "4 of 5 jobs of next week, 9 Mar to 15 Mar, can be built on their day: J-3101, J-3102, J-3104 and J-3105. "
        "What helps most is PO-7102: call about it, needed by 26 Mar; a new order would be here on 25 Mar if ordered "
        "today; it frees J-3113, J-3114, J-3116, J-3119 and J-3123."
    ) in sheet
    assert "7 jobs are built in the next 10 working days; 5 of them can be on their day." in sheet
    assert "What frees most Over the whole shop, overdue orders included" in sheet
    assert "1 job waits here for parts, 18 more are not here yet" in sheet


def test_the_clerk_reads_what_is_to_be_picked(says):
    sheet = sheet_of(says("Storeroom clerk"))
    assert (
        "6 jobs of the next 10 working days have parts on the shelf that wait to be picked; 4 of them can be picked in "
        "full."
    ) in sheet
    assert "Lots that run out of life" in sheet
    assert "What frees most" not in sheet


def test_the_purchaser_reads_what_to_order_and_whom_to_ring(says):
    """BR-112 is due by 9 March, OR-011-F75X was on 9 February; ten jobs lean on PO-7102."""
    sheet = sheet_of(says("Purchasing"))
    assert (
        "2 parts have to be ordered this week, 1 of them late already; "
        "1 order line is overdue, and 10 jobs depend on it."
    ) in sheet
    assert "Promises that are overdue" in sheet
    assert "What frees most" in sheet
    assert "Next builds" not in sheet


def test_the_lead_reads_which_pumps_to_open(says):
    sheet = sheet_of(says("Service lead"))
    assert (
        "3 pumps that are here are to be opened by 11 Mar; 1 open pump can be built; 3 pumps to be opened by 11 Mar "
        "are not here yet."
    ) in sheet
    assert "Open pumps" in sheet
    assert "J-3101 H4-0117 SKARN-64T, full reseal North Basin Ferries stripped" in sheet


def links(answer):
    return re.findall(r'href="\?for=(\w+)"', answer.content.decode())


@pytest.mark.parametrize("role", ROLES.values())
def test_whoever_has_one_role_reads_its_sheet_and_has_nothing_to_choose(says, role):
    answer = says(role, address="/?for=lead")
    assert links(answer) == []
    (own,) = [whose for whose, name in ROLES.items() if name == role]
    assert text_of(says(role, address=f"/?for={own}")) == text_of(answer)


def test_whoever_has_several_roles_chooses_between_theirs(says):
    both = ("Service lead", "Purchasing")
    assert links(says(*both)) == ["purchaser", "lead"]
    assert "have to be ordered this week" in text_of(says(*both))
    assert "to be opened by" in text_of(says(*both, address="/?for=lead"))
    assert "have to be ordered this week" in text_of(says(*both, address="/?for=clerk"))


def test_an_administrator_chooses_between_all(says):
    assert links(says("Administrator")) == ["planner", "clerk", "purchaser", "lead"]
    assert "wait to be picked" in text_of(says("Administrator", address="/?for=clerk"))


def test_whoever_has_no_role_reads_the_planners(says):
    answer = says()
    assert links(answer) == []
    assert "of next week" in text_of(answer)


def test_what_frees_most_is_a_list_that_can_be_taken_away(says):
    rows = says("Planner", address="/freeing/?export=csv").content.decode("utf-8-sig").splitlines()
    assert rows[0] == "Part or order,What to do,Frees,Jobs,Still in time,Price"
    assert rows[1].startswith("PO-7102,")
    assert len(rows) == 11


def test_one_job_is_spoken_of_as_one():
    ready, short = SimpleNamespace(status="ready"), SimpleNamespace(status="short")
    one = "1 job of the next 10 working days has parts on the shelf that wait to be picked; it"
    assert clerk_says([ready]) == f"{one} can be picked in full."
    assert clerk_says([short]) == f"{one} cannot be picked in full."

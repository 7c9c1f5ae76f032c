"""The table of what each role may do says what the pages ask for, all of it and nothing else."""

import re

import pytest
from django.contrib.auth.models import Group, Permission

from kits.people.deeds import DEEDS, deeds_of, role_names
from kits.people.models import User
from kits.people.roles import ROLES
from tests.architecture.source import TOP
from tests.kits.persons import person_of

LISTED = {right for _, deeds in DEEDS for _, right in deeds}
ASKED = re.compile(
    r'"((?:catalog|schedule|service|stock|purchasing|planning|picking|people|exchange)\.(?:add|change|delete|view)_\w+)"'
)
SEEN_BY_ALL = {"people.view_user"}
"""Goes with looking after people."""


def rights_asked_for():
    sources = [path.read_text(encoding="utf-8") for path in (TOP / "kits").rglob("*.py") if path.name != "deeds.py"]
    return {right for source in sources for right in ASKED.findall(source)}


def test_every_right_that_a_page_asks_for_stands_in_the_table():
    assert rights_asked_for() - LISTED - SEEN_BY_ALL == set()


@pytest.mark.django_db
def test_every_right_in_the_table_is_one():
    known = {f"{label}.{code}" for label, code in Permission.objects.values_list("content_type__app_label", "codename")}
    assert known >= LISTED


@pytest.mark.django_db
def test_the_table_says_of_each_role_what_somebody_of_it_is_told():
    roles = role_names()
    assert roles == [role.name for role in ROLES]
    people = [User.objects.get(pk=person_of(name, f"one-{place}").pk) for place, name in enumerate(roles)]
    for deed in deeds_of(roles):
        assert deed.roles == tuple(person.has_perm(deed.right) for person in people), deed.says


@pytest.mark.django_db
def test_a_role_of_the_shops_own_has_its_column():
    group = Group.objects.create(name="Apprentice")
    group.permissions.add(Permission.objects.get(codename="add_posting"))
    roles = role_names()
    assert roles[-1] == "Apprentice"
    held = {deed.right for deed in deeds_of(roles) if deed.roles[-1]}
    assert held == {"stock.add_posting"}


@pytest.mark.django_db
def test_the_table_takes_two_statements(django_assert_num_queries):
    with django_assert_num_queries(2):
        deeds_of(role_names())

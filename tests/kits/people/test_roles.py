"""The six roles and what they may do."""

import pytest
from django.contrib.auth.models import Group

from kits.people.models import User
from kits.people.roles import (
    ADMINISTRATOR,
    CLEAN_WORK,
    PLANNER,
    ROLES,
    SERVICE_LEAD,
    SHOP_APPS,
    STOREROOM_CLERK,
    TRAININGS,
    VIEWER,
    grant_roles,
)

pytestmark = pytest.mark.django_db


def permissions_of(role):
    return {
        f"{label}.{codename}"
        for label, codename in Group.objects.get(name=role.name).permissions.values_list(
            "content_type__app_label", "codename"
        )
    }


def test_every_role_is_there_from_the_first_migration():
    assert set(Group.objects.values_list("name", flat=True)) == {role.name for role in (*ROLES, *TRAININGS)}


def test_everybody_may_see_every_list_of_the_shop():
    from django.contrib.auth.models import Permission

    to_see = {
        f"{label}.{codename}"
        for label, codename in Permission.objects.filter(
            content_type__app_label__in=SHOP_APPS, codename__startswith="view_"
        ).values_list("content_type__app_label", "codename")
    }
    assert to_see
    for role in ROLES:
        assert to_see <= permissions_of(role), role.name


def test_roles_change_only_what_they_work_in():
    for role in ROLES:
        changed = {name for name in permissions_of(role) if ".view_" not in name and not name.startswith("exchange.")}
        also = {table.replace(".", f".{verb}_") for table in role.also for verb in ("add", "change", "delete")}
        assert {name.split(".")[0] for name in changed - also} <= role.works_in, role.name
        assert also <= changed, role.name


def test_a_viewer_sees_every_list_and_has_no_other_right():
    verbs = {name.split(".")[1].split("_")[0] for name in permissions_of(VIEWER)}
    assert verbs == {"view"}
    assert not {name for name in permissions_of(VIEWER) if name.split(".")[0] not in SHOP_APPS}


def test_settings_are_the_administrators_in_the_back_office_too():
    may = {role.name for role in ROLES if "catalog.change_setting" in permissions_of(role)}
    assert may == {ADMINISTRATOR.name}
    assert "catalog.change_holiday" in permissions_of(PLANNER)
    assert "catalog.change_holiday" not in permissions_of(SERVICE_LEAD)
    assert "catalog.change_item" in permissions_of(SERVICE_LEAD)


def test_what_is_given_to_a_role_by_hand_goes_with_the_next_migration():
    from django.contrib.auth.models import Permission

    clerks = Group.objects.get(name=STOREROOM_CLERK.name)
    clerks.permissions.add(Permission.objects.get(codename="change_item", content_type__app_label="catalog"))
    grant_roles()
    assert "catalog.change_item" not in permissions_of(STOREROOM_CLERK)


def test_clerk_signs_in_as_a_group_and_may_not_touch_the_catalog():
    clerk = User.objects.create_user("clerk")
    clerk.groups.add(Group.objects.get(name=STOREROOM_CLERK.name))
    assert clerk.has_perm("catalog.view_item")
    assert not clerk.has_perm("catalog.change_item")


def test_those_who_stand_at_the_bins_or_the_bench_may_pick_and_close():
    assert "Service lead" in {role.name for role in ROLES if "picking.change_pickline" in permissions_of(role)}
    assert "Purchasing" not in {role.name for role in ROLES if "picking.change_pickline" in permissions_of(role)}


def test_clean_work_goes_with_a_training_and_with_no_role():
    assert [role.name for role in ROLES if "picking.pick_clean" in permissions_of(role)] == [ADMINISTRATOR.name]
    assert "picking.pick_clean" in permissions_of(CLEAN_WORK)
    clerk = User.objects.create_user("clerk")
    clerk.groups.set(Group.objects.filter(name__in=[STOREROOM_CLERK.name]))
    assert not clerk.has_perm("picking.pick_clean")
    clerk.groups.add(Group.objects.get(name=CLEAN_WORK.name))
    assert User.objects.get(pk=clerk.pk).has_perm("picking.pick_clean")
    assert permissions_of(CLEAN_WORK) == {"picking.pick_clean"}, "a training says nothing of what else somebody does"


def test_only_the_administrator_changes_people():
    assert [role.name for role in ROLES if "people.change_user" in permissions_of(role)] == [ADMINISTRATOR.name]


def test_granting_again_changes_nothing(django_assert_num_queries):
    before = permissions_of(PLANNER)
    with django_assert_num_queries(3):
        grant_roles()
    assert permissions_of(PLANNER) == before


@pytest.mark.django_db(transaction=True)
def test_roles_outlive_the_emptying_of_the_tables():
    from django.core.management import call_command

    call_command("flush", interactive=False, verbosity=0)
    assert Group.objects.count() == len(ROLES) + len(TRAININGS)
    assert "schedule.change_job" in permissions_of(PLANNER)

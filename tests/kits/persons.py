"""People of a shop, by their role."""

from django.contrib.auth.models import Group

from kits.people.models import User
from tests.kits.kept_rows import step_once


def person_of(role, name="", **facts):
    """Somebody who signs in, with a role such as ``Planner``, or with none."""

    def make():
        person = User.objects.create_user(name or (role.split()[-1].lower() if role else "nobody"), **facts)
        if role:
            person.groups.add(Group.objects.get(name=role))
        return person

    return step_once(("person", role, name, *facts.items()), make)

"""The five roles of a shop, each a group that may see everything and work in some parts of the product."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig
from django.contrib.auth.models import Group, Permission


@dataclass(frozen=True, slots=True)
class Role:
    """A role: its name as people read it, and the apps in which it may do everything."""

    name: str
    works_in: frozenset[str]


STOREROOM_CLERK = Role("Storeroom clerk", frozenset({"stock", "picking"}))
PLANNER = Role("Planner", frozenset({"schedule", "planning", "picking", "exchange"}))
PURCHASING = Role("Purchasing", frozenset({"purchasing", "exchange"}))
SERVICE_LEAD = Role("Service lead", frozenset({"schedule", "catalog", "picking", "exchange"}))
ADMINISTRATOR = Role(
    "Administrator",
    frozenset(
        {"people", "auth", "axes", "catalog", "schedule", "stock", "purchasing", "planning", "picking", "exchange"}
    ),
)
ROLES = (STOREROOM_CLERK, PLANNER, PURCHASING, SERVICE_LEAD, ADMINISTRATOR)
SHOP_APPS = frozenset({"catalog", "schedule", "stock", "purchasing", "planning", "picking", "exchange"})


def grant_roles(sender: AppConfig, using: str = "default", **kwargs: Any) -> None:
    """Give every role its permissions of one app, after the tables of that app have been made or emptied.

    A permission that is taken from a group by hand stays taken only until the next migration: the roles are written
    here, and a shop that wants another cut makes a group of its own.
    """
    label = sender.label
    if label not in SHOP_APPS | ADMINISTRATOR.works_in:
        return
    of_app = Permission.objects.using(using).filter(content_type__app_label=label)
    to_see = of_app.filter(codename__startswith="view_")
    for role in ROLES:
        group, _ = Group.objects.using(using).get_or_create(name=role.name)
        if label in role.works_in:
            group.permissions.add(*of_app)
        elif label in SHOP_APPS:
            group.permissions.add(*to_see)

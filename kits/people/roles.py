"""The six roles of a shop, each a group: who may see, who may change what, and who may bring in which list.

``ROLES`` is the one table of rights. The permissions of the groups, the pages that say who may do what and who loads a
sheet, and the refusals are made from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import Group, Permission
from django.db.models import Prefetch

SHOP_APPS = frozenset({"catalog", "schedule", "service", "stock", "purchasing", "planning", "picking", "exchange"})
UPLOADING = "exchange"
"""The app whose permissions are given one by one: to bring in lists at all, and each list by itself."""
PICK_CLEAN = "pick_clean"
TRAINED = frozenset({PICK_CLEAN})
"""The permissions that go with a training and not with a role."""


@dataclass(frozen=True, slots=True)
class Role:
    """A role: its name, how a sentence names it, the apps in which it may do everything, the sheets that it may load.

    ``also`` are tables of other apps that it keeps by hand, ``others`` those of its own apps that others keep,
    ``trained`` what only people with a training may do. A training sees nothing by itself: it stands beside a role.
    """

    name: str
    named: str
    works_in: frozenset[str]
    loads: tuple[str, ...]
    also: frozenset[str] = frozenset()
    others: frozenset[str] = frozenset()
    trained: frozenset[str] = frozenset()
    is_training: bool = False

    def may_do(self, permission: Permission) -> bool:
        """Say whether a permission belongs to the role."""
        label, table, codename = (*permission.content_type.natural_key(), permission.codename)
        if codename in TRAINED or self.is_training:
            return codename in self.trained
        if codename.startswith("view_") and label in SHOP_APPS:
            return True
        if label == UPLOADING and self is not ADMINISTRATOR:
            return bool(self.loads) and codename in {"add_upload", *map(codename_of, self.loads)}
        name = f"{label}.{table}"
        return name in self.also or (label in self.works_in and name not in self.others)


STOREROOM_CLERK = Role(
    "Storeroom clerk",
    "a storeroom clerk",
    frozenset({"stock", "picking"}),
    loads=("Places", "Lots", "KitContents", "Issued"),
    also=frozenset({"purchasing.outsidework"}),
    others=frozenset({"stock.concession", "picking.sentjob"}),
)
PLANNER = Role(
    "Planner",
    "a planner",
    frozenset({"schedule", "planning", "picking"}),
    loads=("Holidays", "Schedule", "OtherNeeds", "Verdicts"),
    also=frozenset({"catalog.holiday", "service.photo"}),
)
PURCHASING = Role("Purchasing", "purchasing", frozenset({"purchasing"}), loads=("Suppliers", "Offers", "Orders"))
SERVICE_LEAD = Role(
    "Service lead",
    "a service lead",
    frozenset({"schedule", "service", "catalog", "picking"}),
    loads=(
        *("Items", "Structure", "Scopes", "KitFits", "FindingRules", "Substitutes"),
        *("Schedule", "Verdicts", "Findings"),
    ),
    also=frozenset({"stock.concession"}),
    others=frozenset({"catalog.setting", "catalog.holiday"}),
)
ADMINISTRATOR = Role(
    "Administrator",
    "an administrator",
    SHOP_APPS | {"people", "auth", "axes"},
    loads=(
        "Settings",
        *dict.fromkeys((*PLANNER.loads, *STOREROOM_CLERK.loads, *PURCHASING.loads, *SERVICE_LEAD.loads)),
    ),
    trained=TRAINED,
)
VIEWER = Role("Viewer", "a viewer", frozenset(), loads=())
"""Reads everything and changes nothing: an auditor, the front office, a screen on the wall."""
ROLES = (STOREROOM_CLERK, PLANNER, PURCHASING, SERVICE_LEAD, ADMINISTRATOR, VIEWER)
CLEAN_WORK = Role(
    "Clean work",
    "somebody trained for clean work",
    frozenset(),
    loads=(),
    trained=frozenset({PICK_CLEAN}),
    is_training=True,
)
TRAININGS = (CLEAN_WORK,)
"""Groups that stand beside a role: the administrator puts into them who was trained."""


def codename_of(sheet: str) -> str:
    """Return the permission to load a sheet, inside its app."""
    return f"load_{sheet.lower()}"


def load_permissions() -> tuple[tuple[str, str], ...]:
    """Return the permissions to load sheets, one for each, as a table declares them."""
    return tuple((codename_of(sheet), f"Can load the sheet {sheet}") for sheet in ADMINISTRATOR.loads)


def roles_that_load(sheet: str) -> tuple[Role, ...]:
    """Return the roles that may load a sheet."""
    return tuple(role for role in ROLES if sheet in role.loads)


def grant_roles(*, using: str = "default", **kwargs: Any) -> None:
    """Give every role its permissions, after the tables of all apps have been made or emptied.

    A permission that is given to one of these groups or taken from it by hand stays so only until the next migration:
    the roles are written here, and a shop that wants another cut makes a group of its own.
    """
    of_apps = Permission.objects.using(using).filter(content_type__app_label__in=ADMINISTRATOR.works_in)
    permissions = list(of_apps.select_related("content_type"))
    groups = {
        group.name: group for group in Group.objects.using(using).prefetch_related(Prefetch("permissions", of_apps))
    }
    for role in (*ROLES, *TRAININGS):
        group = groups.get(role.name) or Group.objects.using(using).create(name=role.name)
        held, own = set(group.permissions.all()), {one for one in permissions if role.may_do(one)}
        if own - held:
            group.permissions.add(*own - held)
        if held - own:
            group.permissions.remove(*held - own)

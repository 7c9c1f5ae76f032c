"""Whose sheet of today is whose."""

from __future__ import annotations

from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, PLANNER, PURCHASING, SERVICE_LEAD, STOREROOM_CLERK, VIEWER

WHOSE = {
    "planner": ("Planner", PLANNER.name),
    "clerk": ("Storeroom", STOREROOM_CLERK.name),
    "purchaser": ("Purchasing", PURCHASING.name),
    "lead": ("Service lead", SERVICE_LEAD.name),
}


def whose_todays(person: User) -> list[str]:
    """Whose sheets of today somebody may choose between: their role's, all for an administrator or viewer."""
    names = set(person.groups.values_list("name", flat=True))
    everything = person.is_superuser or bool({ADMINISTRATOR.name, VIEWER.name} & names)
    return [whose for whose, (_, role) in WHOSE.items() if everything or role in names]

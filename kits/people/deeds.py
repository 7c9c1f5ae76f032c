"""What people do on the pages, each with the right that the page asks for, and who of the roles has it.

The answer is read from the rights of the roles, where the pages read it, so that the table cannot say anything else
than they do. ``tests/kits/people/test_deeds.py`` finds every right that a page asks for, and looks for it here.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.models import Group

from kits.people.roles import ADMINISTRATOR, PICK_CLEAN, ROLES, TRAININGS, UPLOADING, codename_of

DEEDS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Plan",
        (
            ("See every sheet of the plan, the shelf, the orders", "catalog.view_item"),
            ("Take a job on: its stages, its serial, its test, its shipment", "schedule.change_job"),
            ("Close the shop on a day, or open it", "catalog.change_holiday"),
            ("Keep what the plan answers", "planning.add_keptanswers"),
            ("Send a job to the storeroom", "picking.add_sentjob"),
            ("Take a job back from the storeroom", "picking.change_sentjob"),
        ),
    ),
    (
        "At the bench",
        (
            ("Write how a pump came", "service.change_arrival"),
            ("Add photos", "service.add_photo"),
            ("Remove photos", "service.change_photo"),
            ("Write the strip report", "schedule.change_verdict"),
            ("Name a finding", "schedule.add_finding"),
            ("Take a finding back", "schedule.delete_finding"),
            ("Sign for an open point before a pump is opened", "service.add_waiver"),
            ("Let a job keep a suspect lot", "stock.add_concession"),
            ("Quote, and take the customer's word", "service.add_quote"),
            ("Say how long work takes", "service.change_workhours"),
            ("Set test limits", "service.change_pumplimit"),
            ("Enter gauges", "service.change_gauge"),
            ("Say what a fluid forbids", "service.change_fluidrule"),
            ("Say what to open for which sign", "service.change_signrule"),
            ("Say what a kit fits", "catalog.change_kitfit"),
            ("Say what a scope opens", "catalog.change_scopesection"),
            ("Change a list from a day or a serial on", "catalog.change_structureline"),
        ),
    ),
    (
        "Storeroom",
        (
            ("See the rounds", "picking.view_pickround"),
            ("Pick, and close the parts of a job", "picking.change_pickline"),
            ("Pick for clean work (a training)", f"picking.{PICK_CLEAN}"),
            ("Receive, put away, count, scrap, pack and open kits", "stock.add_posting"),
            ("Attach certificates", "stock.add_certificate"),
            ("Freeze a suspect lot, and lift that", "stock.add_suspicion"),
        ),
    ),
    (
        "Purchasing",
        (
            ("Ask suppliers", "purchasing.add_pricerequest"),
            ("Order, and decide on replies", "purchasing.add_orderline"),
            ("Write a new promise", "purchasing.change_orderline"),
            ("Say what other money is worth", "purchasing.add_exchangerate"),
            ("Send work outside", "purchasing.add_outsidework"),
            ("Take work back that was outside", "purchasing.change_outsidework"),
            ("Mark what is no longer made", "purchasing.add_endofmaking"),
            ("Take back that something is no longer made", "purchasing.change_endofmaking"),
        ),
    ),
    (
        "Lists",
        (
            ("Bring in a list at all", f"{UPLOADING}.add_upload"),
            *((f"Load {sheet}", f"{UPLOADING}.{codename_of(sheet)}") for sheet in ADMINISTRATOR.loads),
        ),
    ),
    (
        "The site",
        (
            ("Change the settings of the shop", "catalog.change_setting"),
            ("See who changed what in the shop's lists", "catalog.change_item"),
            ("See who changed what among the people", "people.view_peoplechange"),
            ("Look after people", "people.change_user"),
        ),
    ),
)
"""By place of work: what is done, and the right for it."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that people do, and for each of the roles whether it is theirs."""

    place: str
    says: str
    right: str
    roles: tuple[bool, ...]


def role_names() -> list[str]:
    """The roles in the order of the table: those of the product, then those that the shop made."""
    own = [role.name for role in ROLES]
    others = {role.name for role in TRAININGS} | set(own)
    return own + list(Group.objects.exclude(name__in=others).order_by("name").values_list("name", flat=True))


def deeds_of(roles: list[str]) -> list[Deed]:
    """Everything that is done on pages, and which of the roles may do it; two statements."""
    held: dict[str, set[str]] = {name: set() for name in roles}
    rows = Group.objects.filter(name__in=roles).values_list(
        "name", "permissions__content_type__app_label", "permissions__codename"
    )
    for name, label, codename in rows:
        held[name].add(f"{label}.{codename}")
    return [
        Deed(place, says, right, tuple(right in held[name] for name in roles))
        for place, deeds in DEEDS
        for says, right in deeds
    ]

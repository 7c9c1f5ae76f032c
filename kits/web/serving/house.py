"""What stands at the top of every page besides the doors: whether this is the demo, whether its day stands still."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings, settings_read_once
from kits.demo.shop import SHOP_NAME
from kits.people.models import User

LOOKS_AFTER_PEOPLE = "people.change_user"


@dataclass(frozen=True, slots=True)
class House:
    """What a page says of the house. ``fixed`` is the day at which the records stand still, None on the calendar."""

    is_demo: bool
    fixed: date | None
    looks_after_people: bool


READS = ("GET", "HEAD")


class KnowTheHouse:
    """Reads the facts before the view works, for nothing is read while a page is drawn; at most three statements.

    Whatever only reads asks for the settings once.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        with settings_read_once() if request.method in READS else nullcontext():
            return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        """Read what the page will say, unless it is only a part of one, or wants to know nothing of the shop."""
        if getattr(view, "knows_no_house", False) or getattr(request, "htmx", False):
            return
        request.house = house_of(request.user)  # type: ignore[attr-defined]


def house_of(person: Any) -> House:
    """The facts for somebody; a setting that cannot be read is told where it is used."""
    settings = read_settings()
    try:
        fixed = settings.today
    except Refusal:
        fixed = None
    keeps = isinstance(person, User) and person.is_staff and person.has_perm(LOOKS_AFTER_PEOPLE)
    return House(settings.text("shop_name") == SHOP_NAME, fixed, keeps)

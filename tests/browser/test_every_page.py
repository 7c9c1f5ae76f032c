"""Every page there is, looked at once: in each set of colours, at each width, by whoever may do most on it.

The addresses are those of ``doors``, so that whoever adds a page has it looked at.
"""

import pytest
from django.urls import reverse

from kits.exchange import upload_workers
from kits.web import request_keys
from tests.browser.conftest import sit_down
from tests.browser.looks import faults_of, is_a_page
from tests.kits.web.doors import DOORS
from tests.kits.web.shop_with_all import ShopWithAll

FIRST = ("administrator", "lead", "planner", "clerk", "purchaser")
IN_GLOVES = ("/storeroom/", "/picking/")
AT_LEAST = 120


@pytest.fixture
def shop(transactional_db, monkeypatch):
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 0)
    monkeypatch.setattr(upload_workers, "_start", lambda upload, work: None)
    return ShopWithAll()


class Desks:
    """A page of each role, signed in; ``told`` is what they said, and what they asked of other machines."""

    def __init__(self, browser, shop, address):
        self._browser, self._shop, self._address = browser, shop, address
        self._pages, self.told = {}, []

    def of(self, role):
        if role not in self._pages:
            self._pages[role] = self._sit_down(role)
        return self._pages[role]

    def _sit_down(self, role):
        context = self._browser.new_context(locale="en-GB")
        page = context.new_page()
        if role:
            sit_down(page, self._address, self._shop.people[role])
        page.on("console", lambda message: self.told.append(message.text))
        page.on("pageerror", lambda error: self.told.append(str(error)))
        page.on("request", self._note)
        return page

    def _note(self, request):
        if not request.url.startswith((self._address, "data:", "blob:")):
            self.told.append(f"another machine is asked for {request.url}")

    def leave(self):
        for page in self._pages.values():
            page.context.close()


@pytest.fixture
def desks(browser, shop, live_server):
    found = Desks(browser, shop, live_server.url)
    yield found
    found.leave()


def addresses_of(shop):
    """Whatever can be looked at, and who looks."""
    for name, door in DOORS.items():
        if door.see:
            yield next(one for one in FIRST if one in door.see.split()), reverse(name, args=door.own(shop)) + door.query
    yield "", reverse("sign_in")


def test_every_page_is_sound_in_every_set_of_colours_and_at_every_width(shop, desks, live_server):
    wrong, seen = [], 0
    for role, address in addresses_of(shop):
        if is_a_page(desks.of(role), f"{live_server.url}{address}"):
            seen += 1
            faults = faults_of(desks.of(role), in_gloves=address.startswith(IN_GLOVES))
            wrong += [f"{address}: {one}" for one in [*faults, *desks.told]]
        desks.told.clear()
    assert wrong == [], "\n".join(wrong)
    assert seen >= AT_LEAST

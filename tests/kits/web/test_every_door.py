"""Every address, asked by every role, in every way, for what is there, for what belongs elsewhere and for nothing.

Each is asked from another site as well, and looked at with a script in every text.

The addresses come from the list of addresses itself: whoever adds one says in ``doors`` who may see and who may do it.
"""

import re

import pytest
from django.test import Client
from django.urls import reverse

from kits.exchange import upload_workers
from kits.web import request_keys
from kits.web.addresses.urls import urlpatterns
from tests.keeping import keeping_plans, taken_back
from tests.kits.web.doors import DOORS, NONE, OPEN
from tests.kits.web.scripts import AS_TEXT, RAW, write_scripts
from tests.kits.web.shop_with_all import ShopWithAll
from tests.kits.web.who_asks import noting_who_asks


def test_every_address_is_in_the_table_with_something_that_is_there_and_something_that_is_not():
    assert {pattern.name for pattern in urlpatterns} == DOORS.keys() | OPEN
    takes = {pattern.name for pattern in urlpatterns if pattern.pattern.converters} - OPEN
    assert {name for name, door in DOORS.items() if door.none} == takes


@pytest.fixture(scope="module")
def shop(django_db_setup, django_db_blocker):
    """The shop with one of everything, made once and taken back afterwards."""
    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(request_keys, "SHOWN_SECONDS", 0)
        patch.setattr(upload_workers, "_start", lambda upload, work: None)
        with taken_back(), keeping_plans():
            yield ShopWithAll()


@pytest.fixture(scope="module")
def browsers(shop):
    found = {"": Client(raise_request_exception=False)}
    for name, person in shop.people.items():
        found[name] = Client(raise_request_exception=False)
        found[name].force_login(person)
    return found


@pytest.fixture(scope="module")
def who_asks(shop, browsers):
    with noting_who_asks(shop.people, browsers) as notes:
        yield notes


def answers(door, shop, browsers, who_asks, name):
    """Who asked in which way for which of them, with the status of the answer."""
    for which, arguments in (
        ("own", door.own(shop)),
        ("foreign", door.foreign(shop) if door.foreign else None),
        ("missing", door.none or None),
    ):
        if arguments is None:
            continue
        address, asked = reverse(name, args=arguments) + door.query, []
        for role, browser in browsers.items():
            cookies = browser.cookies.copy()
            for method in ways(door, role):
                answer = who_asks.found_alike(role, method, asked)
                if answer is None:
                    who_asks.forget()
                    with taken_back():
                        answer = getattr(browser, method)(address)
                    asked.append((method, who_asks.asked_for() if role else None, answer))
                yield which, role, method, answer
                browser.cookies = cookies.copy()


def ways(door, role):
    """How somebody asks: in a way that nobody may, only those who may least and most, for that is settled before."""
    may = {"get": door.see, "post": door.do, "put": NONE}
    return [method for method, whose in may.items() if whose or role in ("", "viewer", "nobody", "administrator")]


def may_be(door, which, role, method, answer):
    """Whether an answer is one that this role may get."""
    status = answer.status_code
    if not role:
        return status == 302 and answer.url.startswith(reverse("sign_in"))
    allowed = door.see if method == "get" else door.do if method == "post" else NONE
    if not allowed:
        return status == 405
    if which == "foreign" and method == "post" and door.foreign_do:
        allowed = door.foreign_do
    is_there = which == "own" or (which == "foreign" and door.foreign_is_there)
    if role not in allowed.split():
        return status == 403 or (not is_there and status == 404)
    if not is_there:
        return status == 404
    return status == 200 if method == "get" else status in (200, 302, 409, 422)


def astray(door, answer):
    """Ways on a refusal that say only what is asked, as those that sort a list do; None where it is no such page.

    They lead to the address itself, to which no way may lead where only a button may call it.
    """
    is_page = answer.status_code in (400, 409, 422) and answer["Content-Type"].startswith("text/html")
    return re.findall(r'href="([?]\w+)=', answer.content.decode()) if door.do and not door.see and is_page else None


@pytest.mark.django_db
@pytest.mark.parametrize("name", DOORS)
def test_door_opens_for_those_whose_it_is_and_for_nobody_else(shop, browsers, who_asks, name):
    door, wrong, led = DOORS[name], [], set()
    for which, role, method, answer in answers(door, shop, browsers, who_asks, name):
        if not may_be(door, which, role, method, answer):
            wrong.append(f"{role or 'a stranger'} {method.upper()} {which}: {answer.status_code}")
        led |= {(role, which, method, way) for way in astray(door, answer) or ()}
    assert not wrong, "\n".join(wrong)
    assert not led, "ways beside a refusal"


@pytest.mark.django_db
def test_beside_a_refusal_no_way_leads_to_an_address_that_only_a_button_may_call(shop, browsers, who_asks):
    """The same of an old key, after all that an empty form is answered with."""
    led, refused = set(), 0
    for name, door in DOORS.items():
        if not door.do or door.see:
            continue
        address, browser = reverse(name, args=door.own(shop)) + door.query, browsers[door.do.split()[0]]
        cookies = browser.cookies.copy()
        with taken_back():
            answer = browser.post(address, {"key": "no key"})
        browser.cookies = cookies  # at one of the doors they sign out
        ways_on = astray(door, answer)
        refused += ways_on is not None
        led |= {(name, way) for way in ways_on or ()}
    assert refused > 20
    assert led == set()


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(name for name, door in DOORS.items() if door.do))
def test_a_form_of_another_site_does_nothing(shop, name):
    """Sent with the sign-in of somebody who may do everything."""
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(shop.people["administrator"])
    answer = browser.post(reverse(name, args=DOORS[name].own(shop)), {"reason": "x"})
    assert answer.status_code == 403
    assert b"<h1>" in answer.content, "a sentence, not a blank page"


@pytest.mark.django_db
def test_a_script_in_any_text_is_text_on_every_page(shop):
    """Nothing of it is run by whoever looks at a page."""
    pages = {name: door for name, door in DOORS.items() if "administrator" in door.see.split()}
    addresses = {name: reverse(name, args=door.own(shop)) + door.query for name, door in pages.items()}
    named = [str(part) for door in pages.values() for part in door.own(shop)]
    browser, run, shown, broken = Client(raise_request_exception=False), [], [], []
    browser.force_login(shop.people["administrator"])
    with taken_back():
        taken = write_scripts(named)
        for name, address in addresses.items():
            with taken_back():
                answer = browser.get(address)
            content = answer.getvalue()
            broken += [name] if answer.status_code >= 500 else []
            if answer.headers.get("Content-Type", "").startswith(("text/html", "image/svg")):
                run += [name] if RAW in content else []
                shown += [name] if AS_TEXT in content else []
    assert not run
    assert not broken
    assert taken > 60, "columns that hold a script"
    assert len(shown) > 60, "pages that show it"

import pytest
from django.contrib.auth.models import Group
from django.test import Client

from kits.people.models import User
from kits.planning.keeping import plans
from kits.web.views.plan import workbook
from tests.kits.web.shops import load_demo

LONG_MS = 60_000
"""What is waited for may take so long where other suites run beside this one; what passes does not wait for it."""


@pytest.fixture(scope="session", autouse=True)
def patience():
    """Expectations wait as long as the rest; by themselves they give up after five seconds."""
    playwright = pytest.importorskip("playwright.sync_api")
    playwright.expect.set_options(timeout=LONG_MS)


@pytest.fixture(autouse=True)
def files_are_waited_for(monkeypatch):
    """A file that takes longer than a second where the machine is busy comes all the same, without a page between."""
    for module in (plans, workbook):
        monkeypatch.setattr(module, "FILE_PATIENCE_SECONDS", LONG_MS / 1000)


@pytest.fixture
def context(context):
    context.set_default_timeout(LONG_MS)
    return context


@pytest.fixture
def shop_address(transactional_db, live_server):
    """A running site with the demo shop and one planner who may sign in."""
    load_demo()
    planner = User.objects.create_user("planner")
    group, _ = Group.objects.get_or_create(name="Planner")
    planner.groups.add(group)
    return live_server.url


@pytest.fixture
def said(page):
    """Whatever the browser's console says; a strict content policy complains here."""
    messages = []
    page.on("console", lambda message: messages.append(message.text))
    page.on("pageerror", lambda error: messages.append(str(error)))
    return messages


def sit_down(page, address, person):
    """Let somebody be signed in on a page, without the form, which the walks of a day fill in."""
    client = Client()
    client.force_login(person)
    cookies = client.cookies.items()
    page.context.add_cookies([{"name": name, "value": one.value, "url": address} for name, one in cookies])


@pytest.fixture
def sign_in():
    def go_in(page, address, path="/"):
        sit_down(page, address, User.objects.get(username="planner"))
        page.goto(f"{address}{path}")

    return go_in

import pytest

from kits.planning.keeping import plans
from kits.web import request_keys
from kits.web.render_guard import guard_rendering
from kits.web.views.plan import workbook
from tests.keeping import keeping_plans, taken_back
from tests.kits.kept_rows import watch_patches
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo, load_small

guard_rendering()


@pytest.fixture(autouse=True)
def unhurried(monkeypatch):
    """No test waits a second before it taps, and a file is waited for; those of the second itself put it back."""
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 0)
    monkeypatch.setattr(plans, "FILE_PATIENCE_SECONDS", 30.0)
    monkeypatch.setattr(workbook, "FILE_PATIENCE_SECONDS", 30.0)
    watch_patches(monkeypatch)


@pytest.fixture(autouse=True)
def plans_kept():
    """Pages are of one plan until something is written, as on a site; otherwise each would be planned from nothing."""
    with keeping_plans():
        yield


@pytest.fixture(scope="module")
def demo_shop(django_db_setup, django_db_blocker):
    """The demo shop, loaded once for all tests of a module and taken back afterwards."""
    with django_db_blocker.unblock(), taken_back(), keeping_plans():
        load_demo()
        yield


@pytest.fixture
def small_shop(db):
    """A pump with two ends and one job, where three things are short or late."""
    load_small()


@pytest.fixture
def planner(db):
    return person_of("Planner", first_name="Pat", last_name="Planner")


@pytest.fixture
def keeper(client, db):
    """A browser in which somebody has signed in who may load every list."""
    client.force_login(person_of("Administrator", "keeper", first_name="Kit", last_name="Keeper"))
    return client


@pytest.fixture
def reader(client, planner):
    """A browser in which the planner has signed in."""
    client.force_login(planner)
    return client


@pytest.fixture
def clerk(client, small_shop):
    """A browser in which the clerk of the small shop has signed in."""
    client.force_login(person_of("Storeroom clerk", first_name="Cleo"))
    return client

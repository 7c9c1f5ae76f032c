import pytest

from tests.keeping import keeping_plans, load_planned, taken_back
from tests.kits.exchange.books import SHOP, load_sheets
from tests.kits.exchange.office import Office
from tests.kits.kept_rows import load_once, stored
from tests.kits.web.shops import load_demo


@pytest.fixture
def shop(db):
    """The small shop, loaded, with its plan until something is written."""
    with keeping_plans():
        load_planned("sheets", lambda: load_once("sheets", lambda: stored(load_sheets(SHOP))))
        yield


@pytest.fixture(scope="module")
def module_rows(django_db_setup, django_db_blocker):
    """What a fixture of a module loads for all its tests is taken back after the last."""
    with django_db_blocker.unblock(), taken_back():
        yield


@pytest.fixture(scope="module")
def demo_shop(module_rows):
    """The demo shop, loaded once for all tests of a module, with its plan until one of them writes something."""
    with keeping_plans():
        load_demo()
        yield


@pytest.fixture(scope="session")
def office(tmp_path_factory):
    office = Office(tmp_path_factory.mktemp("office"))
    yield office
    office.end()

import pytest
from django.core.management import call_command

from kits.exchange.copies.backups import back_up
from kits.exchange.copies.proofs import work_in
from kits.planning.keeping import plans
from kits.web import request_keys
from tests.kits.exchange.copies.databases import new_database
from tests.kits.web.shop_with_all import ShopWithAll


@pytest.fixture(autouse=True)
def databases_may_be_used(django_db_blocker):
    """The suite's own database is not touched: each test works in databases of its own."""
    with django_db_blocker.unblock():
        yield


@pytest.fixture(scope="session")
def migrated_once(tmp_path_factory, django_db_blocker):
    """The settings of a database that has its tables, for others to be made after."""
    with django_db_blocker.unblock(), new_database(tmp_path_factory.mktemp("migrated")) as settings:
        with work_in(settings):
            call_command("migrate", verbosity=0)
            call_command("check_ledger")
        yield settings


@pytest.fixture(scope="session")
def shop_once(tmp_path_factory, migrated_once, django_db_blocker):
    """The settings of a shop with one of everything: people, movements, a photo, a certificate, a suspect lot."""
    folder = tmp_path_factory.mktemp("shop")
    with django_db_blocker.unblock(), new_database(folder, migrated_once) as settings:
        with pytest.MonkeyPatch.context() as patched, work_in(settings):
            patched.setattr(request_keys, "SHOWN_SECONDS", 0)
            # A thread beside this one would work in the suite's own database.
            patched.setattr(plans, "_must_be_waited_for", lambda: True)
            ShopWithAll()
        yield settings


@pytest.fixture(scope="session")
def copied_once(tmp_path_factory, shop_once, django_db_blocker):
    """A copy of that shop, and what lies beside it."""
    folder = tmp_path_factory.mktemp("copy")
    with django_db_blocker.unblock(), work_in(shop_once):
        back_up(folder / "copy")
    return folder


@pytest.fixture
def whole_shop(shop_once, tmp_path):
    """A test works in such a shop."""
    with new_database(tmp_path, shop_once) as settings, work_in(settings):
        yield settings


@pytest.fixture
def empty_shop(tmp_path, migrated_once):
    """The settings of a database that has its tables and nothing in them."""
    with new_database(tmp_path, migrated_once) as settings:
        yield settings


@pytest.fixture
def other_database(tmp_path):
    """The settings of a database without any tables."""
    with new_database(tmp_path) as settings:
        yield settings

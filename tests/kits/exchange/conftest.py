import pytest

from tests.kits.exchange.books import SHOP, load_sheets
from tests.kits.kept_rows import load_once, stored


@pytest.fixture
def shop(db):
    """The small shop, loaded."""
    load_once("sheets", lambda: stored(load_sheets(SHOP)))

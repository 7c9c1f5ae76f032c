import pytest

from tests.kits.exchange.books import SHOP, load_sheets


@pytest.fixture
def shop(db):
    """The small shop, loaded."""
    outcome = load_sheets(SHOP)
    assert outcome.stored, [problem.says for problem in outcome.problems]

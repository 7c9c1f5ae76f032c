"""The shop that the benchmarks draw is sound, and what they compare gives equal totals."""

import pytest

from bom.demand.checks import check
from bom.structure.arrays import compile_structure
from tests.benchmarks.peers import WITH_CONDITIONS
from tests.benchmarks.subjects import by_item_and_action, explode_all
from tests.benchmarks.synthetic_lists import SIZES
from tests.benchmarks.synthetic_shop import make_shop, with_work_in_hand

SEED = 7


@pytest.fixture(scope="module")
def shop():
    return make_shop(SIZES["small"], SEED)


def test_drawn_shop_has_no_fault(shop):
    assert check(with_work_in_hand(shop, SEED)) == ()


def test_drawn_shop_is_as_large_as_asked_and_always_the_same(shop):
    size = SIZES["small"]
    assert (len(shop.catalog.items), len(shop.catalog.lines), len(shop.jobs)) == (size.items, size.lines, size.jobs)
    assert make_shop(size, SEED) == shop


@pytest.mark.parametrize("peer", WITH_CONDITIONS, ids=lambda peer: peer.name)
def test_explosion_and_every_peer_that_minds_conditions_agree(peer, shop):
    structure = compile_structure(shop.catalog)
    totals = by_item_and_action(*explode_all(structure, shop.jobs))
    assert len(totals) > 500
    try:
        asked = peer(structure, shop.jobs)
    except ImportError as missing:
        pytest.skip(f"{missing}: it comes with the libraries for development")
    assert totals == asked.totals()

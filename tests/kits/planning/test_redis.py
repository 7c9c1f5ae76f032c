"""Two real processes of a shop and a real cache server, where the machine has one."""

import importlib.util
import os

import pytest

from tests.benchmarks.private_server import CACHE_SERVER, private_cache
from tests.kits.planning.second_process import second_process
from tests.kits.planning.shop import fill_shop

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(CACHE_SERVER is None, reason="no Valkey or Redis server on this machine (Debian: redis-server)"),
    pytest.mark.skipif(
        importlib.util.find_spec("redis") is None, reason="the library redis is not installed (requirements-dev.lock)"
    ),
]


@pytest.fixture
def named(transactional_db, monkeypatch):
    """The server, named to every process that is started from here."""
    fill_shop(1)
    with private_cache() as (url, running):
        monkeypatch.setitem(os.environ, "CACHE_URL", url)
        yield running


def test_two_processes_work_out_each_plan_once_between_them(named):
    with second_process() as one, second_process() as other:
        for made, quantity in enumerate((4, 6, 8), start=1):
            asked = (one, other) if made % 2 else (other, one)
            if made > 1:
                asked[0].ask("change", quantity)
            for process in asked:
                assert process.ask("plan")["positions"] == quantity
                process.ask("settle")
            assert one.ask("planned")["planned"] + other.ask("planned")["planned"] == made


def test_a_server_that_ends_in_between_breaks_nothing(named):
    with second_process() as one, second_process() as other:
        assert one.ask("plan")["positions"] == 4
        one.ask("settle")
        named.kill()
        named.wait(20)
        one.ask("change", 6)
        assert other.ask("plan")["positions"] == 6
        assert one.ask("plan")["positions"] == 6
        assert one.ask("planned")["planned"] + other.ask("planned")["planned"] == 3

"""The server for a shop: what it believes, and what it says when it cannot start."""

import gc
import runpy
import signal
import socket

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

import kits.settings
from kits.web.serving.server import proxy_arguments

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def name_of_the_file(monkeypatch):
    """A server that is started opens its file otherwise from then on; the tests after it open theirs as they did."""
    monkeypatch.setitem(connection.settings_dict, "NAME", connection.settings_dict["NAME"])


def test_without_https_no_proxy_is_believed(settings):
    settings.SECURE = False
    assert proxy_arguments() == {}


def test_behind_https_only_a_proxy_on_this_machine_is_believed(settings):
    settings.SECURE = True
    assert proxy_arguments()["trusted_proxy"] == "127.0.0.1"


def test_taken_port_is_told():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        address = f"127.0.0.1:{taken.getsockname()[1]}"
        with pytest.raises(CommandError, match=f"cannot listen on '{address}'"):
            call_command("serve", listen=address)


def test_the_lists_of_a_shop_are_not_searched_for_rubbish_after_every_other_posting(monkeypatch):
    told = []
    monkeypatch.setattr(gc, "set_threshold", lambda *seldom: told.append(seldom))
    runpy.run_path(kits.settings.__file__)
    ((young, middle, old),) = told
    assert young * middle * old > 10_000_000


def test_what_stops_services_ends_it_in_order():
    before = signal.getsignal(signal.SIGTERM)
    try:
        with pytest.raises(CommandError):
            call_command("serve", listen="nowhere")
        with pytest.raises(SystemExit) as ended:
            signal.raise_signal(signal.SIGTERM)
        assert ended.value.code == 0
    finally:
        signal.signal(signal.SIGTERM, before)


def test_address_that_cannot_be_read_is_told():
    with pytest.raises(CommandError, match="give --listen a free address and port"):
        call_command("serve", listen="nowhere")


def test_database_of_an_older_version_is_told():
    from django.db.migrations.recorder import MigrationRecorder

    MigrationRecorder.Migration.objects.filter(app="axes").delete()
    with pytest.raises(CommandError, match=r"the database lacks \d+ steps of this version: run manage\.py migrate"):
        call_command("serve", listen="127.0.0.1:0")

"""Rows put back with their numbers: what is stored afterwards gets numbers of its own, however many shops are kept."""

from functools import partial

import pytest

from kits.people.models import User
from tests.kits import kept_rows


@pytest.mark.postgres
@pytest.mark.django_db
def test_numbers_never_count_back(monkeypatch):
    monkeypatch.setattr(kept_rows, "_kept", {})
    monkeypatch.setattr(kept_rows, "_numbered", set())
    for shop in ("first", "second", "second", "first", "second"):
        User.objects.all().delete()
        kept_rows.load_once(shop, partial(User.objects.create_user, shop))
    assert User.objects.create_user("newcomer").pk > User.objects.get(username="second").pk

"""Rows put back with their numbers: what is stored afterwards gets numbers of its own, however many shops are kept."""

from functools import partial

import pytest
from django.db import IntegrityError

from kits.people.models import User
from tests.kits import kept_rows


@pytest.mark.postgres
@pytest.mark.django_db
def test_numbers_never_count_back(monkeypatch):
    monkeypatch.setattr(kept_rows, "_kept", {})
    for shop in ("first", "second", "second", "first", "second"):
        User.objects.all().delete()
        kept_rows.load_once(shop, partial(User.objects.create_user, shop))
    assert User.objects.create_user("newcomer").pk > User.objects.get(username="second").pk


@pytest.mark.postgres
@pytest.mark.django_db
def test_rows_that_are_kept_anew_are_numbered_on_from(monkeypatch):
    """As when a shop was loaded anew in another database, where its rows got other numbers."""
    monkeypatch.setattr(kept_rows, "_kept", {})
    for _ in range(2):
        User.objects.all().delete()
        kept_rows.load_once("shop", partial(User.objects.create_user, "keeper"))
    far = User.objects.get().pk + 1000
    User.objects.all().delete()

    def refuse(tables):
        raise IntegrityError("a row that these name is not there")

    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(kept_rows, "_put_back", refuse)
        kept_rows.load_once("shop", partial(User.objects.create, pk=far, username="keeper"))
    User.objects.all().delete()
    kept_rows.load_once("shop", None)
    assert User.objects.get().pk == far
    assert User.objects.create_user("newcomer").pk > far

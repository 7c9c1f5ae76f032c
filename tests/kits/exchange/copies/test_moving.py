"""A shop that is moved to another database is the same there, and goes on counting where it was."""

import pytest
from django.contrib.auth.models import Permission
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection

from kits.exchange.copies import moving
from kits.exchange.copies.moving import move_to
from kits.exchange.copies.proofs import differences, read_contents, work_in
from kits.exchange.copies.refusals import CopyRefused
from kits.exchange.copies.restoring import rows_of_a_shop
from kits.people.models import User
from kits.service.models import Photo
from kits.stock.models import Movement, Place
from tests.kits.exchange.copies.databases import new_database, sqlite_at


def say_nothing(_):
    pass


def everything():
    """The contents but for what stays behind."""
    contents = read_contents()
    for table in ("django_session", "django_migrations"):
        contents.rows.pop(table, None)
    return contents


def test_everything_goes_with_it_but_the_sessions(whole_shop, empty_shop):
    before, photos = everything(), [bytes(photo.content) for photo in Photo.objects.order_by("pk")]
    assert photos
    assert Session.objects.exists()
    said = []
    assert "balances and the plan of 2026-03-04 are the same in both" in move_to(empty_shop, said.append)
    assert any(line.endswith("stock_movement") for line in said)
    with work_in(empty_shop):
        assert (differences(before, everything()), Session.objects.count()) == ([], 0)
        assert [bytes(photo.content) for photo in Photo.objects.order_by("pk")] == photos
        assert User.objects.get(username="clerk").has_perm("stock.add_lot")
        assert Permission.objects.values("content_type__app_label", "codename").distinct().count() > 100
        call_command("check_ledger")


def test_no_key_is_given_twice_after_the_move(whole_shop, empty_shop):
    last = Place.objects.create(place="LAST", folded="last").pk
    Place.objects.filter(pk=last).delete()
    move_to(empty_shop, say_nothing)
    with work_in(empty_shop):
        assert Place.objects.create(place="NEXT", folded="next").pk == last + 1


@pytest.mark.postgres
def test_from_the_server_to_a_file_and_back(whole_shop, tmp_path):
    before, file = everything(), sqlite_at(tmp_path / "moved.sqlite3")
    move_to(file, say_nothing)
    with new_database(tmp_path) as third:
        with work_in(file):
            assert connection.vendor == "sqlite"
            assert differences(before, everything()) == []
            last = Movement.objects.order_by("pk").last().pk
            move_to(third, say_nothing)
        with work_in(third):
            assert connection.vendor == "postgresql"
            assert differences(before, everything()) == []
            with connection.cursor() as cursor:
                cursor.execute("SELECT nextval(pg_get_serial_sequence('stock_movement', 'id'))")
                assert cursor.fetchone()[0] > last


def test_database_with_a_shop_in_it_is_refused(whole_shop, empty_shop):
    with work_in(empty_shop):
        Place.objects.create(place="OLD", folded="old")
    with pytest.raises(CopyRefused, match="holds 1 row already: name one with nothing in it"):
        move_to(empty_shop, say_nothing)
    with work_in(empty_shop):
        assert list(Place.objects.values_list("place", flat=True)) == ["OLD"]


def test_move_that_fails_in_the_middle_leaves_nothing_and_can_be_done_again(whole_shop, empty_shop, monkeypatch):
    stored, plain = [], moving._store

    def store(model, rows, target):
        if model is Movement:
            raise DatabaseError("no space left")
        stored.append(model)
        plain(model, rows, target)

    with monkeypatch.context() as patched:
        patched.setattr(moving, "_store", store)
        with pytest.raises(CopyRefused, match="no space left Nothing was moved"):
            move_to(empty_shop, say_nothing)
    assert Place in stored
    with work_in(empty_shop):
        assert rows_of_a_shop() == 0
    move_to(empty_shop, say_nothing)
    with work_in(empty_shop):
        assert Place.objects.exists()


def test_what_is_read_back_differently_is_not_kept(whole_shop, empty_shop, monkeypatch):
    plain = moving._store

    def store(model, rows, target):
        plain(model, rows[:-1] if model is Place else rows, target)

    monkeypatch.setattr(moving, "_store", store)
    with pytest.raises(CopyRefused, match="stock_place is not the same when it is read back"):
        move_to(empty_shop, say_nothing)
    with work_in(empty_shop):
        assert rows_of_a_shop() == 0


def test_addresses_that_cannot_be_used_are_told(whole_shop, tmp_path):
    with pytest.raises(CommandError, match="the address cannot be read"):
        call_command("move_to", "nowhere")
    with pytest.raises(CopyRefused, match="that is the database in use"):
        move_to(dict(connection.settings_dict), say_nothing)
    with pytest.raises(CopyRefused, match="the new database cannot be used"):
        move_to(sqlite_at(tmp_path / "none" / "file.sqlite3"), say_nothing)

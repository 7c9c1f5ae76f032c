"""Rows put back with their numbers: what is stored afterwards gets numbers of its own, however many shops are kept;
and a step is put back only where it was done before."""

from functools import partial

import pytest
from django.db import IntegrityError

from kits.catalog.caching.revisions import mark_catalog, read_marks
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.models import Place
from tests.kits import kept_rows


@pytest.mark.postgres
@pytest.mark.django_db
def test_numbers_never_count_back():
    for shop in ("first", "second", "second", "first", "second"):
        User.objects.all().delete()
        kept_rows.load_once(shop, partial(User.objects.create_user, shop))
    assert User.objects.create_user("newcomer").pk > User.objects.get(username="second").pk


@pytest.mark.postgres
@pytest.mark.django_db
def test_rows_that_are_kept_anew_are_numbered_on_from(monkeypatch):
    """As when a shop was loaded anew in another database, where its rows got other numbers."""
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


@pytest.fixture(autouse=True)
def nothing_kept():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept_rows, "_empty", kept_rows.Ground())
        yield


def done_by(said):
    """A step that makes a person; ``said`` counts how often it was done."""

    def make():
        said.append("done")
        return User.objects.create_user(f"person {User.objects.count()}")

    return lambda: kept_rows.step_once("person", make)


def empty():
    User.objects.all().delete()


@pytest.mark.django_db
def test_a_step_is_done_once_from_each_ground():
    said = []
    step = done_by(said)
    first = [step().username, step().username]
    empty()
    assert [step().username, step().username] == first == ["person 0", "person 1"]
    assert (len(said), sorted(User.objects.values_list("username", flat=True))) == (2, first)


@pytest.mark.django_db
def test_where_something_else_was_written_a_step_is_done():
    said = []
    step = done_by(said)
    step(), step(), empty(), step()
    User.objects.update(first_name="Cleo")
    step()
    assert (len(said), set(User.objects.values_list("first_name", flat=True))) == (3, {"Cleo", ""})


@pytest.mark.django_db
def test_a_step_that_changes_rows_changes_them_again():
    step = done_by([])
    for _ in range(2):
        empty()
        step(), step()
        kept_rows.step_once("rename", lambda: User.objects.filter(username="person 1").update(first_name="Cleo"))
        kept_rows.step_once("delete", lambda: User.objects.filter(username="person 0").delete())
        assert list(User.objects.values_list("username", "first_name")) == [("person 1", "Cleo")]


@pytest.mark.django_db
def test_a_step_inside_a_step_is_part_of_it():
    step = done_by([])
    for _ in range(2):
        empty()
        kept_rows.step_once("both", lambda: (User.objects.create_user("Cleo"), step()))
        assert User.objects.count() == 2


@pytest.mark.django_db
def test_a_test_that_patches_the_program_has_its_steps_done(monkeypatch):
    said = []
    do = kept_rows.kept_step(lambda shop: said.append(User.objects.create_user("Cleo")))
    for _ in range(2):
        empty()
        do(None)
    assert len(said) == 1
    empty()
    monkeypatch.setattr(User, "get_short_name", str)
    do(None)
    assert len(said) == 2


@pytest.mark.django_db
def test_who_signs_in_and_what_is_marked_stand_in_the_way_of_no_step(client):
    said = []
    for _ in range(2):
        empty()
        Place.objects.all().delete()
        done_by([])()
        client.force_login(User.objects.get())
        mark_catalog()
        kept_rows.step_once("place", lambda: said.append(Place.objects.create(place="A1")))
    assert (len(said), Place.objects.count()) == (1, 1)


@pytest.mark.django_db
def test_rows_that_are_put_back_mark_what_they_change_and_no_more():
    for number in (0, 1):
        before = read_marks()
        kept_rows.step_once("person", lambda: User.objects.create_user("Cleo"))
        assert read_marks() == before
        kept_rows.step_once("place", lambda: Place.objects.create(place="A1"))
        assert number == 0 or read_marks()[0] == before[0] != read_marks()[1]
        kept_rows.step_once("item", lambda: Item.objects.create(part_number="P", kind="part", stock_unit="each"))
        assert number == 0 or read_marks()[0] != before[0]
        for table in (User, Place, Item):
            table.objects.all().delete()

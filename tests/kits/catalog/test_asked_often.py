"""What is asked in the same words each time is answered from the tables as they stand."""

import sys

import pytest
from django.db import connections
from django.db.models import QuerySet
from django.db.models.sql.compiler import SQLCompiler

from kits.catalog.caching.asked_often import ask_often
from kits.catalog.models import Holiday, Setting
from kits.planning.snapshot.catalog import forget_catalog
from kits.planning.snapshot.shop import take_snapshot
from tests.kits.exchange.books import AT
from tests.kits.web.shops import load_demo

pytestmark = pytest.mark.django_db


def holidays(rows_at_once=0):
    return list(ask_often(lambda: Holiday.objects.order_by("date").values_list("name", flat=True), rows_at_once))


def test_each_answer_is_of_its_moment():
    assert holidays() == holidays(rows_at_once=1) == []
    Holiday.objects.create(date="2026-12-25", name="Christmas Day")
    assert holidays() == holidays(rows_at_once=1) == ["Christmas Day"]
    Holiday.objects.create(date="2026-12-24", name="Christmas Eve")
    assert holidays() == holidays(rows_at_once=1) == ["Christmas Eve", "Christmas Day"]


def test_two_answers_are_read_side_by_side():
    Holiday.objects.create(date="2026-12-25", name="Christmas Day")
    Holiday.objects.create(date="2026-12-24", name="Christmas Eve")

    def ask():
        return ask_often(lambda: Holiday.objects.order_by("date").values_list("name", "date"))

    assert list(zip(ask(), ask(), strict=True)) == [(row, row) for row in ask()]


def test_the_question_is_put_into_words_once(monkeypatch):
    holidays()
    monkeypatch.setattr(SQLCompiler, "as_sql", lambda *_, **__: pytest.fail("it was put into words again"))
    assert holidays() == []


def test_what_depends_on_something_outside_is_not_asked_so():
    named = "kits"
    with pytest.raises(TypeError, match="closes over named: ask it anew"):
        ask_often(lambda: Setting.objects.filter(folded=named))


def test_a_shop_is_read_as_it_would_be_with_each_question_asked_anew(monkeypatch):
    load_demo()
    forget_catalog()
    before = take_snapshot(AT.date())  # in which every question was asked before
    forget_catalog()
    asked = []

    def ask_anew(question, rows_at_once=0):
        assert isinstance(question(), QuerySet)
        asked.append(question)
        return iter(question())

    for module in [*sys.modules.values()]:
        if module.__name__.startswith("kits.") and getattr(module, "ask_often", None) is ask_often:
            monkeypatch.setattr(module, "ask_often", ask_anew)
    assert take_snapshot(AT.date()) == before
    assert len(asked) > 20
    assert {question.__code__ for question in asked} <= {*vars(connections["default"])["asked_often"]}

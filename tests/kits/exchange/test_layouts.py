"""The table of columns agrees with the tables it is stored in."""

import pytest
from django.core.exceptions import FieldDoesNotExist
from django.db import models

from kits.exchange.reading.cells.readers import READERS
from kits.exchange.sheets.layouts import BY_NAME, SHEETS
from kits.exchange.sheets.names import usual_source
from kits.exchange.sheets.records import default_of
from kits.exchange.sheets.resources import RESOURCES
from kits.stock.models import Lot
from kits.stock.words import Condition, Packet

COLUMNS = [(sheet, column) for sheet in SHEETS for column in sheet.columns]


def test_every_sheet_of_a_table_has_its_resource():
    assert set(RESOURCES) == {sheet.name for sheet in SHEETS} - {"Lots", "KitContents", "Issued"}


@pytest.mark.parametrize(("sheet", "column"), COLUMNS, ids=lambda one: getattr(one, "name", ""))
def test_every_column_can_be_read(sheet, column):
    assert column.reads in READERS
    default_of(column)


@pytest.mark.parametrize("name", sorted(RESOURCES))
def test_words_and_lengths_are_those_of_the_table(name):
    resource = RESOURCES[name]()
    for column in BY_NAME[name].columns:
        field = resource.fields[column.name]
        try:
            stored = resource._meta.model._meta.get_field(field.attribute.removesuffix("_id"))
        except FieldDoesNotExist:
            continue
        if not isinstance(stored, models.Field):
            continue
        if stored.choices and column.reads == "word":
            assert set(column.words) == {value for value, _ in stored.choices}, column.name
        if isinstance(stored, models.CharField) and not stored.choices:
            assert column.longest <= stored.max_length, column.name


def test_lots_fit_their_tables():
    columns = {column.name: column for column in BY_NAME["Lots"].columns}
    assert set(columns["condition"].words) == set(Condition.values)
    assert set(columns["packet"].words) == set(Packet.values)
    for name in ("lot", "maker_batch", "certificate", "owner"):
        assert columns[name].longest <= Lot._meta.get_field(name).max_length


@pytest.mark.parametrize(
    ("kind", "source"), [("part", "buy"), ("pump", "buy"), ("assembly", "buy"), ("kit", "pack_else_buy")]
)
def test_a_blank_source_means_what_is_usual_for_the_kind(kind, source):
    assert usual_source(kind) == source

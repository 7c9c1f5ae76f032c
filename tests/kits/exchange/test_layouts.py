"""The table of columns agrees with the tables it is stored in."""

import pytest
from django.core.exceptions import FieldDoesNotExist
from django.db import models

from kits.exchange.columns.layouts import BY_NAME, LAYOUTS
from kits.exchange.reading.cells.readers import READERS
from kits.exchange.records.names import usual_source
from kits.exchange.records.records import default_of
from kits.exchange.sheets.registry import SHEETS, sheet_of
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.table_store import TableStore
from kits.stock.models import Lot
from kits.stock.words import Condition, Packet

COLUMNS = [(sheet, column) for sheet in LAYOUTS for column in sheet.columns]


STORES = {sheet.name: store for sheet in SHEETS if isinstance(store := sheet.make_store(Lookups()), TableStore)}


def test_every_layout_has_its_sheet_and_every_sheet_but_three_its_table():
    assert [sheet.layout for sheet in SHEETS] == list(LAYOUTS)
    assert {sheet.name for sheet in SHEETS} - set(STORES) == {"Lots", "KitContents", "Issued"}
    assert {sheet.name for sheet in SHEETS if not sheet.tables} == {"Lots", "KitContents", "Issued"}


def test_what_a_column_names_is_brought_by_some_sheet():
    brought = {column.brings for sheet in LAYOUTS for column in sheet.columns} - {""}
    named = {column.names for sheet in LAYOUTS for column in sheet.columns} - {""}
    assert named <= brought
    assert all(sheet_of(sheet).bring for sheet in LAYOUTS if any(column.brings for column in sheet.columns))
    for sheet in LAYOUTS:
        for column in sheet.columns:
            if column.names in ("lot", "scope"):
                assert sheet.column(column.within).reads == "part"


@pytest.mark.parametrize(("sheet", "column"), COLUMNS, ids=lambda one: getattr(one, "name", ""))
def test_every_column_can_be_read(sheet, column):
    assert column.reads in READERS
    default_of(column)


@pytest.mark.parametrize("name", sorted(STORES))
def test_words_and_lengths_are_those_of_the_table(name):
    store = STORES[name]
    for column in BY_NAME[name].columns:
        field = store.fields[column.name]
        try:
            stored = store.model._meta.get_field(field.attribute.removesuffix("_id"))
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

"""Rows stored in bulk are the same to the last value as those that Django stores, whatever their columns are."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from bom.values import ONE
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import ItemKind
from kits.exchange.sheets.stores.bulk_rows import insert_rows, write_over

MANY = 50


def new_items(count=MANY):
    """Items with every kind of value: words, decimals with and without an end, blanks, large numbers."""
    return [
        Item(
            part_number=f" N–{number} %s",
            description="100 % 'thing' \"two\"\nlines",
            kind=ItemKind.PART,
            stock_unit="each",
            shelf_life_months=None if number % 2 else number + 1,
            shelf_life_unlimited=bool(number % 2),
            safety_stock=number * ONE * 10**9,
            minimum=None,
            how_sure_percent=90,
            unit_cost=Decimal(number) / 8 if number % 3 else None,
            maker_number=f"M-{number}",
        )
        for number in range(count)
    ]


def new_lines(items):
    return [
        StructureLine(
            parent=items[0],
            child_id=item.pk,
            quantity=ONE,
            renewals_per_100=Decimal("12.5") if item.pk % 2 else None,
            from_on=date(2026, 3, 4) if item.pk % 3 else None,
            order=-1,
        )
        for item in items[1:]
    ]


def stored(model, keys):
    """The rows in the order in which they were made; without keys of their own where they have others."""
    names = [field.attname for field in model._meta.concrete_fields if keys or not field.primary_key]
    return list(model.objects.order_by("pk").values_list(*names))


def test_new_rows_are_stored_as_django_stores_them(db):
    Item.objects.bulk_create(new_items())
    expected = stored(Item, keys=False)
    Item.objects.all().delete()
    insert_rows(Item, new_items())
    assert stored(Item, keys=False) == expected
    assert expected[3][1] == "n-3 %s"
    items = list(Item.objects.order_by("pk"))
    StructureLine.objects.bulk_create(new_lines(items))
    expected = stored(StructureLine, keys=False)
    StructureLine.objects.all().delete()
    insert_rows(StructureLine, new_lines(items))
    assert stored(StructureLine, keys=False) == expected


def test_rows_are_written_over_themselves_and_keep_their_keys(db):
    insert_rows(Item, new_items())
    before = stored(Item, keys=True)
    items = list(Item.objects.order_by("pk"))
    for item in items[::2]:
        item.part_number, item.unit_cost, item.get_as_id = f"{item.part_number} new", Decimal("0.000001"), items[1].pk
    write_over(Item, items[::2])
    after = stored(Item, keys=True)
    assert after[1::2] == before[1::2]
    assert [row[0] for row in after] == [row[0] for row in before]
    changed = Item.objects.get(pk=items[4].pk)
    assert (changed.folded, changed.unit_cost, changed.get_as) == ("n-4 %s new", Decimal("0.000001"), items[1])


def test_rows_with_keys_come_back_under_them(db):
    insert_rows(Item, new_items())
    items = list(Item.objects.order_by("pk"))
    before = stored(Item, keys=True)
    Item.objects.all().delete()
    insert_rows(Item, items)
    assert stored(Item, keys=True) == before


def test_one_statement_stores_them_however_many_they_are(db):
    counts = []
    for count in (1, MANY):
        Item.objects.all().delete()
        with CaptureQueriesContext(connection) as captured:
            insert_rows(Item, new_items(count))
        counts.append(len(captured))
        assert Item.objects.count() == count
    assert counts == [1, 1]
    with CaptureQueriesContext(connection) as captured:
        insert_rows(Item, [])
        write_over(Item, [])
    assert len(captured) == 0


@pytest.mark.parametrize(("column", "value"), [("kind", "prt"), ("shelf_life_months", 0), ("description", None)])
def test_a_row_that_breaks_a_rule_of_the_table_is_refused_with_all_others(db, column, value):
    rows = new_items()
    setattr(rows[-1], column, value)
    with pytest.raises(IntegrityError), transaction.atomic():
        insert_rows(Item, rows)
    assert not Item.objects.exists()

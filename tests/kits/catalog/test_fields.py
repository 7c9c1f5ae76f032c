from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from bom.values import ONE
from kits.catalog.fields import QuantityFormField, quantity_text
from kits.catalog.models import Item


@pytest.mark.parametrize(
    ("quantity", "text"),
    [(0, "0"), (ONE, "1"), (1_500_000, "1.5"), (-1, "-0.000001"), (-12 * ONE, "-12"), (100 * ONE, "100"), (None, "")],
)
def test_a_quantity_is_shown_without_needless_zeros(quantity, text):
    assert quantity_text(quantity) == text


@given(st.integers(min_value=-(2**63) + 1, max_value=2**63 - 1))
def test_a_shown_quantity_reads_back_exactly(quantity):
    assert Decimal(quantity_text(quantity)) * ONE == quantity
    assert QuantityFormField().clean(quantity_text(quantity)) == quantity


@pytest.mark.parametrize("typed", ["AR", "1,5", "0.0000001", "NaN", "Infinity", "9e99"])
def test_what_is_no_quantity_is_refused(typed):
    with pytest.raises(ValidationError, match="is not a quantity"):
        QuantityFormField().clean(typed)


@pytest.mark.django_db
def test_the_key_is_worked_out_however_a_row_is_stored():
    Item.objects.create(part_number="Or–1", description="ring", kind="part", stock_unit="each")
    Item.objects.bulk_create([Item(part_number=" OR-2", description="ring", kind="part", stock_unit="each")])
    assert list(Item.objects.values_list("folded", flat=True)) == ["or-1", "or-2"]


@pytest.mark.django_db
def test_a_bulk_upsert_by_key_changes_the_row_that_is_there():
    first = Item.objects.create(part_number="OR-1", description="ring", kind="part", stock_unit="each")
    Item.objects.bulk_create(
        [Item(part_number="or-1", description="new words", kind="part", stock_unit="each")],
        update_conflicts=True,
        unique_fields=["folded"],
        update_fields=["part_number", "description"],
    )
    item = Item.objects.get()
    assert (item.pk, item.part_number, item.description) == (first.pk, "or-1", "new words")


@pytest.mark.django_db
def test_texts_sort_alike_in_every_database():
    Item.objects.bulk_create(
        Item(part_number=number, description="x", kind="part", stock_unit="each")
        for number in ("a-10", "A 2", "a_1", "é", "a-2", "10", "9")
    )
    assert list(Item.objects.values_list("folded", flat=True)) == ["10", "9", "a 2", "a-10", "a-2", "a_1", "é"]


@pytest.mark.django_db
@pytest.mark.postgres
def test_the_order_of_texts_does_not_hang_on_the_language_of_the_server():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT collation_name FROM information_schema.columns WHERE column_name IN ('folded', 'place')"
            " AND data_type = 'character varying'"
        )
        assert cursor.fetchall() == [("C",)]


@pytest.mark.django_db
def test_an_item_is_found_by_any_of_its_numbers():
    item = Item.objects.create(
        part_number="OR-014", description="ring", kind="part", stock_unit="each", maker_number="99-X"
    )
    item.other_numbers.create(number="3E10")
    assert Item.objects.by_number(" or–014") == item
    assert Item.objects.by_number("3E10") is None
    assert list(Item.objects.by_any_number("3e10")) == [item]
    assert list(Item.objects.by_any_number("99-x")) == [item]
    assert list(Item.objects.by_any_number("")) == []

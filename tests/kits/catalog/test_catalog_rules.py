from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from bom.values import ONE
from kits.catalog.models import Holiday, Item, KitFit, OtherNumber, ScopeSection, Setting, StructureLine, Substitute
from tests.kits.refusals import assert_refused

pytestmark = pytest.mark.django_db


def make_item(number="OR-1", **columns):
    return Item(**{"part_number": number, "description": "x", "kind": "part", "stock_unit": "each", **columns})


@pytest.fixture
def pair():
    rows = [make_item("A"), make_item("B")]
    for row in rows:
        row.save()
    return rows


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"kind": "bolt"}, "Kind is one of: part, assembly, kit, pump."),
        ({"stock_unit": "yard"}, "Stock unit is one of: each, mm, cm, m, in, ft, g, kg, mL, L."),
        ({"source": "steal"}, "Source is one of: buy, pack, pack_else_buy, make, in_kit_only, in_assembly_only."),
        (
            {"shelf_life_months": 12, "shelf_life_unlimited": True},
            "A shelf life is either a number of months or unlimited, not both.",
        ),
        ({"shelf_life_months": 0}, "A shelf life is at least one month: leave it blank where there is none."),
        ({"safety_stock": -1}, "A safety stock is not below 0."),
        ({"minimum": 2, "maximum": 1}, "The maximum is not below the minimum."),
        ({"how_sure_percent": Decimal(0)}, "How sure we want to be is above 0 and at most 100 percent."),
        ({"how_sure_percent": Decimal(101)}, "How sure we want to be is above 0 and at most 100 percent."),
    ],
)
def test_an_item_keeps_its_rules(columns, says):
    assert_refused(make_item(**columns), says)


def test_a_part_number_stands_once_however_it_is_spelled():
    make_item("OR-1").save()
    assert_refused(make_item(" or–1"), "An item with this part number exists already, perhaps spelled otherwise.")


@pytest.mark.parametrize(
    ("columns", "field"),
    [({"default_option": "FKM"}, "default_option"), ({"min_life_at_receipt": "soon"}, "min_life_at_receipt")],
)
def test_a_text_of_an_item_that_cannot_be_read_is_refused_at_its_field(columns, field):
    with pytest.raises(ValidationError) as refused:
        make_item(**columns).full_clean()
    assert set(refused.value.message_dict) == {field}


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"quantity": 0}, "The quantity of a structure line is above 0."),
        ({"at_rebuild": "oil"}, "At rebuild is one of: open, renew, inspect, keep."),
        ({"quantity_is_for": "whole_pump"}, "A quantity for the whole pump needs the pump that it was counted in."),
        ({"renewals_per_100": Decimal(101)}, "Renewals per 100 lie between 0 and 100."),
        ({"renewals_per_100": Decimal(-1)}, "Renewals per 100 lie between 0 and 100."),
        (
            {"from_on": date(2026, 4, 3), "to_on": date(2026, 4, 2)},
            "The last day of a line is not before its first.",
        ),
    ],
)
def test_a_structure_line_keeps_its_rules(pair, columns, says):
    parent, child = pair
    assert_refused(StructureLine(**{"parent": parent, "child": child, "quantity": ONE, **columns}), says)


def test_an_item_cannot_hold_itself(pair):
    assert_refused(StructureLine(parent=pair[0], child=pair[0], quantity=ONE), "An item cannot hold itself.")


def test_a_structure_line_stands_once(pair):
    parent, child = pair
    first = StructureLine(parent=parent, child=child, quantity=ONE, position="Seat", option="compound=FKM")
    first.save()
    assert_refused(
        StructureLine(parent=parent, child=child, quantity=2 * ONE, position=" seat", option="Compound=fkm"),
        "The parent holds this child at this position, option and first day or serial already.",
    )
    for other in ({"position": "cap"}, {"option": "compound=NBR"}, {"from_on": date(2026, 4, 3)}, {"from_serial": "9"}):
        columns = {"position": "seat", "option": "compound=FKM", **other}
        StructureLine(parent=parent, child=child, quantity=ONE, **columns).save()


def test_an_option_is_put_in_order_when_it_is_checked(pair):
    line = StructureLine(parent=pair[0], child=pair[1], quantity=ONE, option="service=normal; compound=FKM")
    line.full_clean()
    assert line.option == "compound=FKM;service=normal"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda a, b: ScopeSection(pump=a, scope="x", section=b, how_many=0), "A scope opens at least 1 of a section."),
        (lambda a, b: KitFit(kit=a, fits=b, instances=0), "A kit does at least 1 instance of the assembly."),
        (lambda a, b: KitFit(kit=a, fits=a), "A kit cannot fit itself."),
        (lambda a, b: Substitute(item=a, substitute=a, direction="both"), "An item is no substitute for itself."),
        (lambda a, b: Substitute(item=a, substitute=b, direction="up"), "Direction is one of: one_way, both."),
    ],
)
def test_the_other_tables_keep_their_rules(pair, make, says):
    assert_refused(make(*pair), says)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (
            lambda a, b, text: ScopeSection(pump=a, scope=text, section=b, how_many=1),
            "The scope names this section already.",
        ),
        (
            lambda a, b, text: KitFit(kit=a, fits=b, set_name=text),
            "The kit fits this assembly in this set already.",
        ),
        (lambda a, b, text: OtherNumber(item=a, number=text), "The item has this other number already."),
        (lambda a, b, text: Setting(name=text), "A setting of this name exists already: change that one."),
        (
            lambda a, b, text: Substitute(item=a, substitute=b, direction="both"),
            "This substitute is listed for the item already.",
        ),
        (lambda a, b, text: Holiday(date=date(2026, 4, 3)), "This day is a holiday already: change its name there."),
    ],
)
def test_a_natural_key_stands_once(pair, make, says):
    make(*pair, "Full reseal").save()
    assert_refused(make(*pair, "full  RESEAL "), says)

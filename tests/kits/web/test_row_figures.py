"""Orders to ring about, kits to pack, dying lots and what a part frees open to the arithmetic behind them."""

import pytest

from bom.plan import plan
from kits.planning.words.row_figures import RowFigures
from tests.demo_shop import demo_shop as engine_shop
from tests.kits.web.shops import sheet_of


def behind(sheet, name):
    """What stands behind the opener of one row, up to the next row's end."""
    assert f"The figures of {name}, worked out" in sheet
    return sheet.split(f"The figures of {name}, worked out ")[1]


@pytest.fixture
def batch(demo_shop, reader):
    return sheet_of(reader.get("/batches/Spring refit/"))


def test_an_order_that_comes_late_opens_to_who_draws_on_it_and_when_it_is_needed(batch):
    """PO-7104: one cage for J-3103, needed on the 10th, promised for the 18th."""
    told = behind(batch.split("Expedite :")[1], "PO-7104")
    assert told.startswith("Drawn too late: 1 J-3103, needed 10 Mar: 1 First needed: 10 Mar")
    assert "Late by: 6 working days (10 Mar to 18 Mar)" in told
    assert "Here on, if bought today: 10 Apr = 4 Mar today plus 25 working days lead time" in told


@pytest.mark.parametrize("address", ["/batches/Spring refit/", "/shortages/", "/parts/CG-S/"])
def test_wear_says_what_the_sure_needs_leave_and_that_there_is_no_chance_while_they_lack_something(
    demo_shop, reader, address
):
    """One cage lies here, and two are sure: the second waits for PO-7104, which covers three of the wear late."""
    sheet = sheet_of(reader.get(address))
    assert "Covered, but late: ring about the orders CG-S ball cage, small check valve" in sheet
    assert "5 a table: 3 1 0 0 % the shelf lacks 1 of the sure need" in sheet
    assert "= nothing short; covered late by PO-7104 on 18 Mar" in sheet


@pytest.mark.parametrize("address", ["/batches/Spring refit/", "/shortages/"])
def test_orders_that_cover_wear_late_are_to_be_rung_about(demo_shop, reader, address):
    ring = sheet_of(reader.get(address)).split("To ring about ")[1].split("To pack here")[0]
    late = ring.split("Covers wear late : needed earlier if the parts are found worn ")[1]
    assert late.startswith("PO-7104, 2 CG-S ball cage, small check valve Fernhope Turned Parts 3 18 Mar")
    assert "5 working days here on 10 Apr" in late
    assert "Covers wear too late: 3" in late


@pytest.mark.parametrize("address", ["/batches/Spring refit/", "/shortages/", "/"])
def test_an_overdue_order_opens_to_the_day_promised_and_who_leans_on_it(demo_shop, reader, address):
    told = behind(sheet_of(reader.get(address)), "PO-7102")
    assert told.startswith("Still to come: 16 Overdue by: 4 working days (26 Feb promised to 4 Mar today)")
    assert "Jobs that lean on it: 10 J-3111: 1 J-3113: 1" in told


@pytest.mark.parametrize("address", ["/batches/Spring refit/", "/shortages/"])
def test_a_kit_to_pack_opens_to_the_jobs_it_is_packed_for(demo_shop, reader, address):
    told = behind(sheet_of(reader.get(address)), "K-CKS")
    assert told.startswith("To put together: 6 = 2 + 4 J-3107, needed 13 Mar: 2 J-3121, needed 13 Apr: 4")


@pytest.mark.parametrize("address", ["/batches/Spring refit/", "/"])
def test_a_lot_that_dies_opens_to_what_is_taken_of_it_before(demo_shop, reader, address):
    told = behind(sheet_of(reader.get(address)), "NV-2104")
    assert told.startswith("Lies there: 9")
    assert "Not used by then: 4 = 9 − 5" in told
    assert "J-3111 takes: − 5" in told


def test_a_part_that_frees_jobs_opens_to_what_each_lacks(batch):
    told = behind(batch, "BR-112")
    assert told.startswith("Jobs in which no other part is missing or late, over the whole shop: 2 J-3106: 1 BR-112, ")
    assert "1 missing, on no order: short" in told


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("/parts/CG-S/", "To hurry: order PO-7104, 2: 1 Drawn too late: 1 J-3103, needed 10 Mar: 1"),
        ("/kits/K-CV/", "Overdue: order PO-7102, 1: 16 Still to come: 16 Overdue by: 4 working days"),
        ("/kits/K-CKS/", "To put together here: 6 To put together: 6 = 2 + 4"),
        ("/parts/CS-34-U/", "Runs out of life: lot NV-2104: 9 Lies there: 9"),
        (
            "/parts/BR-112/",
            "No other part is missing or late: 2 "
            "Jobs in which no other part is missing or late, over the whole shop: 2 J-3106: 1",
        ),
    ],
)
def test_the_sheet_of_a_part_opens_its_rows_too(demo_shop, reader, address, told):
    assert told in sheet_of(reader.get(address))


def test_the_sheet_of_a_part_tells_of_no_other_part(demo_shop, reader):
    assert "To hurry: order" not in sheet_of(reader.get("/parts/BR-112/"))


def test_rows_beyond_the_most_are_not_worked_out():
    figures = RowFigures(plan(engine_shop()), most=1)
    assert [said.label for said in figures.of("pack", "K-CKS")][:1] == ["To put together"]
    assert figures.of("pack", "K-E34N") == ()


def test_amounts_of_measured_parts_say_their_unit():
    (much, left) = RowFigures(plan(engine_shop())).of("expiring", "CS-34-U", "NV-2104", unit="mm")
    assert (much.figure, left.figure) == ("9 mm", "4 mm")


def test_totals_by_kind_say_what_the_bench_adds_by_itself(demo_shop, reader):
    """Of 244 g of grease only the gram of oxygen-rated grease is counted; the rest stands on the bench."""
    for batch, told in (
        ("Spring refit", "grease 1 1 g and 243 g from the bench, not counted"),
        ("Easter stop", "grease 0 and 178 g from the bench, not counted"),
    ):
        assert told in sheet_of(reader.get(f"/batches/{batch}/")).replace("\xa0", " ")

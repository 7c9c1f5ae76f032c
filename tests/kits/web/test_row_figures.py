"""Orders to call about, kits to pack, dying lots and what a part frees open to the arithmetic behind them."""

import re

import pytest

from bom.plan import plan
from kits.catalog.models import Item
from kits.planning.queries import plan_now
from kits.planning.sheets.items import part
from kits.planning.words.figure_heads import figure_heads
from kits.planning.words.item_names import item_names
from kits.planning.words.row_figures import row_figures
from kits.planning.words.why_words import part_figures
from tests.demo_shop import demo_shop as engine_shop
from tests.kits.web.shops import lines_that_open, sheet_of, worked_out

BATCH = "?batch=Spring refit"


@pytest.fixture
def behind(demo_shop, keeper):
    """What the line of a sheet opens to: the figures of an order, a kit, a lot or a part; the first of that name."""

    def opened(address, name, list_of=""):
        lines = lines_that_open(keeper.get(address))
        found = [to for says, to in lines if says == f"The figures of {name}, worked out" and f"/{list_of}" in to]
        return worked_out(keeper, found[0])

    return opened


def test_an_order_that_comes_late_opens_to_who_draws_on_it_and_when_it_is_needed(behind):
    """PO-7104: one cage for J-3103, needed on the 10th, promised for the 18th."""
    told = behind(f"/shortages/orders/{BATCH}", "PO-7104", "expedite")
    assert told.startswith("Drawn too late: 1 J-3103, needed 10 Mar: 1 First needed: 10 Mar")
    assert "Late by: 6 working days (10 Mar to 18 Mar)" in told
    assert "Here on, if bought today: 10 Apr = 4 Mar today plus 25 working days lead time" in told


@pytest.mark.parametrize(
    "address", [f"/shortages/wear/{BATCH}&find=CG-S", "/shortages/wear/?find=CG-S", "/parts/CG-S/"]
)
def test_wear_says_what_the_sure_needs_leave_and_that_there_is_no_chance_while_they_lack_something(
    demo_shop, reader, address
):
    """One cage lies here, and two are sure: the second waits for PO-7104, which covers three of the wear late."""
    sheet = sheet_of(reader.get(address))
    assert "Covered, but late: call about the orders CG-S ball cage, small check valve" in sheet
    assert "5 by rate: 3 1 0 0 %" in sheet
    assert "= nothing short; the shelf lacks 1 of the sure need; covered late by PO-7104 on 18 Mar" in sheet


@pytest.mark.parametrize("address", [f"/shortages/orders/{BATCH}", "/shortages/orders/"])
def test_orders_that_cover_wear_late_are_to_be_called_about(demo_shop, reader, behind, address):
    late = sheet_of(reader.get(address)).split("Covers wear late : needed earlier if the parts are found worn ")[1]
    assert late.startswith("PO-7104, 2 CG-S ball cage, small check valve Fernhope Turned Parts 3 18 Mar")
    assert "5 working days here on 10 Apr" in late
    assert "Covers wear too late: 3" in behind(address, "PO-7104", "late_wear")


@pytest.mark.parametrize("address", [f"/shortages/orders/{BATCH}", "/shortages/orders/", "/?for=purchaser"])
def test_an_overdue_order_opens_to_the_day_promised_and_who_leans_on_it(behind, address):
    told = behind(address, "PO-7102")
    assert told.startswith("Still to come: 16 Overdue by: 4 working days (26 Feb promised to 4 Mar today)")
    assert "Jobs that depend on it: 10 J-3111: 1 J-3113: 1" in told


@pytest.mark.parametrize("address", [f"/shortages/pack/{BATCH}", "/shortages/pack/"])
def test_a_kit_to_pack_opens_to_the_jobs_it_is_packed_for(behind, address):
    told = behind(address, "K-CKS")
    assert told.startswith("To put together: 6 = 2 + 4 J-3107, needed 13 Mar: 2 J-3121, needed 13 Apr: 4")


@pytest.mark.parametrize("address", [f"/shortages/lots/{BATCH}", "/?for=clerk"])
def test_a_lot_that_dies_opens_to_what_is_taken_of_it_before(behind, address):
    told = behind(address, "NV-2104")
    assert told.startswith("On hand: 9")
    assert "Not used by then: 4 = 9 − 5" in told
    assert "J-3111 takes: − 5" in told


def test_a_part_that_frees_jobs_opens_to_what_each_lacks(behind):
    told = behind("/batches/Spring refit/", "BR-112")
    assert told.startswith("Jobs in which no other part is missing or late, over the whole shop: 2 J-3106: 1 BR-112, ")
    assert "1 missing, on no order: short" in told


@pytest.mark.parametrize("address", ["/batches/Spring refit/", "/shortages/", "/shortages/orders/"])
def test_what_is_opened_is_fetched_then_and_stands_on_no_sheet_before(demo_shop, reader, address):
    sheet = sheet_of(reader.get(address))
    assert "Still to come: 16" not in sheet
    assert "per CK-M ×" not in sheet


def test_every_line_that_opens_leads_somewhere(demo_shop, keeper):
    sheets = ("/batches/Spring refit/", "/shortages/", "/shortages/wear/", "/shortages/orders/", "/freeing/")
    for address in (*sheets, "/?for=clerk", "/?for=purchaser", "/parts/CG-S/", "/parts/BR-112/"):
        lines = lines_that_open(keeper.get(address))
        assert lines
        assert {to: keeper.get(to).status_code for _, to in lines} == {to: 200 for _, to in lines}


@pytest.mark.parametrize(
    "address",
    [
        "/worked-out/chase/PO-7102/?also=99",
        "/worked-out/chase/PO-7102/",
        "/worked-out/expiring/CS-34-U/?also=NO-LOT",
        "/worked-out/pack/SE-M/",
        "/worked-out/needs/NO-PART/",
        "/worked-out/needs/SE-M/?also=1",
        "/worked-out/stars/SE-M/",
        "/worked-out/figure/SE-M/",
        "/worked-out/figure/SE-M/?also=demand&also=stars",
        "/worked-out/figure/NO-PART/?also=demand&also=sure",
        "/worked-out/job/NO-JOB/",
    ],
)
def test_a_line_that_the_plan_does_not_have_is_not_found(demo_shop, reader, address):
    answer = reader.get(address)
    assert answer.status_code == 404
    assert "look again at the sheet from which you came" in sheet_of(answer)


def test_wear_opens_to_what_each_job_looks_at(demo_shop, reader):
    told = worked_out(reader, "/worked-out/wear/CG-S/")
    assert "J-3104: looked at 2, of which 10 in 100 are renewed" in told
    assert "a table of “quantity per 100 overhauls” would plan 3 for as many positions, rounded half up." in told


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("/parts/CG-S/", "To expedite: order PO-7104, 2: 1 Drawn too late: 1 J-3103, needed 10 Mar: 1"),
        ("/kits/K-CV/", "Overdue: order PO-7102, 1: 16 Still to come: 16 Overdue by: 4 working days"),
        ("/kits/K-CKS/", "To put together here: 6 To put together: 6 = 2 + 4"),
        ("/parts/CS-34-U/", "Runs out of life: lot NV-2104: 9 On hand: 9"),
        (
            "/parts/BR-112/",
            "No other part is missing or late: 2 "
            "Jobs in which no other part is missing or late, over the whole shop: 2 J-3106: 1",
        ),
    ],
)
def test_the_sheet_of_a_part_opens_its_rows_too(demo_shop, reader, address, told):
    assert told in sheet_of(reader.get(address))


def test_the_figures_of_a_part_stand_on_its_sheet_as_they_are_worked_out(demo_shop):
    """Read off the plan, each says what its tree says: of everything in the shop, bought or not, asked for or not."""
    made = plan_now()
    for name in item_names(Item.objects.values_list("part_number", flat=True)).values():
        unit = name.amount(0).unit
        heads = [(head.label, head.figure) for head in figure_heads(made, name.part_number, unit)]
        assert heads == [(said.label, said.figure) for said in part_figures(made, name.part_number, unit)], name


def test_a_figure_of_a_part_opens_to_what_it_is_made_of(demo_shop, reader):
    to = dict(lines_that_open(reader.get("/parts/CG-S/")))["Sure need: <strong>2</strong>"]
    assert worked_out(reader, to).startswith("J-3103: 2 found worn, by the strip report: 2 = 1 + 1 pump 1 / E12 1 / ")


def test_a_long_list_of_uses_is_cut_and_stands_whole_on_a_sheet_of_its_own(demo_shop, reader, monkeypatch):
    monkeypatch.setattr(part, "MOST_USES", 1)
    monkeypatch.setattr(part, "MOST_PUMPS", 1)
    whole = sheet_of(reader.get("/uses/CS-34-U/"))
    lines, pumps = re.search(r"Lines (\d+) Pumps (\d+)", whole).groups()
    assert (int(lines) > 1, int(pumps) > 1) == (True, True)
    cut = sheet_of(reader.get("/parts/CS-34-U/"))
    assert f"{int(pumps) - 1} more: everything that holds CS-34-U" in cut
    assert reader.get("/uses/CS-34-U/?export=csv").content.decode().count("\n") == int(lines) + 1


def test_the_sheet_of_a_part_tells_of_no_other_part(demo_shop, reader):
    assert "To expedite: order" not in sheet_of(reader.get("/parts/BR-112/"))


def test_amounts_of_measured_parts_say_their_unit():
    (much, left) = row_figures(plan(engine_shop()), "expiring", ("CS-34-U", "NV-2104"), unit="mm")
    assert (much.figure, left.figure) == ("9 mm", "4 mm")


def test_totals_by_kind_say_what_the_bench_adds_by_itself(demo_shop, reader):
    """Of 244 g of grease only the gram of oxygen-rated grease is counted; the rest stands on the bench."""
    for batch, told in (
        ("Spring refit", "grease 1 1 g and 243 g from the bench, not counted"),
        ("Easter stop", "grease 0 and 178 g from the bench, not counted"),
    ):
        assert told in sheet_of(reader.get(f"/batch-sheets/kinds/{batch}/")).replace("\xa0", " ")

"""What the sheet of a batch says could be done, on the small shop by hand and on the demo shop as its story tells."""

from datetime import date

import pytest

from kits.planning.questions import shelf_answer
from kits.purchasing.models import OrderLine
from tests.kits.exchange.books import load_sheets
from tests.kits.web.shops import SMALL, sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def says(small_shop, reader):
    return lambda address: sheet_of(reader.get(address))


def what_frees_in(sheet):
    return sheet.split("What frees most")[1].split("Wear that may be found")[0]


@pytest.fixture
def told(demo_shop, reader):
    return lambda batch: sheet_of(reader.get(f"/batches/{batch}/"))


@pytest.fixture
def advised(demo_shop, reader):
    return lambda batch: sheet_of(reader.get(f"/batch-sheets/advice/{batch}/"))


def test_two_parts_that_hold_one_job_together_stand_in_one_row(says):
    OrderLine.objects.filter(order="PO-2").update(promised_on=date(2026, 3, 6))
    assert (
        "CO-1 cord with K-1 end seal kit buy 1000 mm, here on 10 Mar if ordered today buy 2, lead time not known 1 J-2 "
    ) in says("/batches/spring/")


def test_weakest_line_says_what_one_more_piece_adds_for_its_price(says):
    """Eight balls at 35 in 100 and three here: 0.7064 with three, 0.8939 with four."""
    sheet = says("/batch-sheets/advice/spring/")
    assert "BA-1 ball 3 71 % 89 % 19 points 3.00" in sheet
    assert "read each planned quantity as a floor" in sheet


def test_open_first_names_the_pump_and_what_it_decides(says):
    """Four balls at 35 in 100 are 1.4 expected, at 3.00 each."""
    sheet = says("/batch-sheets/advice/spring/")
    assert "J-1 decides most: 4 positions, 1 part whose wear nothing covers." in sheet
    assert "J-1 not here yet 4 4.20 BA-1 13 Feb 2026" in sheet


def test_kit_to_buy_that_can_be_packed_once_an_order_has_come_is_proposed_with_both_days(small_shop, says):
    """J-2 lacks two kits of two rings and three seats: eight rings are free, and nine seats come in time."""
    orders = [*SMALL["Orders"], ["PO-3", "1", "Ring House", "SE-1", 9, date(2026, 3, 18)]]
    assert load_sheets({**SMALL, "Orders": orders}).stored
    sheet = says("/batch-sheets/advice/spring/").split("Kits and loose parts: proposals")[1]
    assert (
        "J-2 2 × K-1 packed here when PO-3 comes: 6 × SE-1 on 18 Mar; 4 × OR-014 from the shelf "
        "the last piece comes on 18 Mar, packed by 18 Mar, needed by 23 Mar; then it need not be bought"
    ) in sheet


def test_shelf_that_finishes_nothing_says_so(says):
    line = "Served in order, today's shelf finishes none of 2 jobs; a free choice over the whole shop finishes as many"
    assert line in says("/batch-sheets/advice/spring/")
    assert line in says("/shelf/spring/")


def test_shelf_that_could_finish_another_job_says_what_it_would_take_from_whom(small_shop, reader):
    """Served first, J-1 takes both kits and still lacks cord; with cord for one pump only, J-2 needs just one end."""
    scopes = [["pump", "scope", "section", "how_many"], ["P-1", "full", "E-1", 2], ["P-1", "one", "E-1", 1]]
    jobs = [SMALL["Schedule"][0], *SMALL["Schedule"][1:2]]
    jobs.append(["J-2", "P-1", "one", SMALL["Schedule"][2][3], "spring", None, "expected"])
    outcome = load_sheets({**SMALL, "Scopes": scopes, "Schedule": jobs})
    assert outcome.stored, [problem.says for problem in outcome.problems]
    sheet = sheet_of(reader.get("/batch-sheets/advice/spring/"))
    assert "finishes none of 2 jobs; a free choice over the whole shop finishes 1." in sheet
    assert "J-2 no 310 mm × CO-1 , 1 × K-1 from J-1" in sheet, "of the rings there are enough for both"


def test_large_shop_is_asked_before_its_shelf_is_worked_out(says, monkeypatch):
    monkeypatch.setattr(shelf_answer, "MOST_AT_ONCE", 1)
    assert "What frees most" not in says("/batches/spring/")
    advice = says("/batch-sheets/advice/spring/")
    assert "Buying 1 × 1000 mm CO-1" not in says("/batches/spring/")
    assert "What frees most" in advice
    assert "Work out what today's shelf can finish" in advice
    assert "Served in order, today's shelf finishes none of 2 jobs" in says("/shelf/spring/")


def test_demo_says_what_frees_most(told, advised):
    """Three stand on the first sheet of the batch, all of them on that of what could be done."""
    first, sheet = told("Spring refit"), advised("Spring refit")
    assert "PO-7102 arrives K-CV cycling valve seal kit call about it, needed by 26 Mar; " in first
    assert "PO-7102 arrives K-CV cycling valve seal kit call about it, needed by 26 Mar; " in sheet
    assert "All 7, and what else could be done" in first
    assert "CG-S ball cage, small check valve expedite its order; a new one would be here on 10 Apr" in sheet


def test_demo_opens_with_what_stands_below(told):
    """J-3117 leans on PO-7102, and its kits cost less put together: no purchase is said to free it."""
    sheet = told("Easter stop")
    assert sheet.startswith(
        "Easter stop 2 of 11 jobs can be built on their day. 4 more only if PO-7102 comes. "
        "4 that are short can still be in time if what they lack is ordered by 12 Mar, "
        "3 of them only if PO-7102 comes too. Over the whole shop, wear"
    )
    assert "buy 2" not in what_frees_in(sheet), "K-E12F of J-3117"
    assert "K-E12F end kit 1/2 in, FKM once PO-7102 arrives K-CV cycling valve seal kit" in sheet
    assert "put it together instead of buying it: see kit or loose" in sheet


def test_a_job_that_a_kit_can_help_out_is_freed_by_no_purchase(told):
    sheet = told("Spring refit")
    assert "J-3106 and J-3112 can each do without the purchase that is listed; how stands among the proposals." in sheet
    assert "split, plunger 1/2 in take it out of a kit: see the proposals 1 J-3106 1" in sheet
    assert "BR-112 backup ring for 112, split, plunger 1/2 in buy" not in what_frees_in(sheet)


def test_demo_says_what_the_shelf_could_finish(advised):
    sheet = advised("Spring refit")
    assert "finishes 6 of 13 jobs; a free choice over the whole shop finishes 8." in sheet
    assert "8 in order, 14 chosen, jobs and other needs weighed by priority (proved best)" in sheet


def test_demo_proposes_a_piece_out_of_a_kit(advised):
    assert (
        "J-3106 1 × BR-112 out of 1 × K-E12F, lot P-0547 at K2 the kit is meant for J-3103 and owes the piece "
        "by 10 Mar; ordered today it is here on 6 Mar"
    ) in advised("Spring refit")


def test_demo_puts_two_kits_together_out_of_the_bag_that_is_bought_anyway(advised):
    sheet = advised("Easter stop")
    assert "Putting 2 × K-E12F together instead of buying them saves 328.00, 189.50 instead of 517.50" in sheet
    assert "4 × BR-112 328.00 Order Packs as listed" in sheet
    assert "K-E12F end kit 1/2 in, FKM 2 328.00 none" in sheet
    assert "Kit or loose" not in advised("Spring refit")

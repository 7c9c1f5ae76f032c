"""What the pages say of a small shop whose every figure can be checked by hand.

One pump P-1 holds 2 ends; an end takes 3 rings, 310 mm of cord and 2 check valves with a seat and a ball each. The kit
brings 2 rings and 3 seats to an end. Two jobs open both ends: on the shelf are 2 kits, 12 rings, 3 balls, 500 mm of
cord; 500 mm more are overdue on PO-2.
"""

import io
import re
from datetime import date

import pytest
from openpyxl import load_workbook

from kits.catalog.models import KitFit
from kits.schedule.models import Job
from tests.kits.exchange.books import load_sheets
from tests.kits.web.shops import SMALL, sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def says(small_shop, reader):
    def sheet_at(address):
        answer = reader.get(address)
        assert answer.status_code == 200
        return sheet_of(answer)

    return sheet_at


def test_batch_opens_with_the_answer(says):
    sheet = says("/batches/spring/")
    assert sheet.startswith("spring None of 2 jobs can be built on their day. 1 more only if PO-2 comes.")
    assert "Over the whole shop, wear that may be found is covered for 0 of 1 part; the weakest is BA-1." in sheet


def test_grid_shows_which_part_holds_which_job(says):
    grid = says("/batches/spring/").split("to how it comes about. ")[1].split(" ready waiting:")[0]
    assert grid == (
        "Job Pump and scope Build State PO-2 arrives CO-1 CO-1 cord K-1 end seal kit "
        "From the day the parts are here to the build day "
        "J-1 P-1, full 16 Mar 2026 waiting on a broken promise parts here on 4 Mar if PO-2 comes 120 mm overdue "
        "J-2 P-1, full 24 Mar 2026 short, no lead time known and only if PO-2 comes 380 mm overdue 240 mm 2 "
        "Missing; on an order that comes late, or is overdue 500 mm awaited 240 mm 2"
    )


def test_every_line_to_buy_opens_to_its_arithmetic(says):
    lines = says("/shortages/?batch=spring").split("Here, if ordered today ")[1].split(" Total of the sure needs")[0]
    assert lines == (
        "CO-1 cord 240 mm 1 × 1000 mm 760 mm none used in 12 months, expires after 31 Mar 2041 "
        "Ring House 12.00 23 Mar 2026 17 Mar 2026 10 Mar 2026 "
        "1240 mm needed − 500 mm from the shelf − 500 mm on order = 240 mm short The same on a sheet of its own "
        "K-1 end seal kit 2 2 × 1 no offer 23 Mar 2026 "
        "4 needed − 2 from the shelf = 2 short The same on a sheet of its own"
    )
    assert says("/worked-out/needs/CO-1/?batch=spring").split("How it comes about ")[1] == (
        "J-2 : 620 mm needed, 240 mm missing 310 per E-1 × 2 E-1 × 1 pump = 620 mm, not in kit K-1 "
        "J-1 : 620 mm needed 310 per E-1 × 2 E-1 × 1 pump = 620 mm, not in kit K-1 "
        "Every figure of CO-1, worked out"
    )
    assert says("/worked-out/needs/K-1/?batch=spring").split("How it comes about ")[1] == (
        "J-2 : 2 needed, 2 missing 2 to serve E-1 J-1 : 2 needed 2 to serve E-1 Every figure of K-1, worked out"
    )


def test_batch_says_in_one_line_and_a_bar_what_becomes_of_wear(says):
    sheet = says("/batches/spring/").split("Wear that may be found ")[1]
    assert sheet.startswith(
        "Pooled over all open jobs of the shop. 0 of 1 part covered; the weakest is BA-1 . To buy: 0.00 EUR, and 6.00 "
        "only if found worn. 1: to order only if found worn"
    )


def test_batch_leads_to_its_further_sheets_with_how_much_they_hold(says, reader):
    sheets = says("/batches/spring/").split("Further sheets ")[1].split(" Try a change")[0]
    assert sheets == (
        "What could be done Kits , 1 Sure needs by kind , 3 What was changed by hand To buy: sure needs , 2 "
        "To buy: wear that may be found , 1 To buy: top-ups , 0 To call about , 1 To pack here , 0 "
        "Lots that run out of life , 0"
    )
    page = reader.get("/batches/spring/").content.decode()
    doors = re.findall(r'<li><a href="(/(?:shortages|batch-sheets)/[^"]*)"', page.split("Further sheets")[1])
    assert len(doors) == 10
    assert {door: reader.get(door).status_code for door in doors} == dict.fromkeys(doors, 200)


def test_lists_of_shortages_are_sorted_narrowed_and_leave_as_files(says, reader):
    sheet = says("/shortages/?sort=-part")
    assert sheet.index("K-1 end seal kit") < sheet.index("CO-1 cord")
    narrowed = says("/shortages/?find=cord+ring")
    assert "1 of 2 rows hold these words." in narrowed
    assert "K-1 end seal kit" not in narrowed
    text = reader.get("/shortages/orders/?export=csv&batch=spring").content.decode("utf-8-sig").splitlines()
    assert text == [
        "Order,Part,What it is,Supplier,Quantity,Promised,Needed,How late,Ordered today instead,Jobs,Why to call",
        '"PO-2, 1",CO-1,cord,Ring House,500,2026-03-02,,2,,"J-1, J-2",overdue',
    ]


def test_crossing_leads_to_the_arithmetic_with_its_own_job_on_top(reader, small_shop):
    page = reader.get("/batches/spring/").content.decode()
    assert 'href="/worked-out/needs/CO-1/?job=J-2"' in page
    told = sheet_of(reader.get("/worked-out/needs/CO-1/?job=J-1")).split("How it comes about ")[1]
    assert told.startswith("J-1 : 620 mm needed")


def test_a_price_break_that_saves_and_a_supplier_who_closes_are_told_beside_the_line(small_shop, says):
    """Two bags of cord at 5.00 are cheaper than one at 12.00; Ring House is closed for a week from the 9th on."""
    offers = [[*SMALL["Offers"][0], "price_from_packs"], ["Ring House", "CO-1", 1000, 4, 5, 2]]
    closed = [["supplier", "closed_from", "closed_to"], ["Ring House", date(2026, 3, 9), date(2026, 3, 13)]]
    assert load_sheets({**SMALL, "Offers": offers, "Suppliers": closed}).stored
    line = says("/shortages/").split("CO-1 cord ")[1].split(" worked out")[0]
    assert "Ring House closed from 9 Mar to 13 Mar 12.00 2 packs would be 10.00, 2.00 less" in line
    assert "Price: 12.00" in says("/parts/CO-1/")
    price, here = (says(f"/worked-out/figure/CO-1/?also=buy&also={of}") for of in ("price", "earliest_arrival"))
    assert "saved at the next price break: 2.00 = 12.00 − 10.00" in price
    assert "supplier closed from 9 Mar, to 13 Mar" in here


def test_sure_needs_and_wear_have_totals_of_their_own(says):
    sure = "Total of the sure needs, for all jobs of the shop, 1 line without a price 12.00"
    assert sure in says("/shortages/?batch=spring")
    assert (
        "Total for wear, for all jobs of the shop 0.00 "
        "Only if found worn, for all jobs of the shop; not in the total 6.00"
    ) in says("/shortages/wear/?batch=spring")
    assert "Total of the sure needs, 1 line without a price 12.00" in says("/shortages/")
    assert "Total for wear 0.00 Only if found worn; not in the total 6.00" in says("/shortages/wear/")


def test_wear_shows_how_sure_the_shelf_makes_us(says):
    sheet = says("/shortages/wear/")
    assert "Usable on hand Left for wear Chance that this is enough" in sheet
    assert "BA-1 ball 8 2.8 5 by rate: 3 3 3 71 % 2 2 × 1 6.00" in sheet
    assert "5 to be 90 % sure − 3 from the shelf and orders after the sure needs = 2 short; from Ring House" in sheet
    assert "J-1: looked at 4, of which 35 in 100 are renewed" in says("/worked-out/wear/BA-1/")


def test_kits_show_what_is_in_them_not_in_them_and_left_over(says):
    kits = says("/batch-sheets/kits/spring/").split("needed loose. ")[1]
    assert kits == (
        "Kit Goes into Kits Not in the kit Left over Spare for inspection K-1 end seal kit E-1 4 "
        "1240 mm × CO-1 , 4 × OR-014 4 × SE-1 2 parts in the kit, 2 jobs "
        "In the kit: 8 × OR-014 , 8 × SE-1 Jobs: J-1 , J-2"
    )


def test_needs_are_totalled_by_kind(says):
    assert "Kind Numbers Needed Short cord 1 1240 mm 240 mm O-ring 1 12 seat 1 8" in says("/batch-sheets/kinds/spring/")


def test_overdue_order_is_to_be_chased_with_the_jobs_that_lean_on_it(says):
    assert "PO-2, 1 CO-1 cord Ring House 500 mm 2 Mar 2026 2 working days J-1 , J-2" in says(
        "/shortages/orders/?batch=spring"
    )


def test_job_says_where_each_part_comes_from(says):
    sheet = says("/jobs/J-1/").split("Comes from ")[1].split(" How it was worked out")[0]
    assert sheet == (
        "CO-1 cord 620 mm 13 Mar 2026 500 mm from lot C-2 at A1 last use 31 Mar 2040 "
        "120 mm on PO-2, overdue since 2 Mar 2026 "
        "K-1 end seal kit 2 13 Mar 2026 2 from lot KIT-9 at A1 "
        "OR-014 O-ring 014 2 13 Mar 2026 2 from lot L-1 at A1 last use 31 Dec 2039"
    )


def test_job_says_why_it_is_as_it_is(says):
    assert "Its state, its days and what holds it, worked out" in says("/jobs/J-2/")
    assert says("/worked-out/job/J-2/").split("How it comes about ")[1] == (
        "State: short (the worst of these) K-1, needed 23 Mar: short 2 missing, on no order: short "
        "CO-1, needed 23 Mar: short (the worst of these) 240 missing, on no order: short "
        "380 from order PO-2, 1, promised for 2 Mar, Ring House: waiting "
        "OR-014, needed 23 Mar: ready 2 from lot L-1, at A1, last use 31 Dec 2039: ready "
        "Held by: K-1 (the first of these is taken) K-1, here on a day that nobody knows: K-1 "
        "K-1, needed 23 Mar: short 2 missing, on no order: short CO-1, here on 10 Mar: CO-1 "
        "CO-1, needed 23 Mar: short (the worst of these) 240 missing, on no order: short "
        "380 from order PO-2, 1, promised for 2 Mar, Ring House: waiting "
        "Depends on an overdue order: yes CO-1, needed 23 Mar: 620 = 380 + 240 "
        "order PO-2, 1, promised for 2 Mar, Ring House: 380 missing: 240"
    )


def test_part_opens_every_figure_down_to_its_lots_and_orders(says):
    sheet = says("/parts/CO-1/").split("down to lots, orders and positions. ")[1]
    assert sheet.startswith("14 figures Sure need: 1240 mm The same on a sheet of its own ")
    told = says("/worked-out/figure/CO-1/?also=demand&also=sure").split("How it comes about ")[1]
    assert told == (
        "= 620 + 620 "
        "J-1: 620 renewed in E-1: 620 = 1 pump × 2 E-1 in one pump × 310 in one E-1 "
        "J-2: 620 renewed in E-1: 620 = 1 pump × 2 E-1 in one pump × 310 in one E-1"
    )
    assert "240 = 620 − 380 asked: 620 order PO-2, 1, promised for 2 Mar, Ring House: − 380" in says(
        "/worked-out/figure/CO-1/?also=demand&also=uncovered"
    )


def test_job_lists_its_sections_in_assembly_order(says):
    sheet = says("/sections/J-1/").split("1 kit below ")[1].split(" Kits In the kit")[0]
    assert sheet == (
        "2 × E-1 liquid end; kit K-1 2 lines Place Part Running product In all What happens Kit "
        "gland OR-014 O-ring 014 3 per E-1 × 2 E-1 6 renewed K-1 "
        "cover CO-1 cord 310 mm per E-1 × 2 E-1 620 mm renewed "
        "4 × CK-1 check valve: 2 CK-1 per E-1 × 2 E-1 2 lines Place Part Running product In all What happens Kit "
        "seat SE-1 valve seat 1 per CK-1 × 2 CK-1 per E-1 × 2 E-1 4 renewed K-1 "
        "ball BA-1 ball 1 per CK-1 × 2 CK-1 per E-1 × 2 E-1 4 looked at, 35 in 100 renewed"
    )


def test_job_that_asks_for_nothing_says_so(says):
    assert "This job is shipped and asks for no parts." in says("/jobs/J-9/")


def test_caution_stands_where_the_work_is(says):
    for address in ("/jobs/J-1/", "/batches/spring/", "/pumps/P-1/"):
        assert "prove zero on a gauge" in says(address)


def test_strip_report_lists_what_has_still_to_be_looked_at(says):
    sheet = says("/jobs/J-1/")
    assert "4 positions still to be looked at." in sheet
    assert "pump 1 / E-1 2 : 2 of 2 still to be looked at" in sheet


def test_pump_shows_running_products(says):
    sheet = says("/pumps/P-1/")
    assert "SE-1 valve seat seat 1 per CK-1 × 2 × 2 4 renewed" in sheet
    assert "OR-014 O-ring 014 gland 3 per E-1 × 2 6 renewed compound NBR" in sheet
    assert "Unless a job says otherwise compound NBR" in sheet
    assert "full 2 × E-1 K-1" in sheet


def test_pump_lists_what_no_job_can_ask_for(small_shop, reader):
    assert "Never asked for" not in sheet_of(reader.get("/pumps/P-1/"))
    lines = SMALL["Structure"]
    assert load_sheets({"Structure": [lines[0], ["P-1", "OR-014", 1, None, "renew", None, "cover", None]]}).stored
    sheet = sheet_of(reader.get("/pumps/P-1/"))
    assert (
        "OR-014 directly under P-1, which no scope of it opens itself "
        "name P-1 itself as a section of a scope, or put them into an assembly that is opened"
    ) in sheet


def test_kit_that_no_job_takes_says_why(small_shop, reader):
    KitFit.objects.all().delete()
    says = "No job takes it: it fits nothing yet. To change that, say on its page, or in KitFits, what it fits."
    assert says in sheet_of(reader.get("/kits/K-1/"))


def test_part_shows_each_way_into_a_pump(says):
    assert "P-1 1 per CK-1 × 2 CK-1 × 2 E-1 = 4" in says("/parts/SE-1/")


def test_part_sets_what_is_needed_against_what_is_in_hand(says):
    curves = says("/parts/CO-1/").split("Expired Left Missing ")[1].split(" Week by week")[0]
    assert curves == ("4 Mar 2026 500 mm 1000 mm 13 Mar 2026 620 mm 380 mm 23 Mar 2026 620 mm 240 mm")


def test_kit_says_whether_it_fits(says):
    sheet = says("/kits/K-1/")
    assert "Not in the kit, and needed loose: 310 mm × CO-1, 1 × OR-014. Left over: 1 × SE-1." in sheet
    assert "0 could be packed, SE-1 being what limits it" in sheet
    assert "To pack or buy 4 Mar 2026 2 13 Mar 2026 2 23 Mar 2026 2 2" in sheet


def test_today_names_the_next_builds_and_what_holds_them(says):
    sheet = says("/")
    assert "1 job is built in the next 10 working days; it cannot be on its day." in sheet
    assert "16 Mar 2026 J-1 P-1, full waiting on a broken promise parts here on 4 Mar if PO-2 comes CO-1" in sheet


def test_schedule_shows_every_job_with_its_state(says):
    sheet = says("/schedule/")
    assert "Schedule 1 batch As of" in sheet
    assert "2 jobs in 1 batch: 1 waiting, 1 short." in sheet
    assert "2 depend on an overdue order" in sheet
    assert "J-9 P-1, full spring 2 Mar 2026 shipped" in sheet


def test_shelf_lists_lots_in_walk_order(says):
    assert "A1 BA-1 ball B-7 3 A1 CO-1 cord C-2 500 mm 31 Mar 2040" in says("/storeroom/")
    assert "1 lot on the shelf for “ring”." in says("/storeroom/?q=ring")


def test_open_orders_stand_with_the_overdue_ones_first(says):
    assert (
        "2 Mar 2026 2 working days ago PO-2, 1 CO-1 cord 500 mm Ring House "
        "look or change the promise of PO-2, 1 20 Mar 2026 PO-1, 1 SE-1"
    ) in says("/purchasing/")


def test_supplier_can_be_chosen(says):
    assert "CO-1 cord 240 mm" in says("/shortages/?supplier=Ring+House")
    assert "K-1 end seal kit 2" not in says("/shortages/?supplier=Ring+House").split("To buy: wear")[0]


def test_workbook_can_be_downloaded(small_shop, reader):
    answer = reader.get("/shortages/workbook/?batch=spring")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="shortages-spring-2026-03-04.xlsx"'
    assert "Shortages" in load_workbook(io.BytesIO(answer.content)).sheetnames


def test_lists_that_contradict_a_rule_are_named_instead_of_a_plan(small_shop, reader):
    Job.objects.filter(job="J-1").update(option="compound=EPDM")
    answer = reader.get("/batches/spring/")
    assert answer.status_code == 409
    assert "No plan can be made from them" in sheet_of(answer)
    assert "compound=epdm is not known" in sheet_of(answer)


def test_shop_without_jobs_does_not_say_that_all_is_on_the_shelf(reader):
    told = sheet_of(reader.get("/shortages/"))
    assert "No job asks for parts yet. Enter new jobs or upload the schedule" in told
    assert "on the shelf or on order" not in told
    due = sheet_of(reader.get("/purchasing/due/"))
    assert "No job asks for parts yet" in due
    assert "are enough" not in due


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("/proposed-days/", "No job asks for parts, so there is no day to propose."),
        ("/picking/", "No job asks for parts that lie here."),
        ("/storeroom/put-away/", "Nothing is to be put away."),
        ("/storeroom/movements/", "Nothing moved in the last 30 days."),
        ("/storeroom/certificates/", "No lot has or needs a certificate yet"),
        ("/purchasing/chase/", "No line waits to be confirmed, and no promise is broken."),
    ],
)
def test_lists_of_an_empty_shop_claim_nothing_of_what_is_not_there(reader, address, says):
    assert says in sheet_of(reader.get(address))


def test_empty_shop_says_what_to_do_next(reader):
    assert "Nothing has been brought in yet." in sheet_of(reader.get("/"))
    assert "No job asks for parts yet." in sheet_of(reader.get("/schedule/"))
    for address in ("/shortages/", "/storeroom/", "/purchasing/", "/pumps-and-parts/", "/search/", "/upload/"):
        assert reader.get(address).status_code == 200


def test_stripped_job_is_ready_to_build_only_when_everything_was_looked_at(small_shop, reader):
    load_sheets({**SMALL, "Lots": [*SMALL["Lots"], ["CO-1", "C-3", 5000, "A1", "1Q25"]]})
    assert "parts ready, pump not here" in sheet_of(reader.get("/jobs/J-1/"))
    Job.objects.filter(job="J-1").update(stage="here")
    assert "ready to strip" in sheet_of(reader.get("/jobs/J-1/"))
    Job.objects.filter(job="J-1").update(stage="stripped")
    assert "ready to build, 4 positions still to inspect" in sheet_of(reader.get("/jobs/J-1/"))


def test_long_schedule_shows_the_first_jobs_of_each_batch(small_shop, reader):
    first = Job.objects.get(job="J-1")
    Job.objects.bulk_create(
        Job(job=f"L-{n:03}", pump=first.pump, scope="full", build_on=date(2026, 5, 4), batch=first.batch)
        for n in range(160)
    )
    sheet = sheet_of(reader.get("/schedule/"))
    assert "162 jobs in 1 batch" in sheet
    assert "154 more jobs are built later: the whole batch" in sheet
    assert "L-005" in sheet
    assert "L-006" not in sheet

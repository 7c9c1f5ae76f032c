"""The quote of a job on the page: versions, the sheet for the customer, the go-ahead, hours; and the gate it is."""

from decimal import Decimal

import pytest

from kits.catalog.models import Item, Setting
from kits.planning.sheets.jobs import quote as quote_sheet
from kits.schedule.models import Job, Verdict
from kits.service.models import GoAhead, Quote, WorkHours
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PAGE = "/quotes/J-1/"


@pytest.fixture
def lead(small_shop, client):
    client.force_login(person_of("Service lead", "lead"))
    return client


def find_a_ball(found="pitted"):
    Job.objects.filter(job="J-1").update(stage="stripped")
    ball = Item.objects.get(part_number="BA-1")
    where = "pump 1 / E-1 1 / CK-1 1 / ball"
    Verdict.objects.create(job=Job.objects.get(job="J-1"), where=where, item=ball, verdict="renew", found=found)


def agree(lead, says="Ms Reed, order 4711"):
    quote = Quote.objects.order_by("version").last()
    return tap(lead, f"/go-aheads/{quote.pk}/", {"says": says}, on=PAGE)


def test_a_folded_quote_says_as_well_what_nobody_knows(lead, monkeypatch):
    unpriced = "without 1 line whose price nobody knows"
    assert sheet_of(lead.get(PAGE)).count(unpriced) == 1
    monkeypatch.setattr(quote_sheet, "MOST_LINES", 1)
    folded = sheet_of(lead.get(PAGE))
    assert folded.count(unpriced) == 2
    assert folded.index(unpriced) < folded.index("Line by line")


def test_the_page_tells_what_the_job_comes_to_and_what_nobody_knows(lead):
    """By hand: 6 rings at 9.50 for 25 = 2.28; 4 seats at 40 for 10 = 16.00; 620 mm of cord at 12 for 1000 = 7.44.

    A kit has no price of its own: 2 rings and 3 seats in it are 0.76 + 12.00 = 12.76, two of them 25.52; loose are left
    2 rings = 0.76 and no seat.
    """
    sheet = sheet_of(lead.get(PAGE))
    assert "K-1 end seal kit 2 12.76 25.52" in sheet
    assert "OR-014 O-ring 014 2 0.38 0.76" in sheet
    assert "CO-1 cord 620 mm 0.012 7.44" in sheet
    assert "In all , without 1 line whose price nobody knows 33.72" in sheet
    assert "Nobody knows the price of a new pump, so that no ceiling is kept" in sheet
    assert "4 positions still to be looked at: what is found there comes on top." in sheet


def test_versions_say_what_the_strip_down_added_and_the_print_is_for_the_customer(lead):
    assert tap(lead, PAGE, {"note": "as delivered"}).status_code == 302
    find_a_ball()
    sheet = sheet_of(lead.get(PAGE))
    assert "By what is known now it comes to 36.72 EUR" in sheet
    assert "What has changed since version 1 What Before After EUR ball 1 +3.00" in sheet
    assert tap(lead, PAGE, {"note": "one ball is pitted"}).status_code == 302
    printed = sheet_of(lead.get("/quote-prints/2/J-1/"))
    assert "Quote J-1, version 2" in printed
    assert "One ball is pitted." in printed
    assert "Parts that the strip-down found" in printed
    assert "What is different from version 1" in printed
    assert "We agree to version 2 of this quote." in printed
    assert "ceiling" not in printed
    assert lead.get("/quote-prints/3/J-1/").status_code == 404


def test_a_double_tap_stores_one_version_and_an_overtaken_page_none(lead):
    said = {"key": key_on(lead, PAGE), "note": ""}
    late = key_on(lead, PAGE)
    assert [lead.post(PAGE, said).status_code for _ in range(2)] == [302, 302]
    assert lead.post(PAGE, {"key": late, "note": "mine"}).status_code == 409
    assert Quote.objects.count() == 1


def test_the_go_ahead_is_written_down_with_who_gave_it_and_taken_back_with_a_reason(lead):
    tap(lead, PAGE, {"note": ""})
    answer = agree(lead, " ")
    assert (answer.status_code, GoAhead.objects.count()) == (409, 0)
    assert "Nothing says who gave the go-ahead" in sheet_of(answer)
    assert agree(lead).status_code == 302
    assert "The customer agreed: Ms Reed, order 4711." in sheet_of(lead.get(PAGE))
    given = GoAhead.objects.get()
    assert tap(lead, f"/go-aheads/{given.pk}/take-back/", {"says": "withdrawn"}, on=PAGE).status_code == 302
    assert "taken back by lead" in sheet_of(lead.get(PAGE))


def test_a_job_that_waits_for_its_go_ahead_says_so_and_is_not_picked(lead):
    Setting.objects.create(name="quotes_need_go_ahead", value="yes")
    assert "The job waits for one, and for the customer's go-ahead." in sheet_of(lead.get(PAGE))
    Job.objects.filter(job="J-1").update(stage="stripped")
    told, gate = sheet_of(lead.get("/jobs/J-1/")).split("May it be built?")
    assert "Waits for the customer : no quote has been made" in told
    assert "No quote has been made, and the customer has not given the go-ahead. Look at its quote" in gate
    answer = tap(lead, "/picking/start/", {"job": ["J-1"]}, on="/picking/", follow=True)
    assert "J-1 cannot be picked yet: no quote has been made" in sheet_of(answer)
    tap(lead, PAGE, {"note": ""})
    assert "The job waits for the customer's go-ahead : nothing is picked or built for it." in sheet_of(lead.get(PAGE))
    agree(lead)
    assert "customer has not" not in sheet_of(lead.get("/jobs/J-1/"))


def test_over_the_ceiling_the_page_says_to_offer_a_new_pump(lead):
    Item.objects.filter(part_number="P-1").update(unit_cost=Decimal(40))
    sheet = sheet_of(lead.get(PAGE))
    assert "That is 84.3 % of a new pump at 40.00 EUR, over the ceiling of 65 % : offer a new pump as well." in sheet


def test_a_job_that_asks_for_nothing_any_more_keeps_its_versions_and_gets_no_new_one(lead):
    key = key_on(lead, PAGE)
    tap(lead, PAGE, {"note": ""})
    Job.objects.filter(job="J-1").update(stage="shipped")
    assert "Version 1 comes to 33.72 EUR" in sheet_of(lead.get(PAGE))
    answer = lead.post(PAGE, {"key": key, "note": ""})
    assert answer.status_code == 409
    assert "J-1 is shipped and asks for no parts: there is nothing to quote." in sheet_of(answer)


def test_the_lines_go_out_as_a_list(lead):
    text = lead.get(f"{PAGE}?export=csv").content.decode()
    assert "sure,CO-1,cord,620 mm,0.012,7.44" in text.replace("0.012000", "0.012")


def test_hours_are_entered_by_the_lead_and_stand_in_the_quote(lead):
    page = "/work-hours/"
    assert "The shop has no hourly rate yet" in sheet_of(lead.get(page))
    answer = tap(lead, page, {"part_number": "E-9", "hours": "2", "why": "timed"})
    assert "There is no item E-9" in sheet_of(answer)
    assert (
        lead.post(page, {"key": key_in(answer), "part_number": "BA-1", "hours": "2", "why": "timed"}).status_code == 422
    )
    assert tap(lead, page, {"part_number": "e-1", "hours": "2.5", "why": "timed"}).status_code == 302
    assert WorkHours.objects.get().hours == Decimal("2.5")
    Setting.objects.create(name="hourly_rate", value="80")
    assert "2 × liquid end 5 h 80.00 400.00" in sheet_of(lead.get(PAGE))
    assert b"E-1,liquid end,,2.50" in lead.get(f"{page}?export=csv").content


@pytest.mark.parametrize("role", ["Planner", "Storeroom clerk", "Purchasing"])
def test_nobody_else_quotes_or_writes_a_go_ahead_down(lead, role):
    tap(lead, PAGE, {"note": ""})
    lead.force_login(person_of(role))
    assert "Store it as version" not in sheet_of(lead.get(PAGE))
    for address in (PAGE, f"/go-aheads/{Quote.objects.get().pk}/", "/work-hours/"):
        assert lead.post(address, {"says": "x"}).status_code == 403


def test_building_is_begun_on_the_page_with_a_reason_where_something_is_open(lead):
    Job.objects.filter(job="J-1").update(stage="stripped")
    page, steps = "/jobs/J-1/", "/steps/move/J-1/"
    assert "Not yet: this is open." in sheet_of(lead.get(page))
    answer = tap(lead, steps, {"seen": "stripped", "stage": "building"}, on=page)
    assert answer.status_code == 409
    assert "J-1 may not be built yet: its bag lacks" in sheet_of(answer)
    assert "Why, if it is built although something is open" in sheet_of(answer)
    said = {"seen": "stripped", "stage": "building", "says": "parts of the customer"}
    assert tap(lead, steps, said, on=page).status_code == 302
    assert "parts of the customer although its bag lacks" in sheet_of(lead.get(page))

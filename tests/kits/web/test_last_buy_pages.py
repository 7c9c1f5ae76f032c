"""Parts that are no longer made: marked, how far what is left goes, how many to buy, and where purchasing is told."""

from datetime import date

import pytest
from scipy.stats import binom

from kits.purchasing.models import EndOfMaking
from kits.schedule.models import Job
from tests.kits.exchange.books import SHOP, load_sheets
from tests.kits.persons import person_of
from tests.kits.web.hands import tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PAGE = "/last-buy/BA-1/"
SAID = {"from_on": "2026-02-01", "last_order_on": "2026-04-01", "source": "the maker’s letter"}


@pytest.fixture
def buyer(client, db):
    """One job to come, and three of the past year that looked at two balls each: eight looked at in all.

    Its first day is 4 Mar 2025 and its last 16 Mar 2026: 378 days.
    """
    load_sheets(SHOP)
    first = Job.objects.get()
    for number, on in enumerate((date(2025, 3, 5), date(2025, 9, 1), date(2026, 1, 7))):
        Job.objects.create(
            job=f"OLD-{number}", pump=first.pump, scope=first.scope, build_on=on, stage="shipped", serial=f"S{number}"
        )
    client.force_login(person_of("Purchasing", "buyer"))
    return client


def mark(client, **facts):
    return tap(client, f"{PAGE}mark/", {**SAID, **facts}, on=PAGE)


def test_the_quantity_is_that_of_the_binomial_distribution(buyer):
    """Eight in 377 days (5 Mar 2025 to 16 Mar 2026) are 77.5, so 78, in ten years; three lie here."""
    sheet = buyer.get(f"{PAGE}?years=10&sure=95").context["sheet"]
    assert (sheet.record.built, sheet.record.scheduled, sheet.record.days) == (3, 1, 377)
    assert sheet.found.positions == 78
    assert sheet.found.worn == binom.ppf(0.95, 78, 0.35)
    assert sheet.found.buy == sheet.found.worn - 3
    says = sheet_of(buyer.get(f"{PAGE}?years=10&sure=95"))
    assert f"Buy {sheet.found.buy} to be 95 % sure that it lasts 10 years." in says
    assert "From 3 jobs built in the past year and 1 job scheduled, over 377 days" in says
    assert "3 left, enough for about 4 pumps at 3.9 a year" in says


def test_cord_is_bought_for_no_longer_than_it_lives(buyer):
    """15 years of life: of 40 years asked for, 15 are covered."""
    sheet = buyer.get("/last-buy/CO-1/?years=40&sure=90").context["sheet"]
    assert (sheet.found.years, sheet.found.asked_years) == (15, 40)
    assert "A new piece lasts 15 years, so no more is worth buying" in sheet_of(
        buyer.get("/last-buy/CO-1/?years=40&sure=90")
    )


def test_a_mark_is_told_where_purchasing_looks_and_is_taken_back_with_a_reason(buyer):
    assert "Still made, as far as anybody wrote" in sheet_of(buyer.get(PAGE))
    assert mark(buyer).status_code == 302
    assert "No longer made since 1 Feb 2026 : 3 left" in sheet_of(buyer.get(PAGE))
    assert "No longer made since 1 Feb, last orders by 1 Apr" in sheet_of(buyer.get("/parts/BA-1/"))
    assert "1 part is no longer made." in sheet_of(buyer.get("/purchasing/no-longer-made/"))
    assert "To be ordered for the last time" in sheet_of(buyer.get("/?for=purchaser"))
    mark(buyer, last_order_on="", source="the supplier, by telephone")
    assert EndOfMaking.objects.filter(taken_back_at=None).get().source == "the supplier, by telephone"
    tap(buyer, f"{PAGE}take-back/", {"reason": "the maker has a new tool"}, on=PAGE)
    assert "taken back by buyer" in sheet_of(buyer.get(PAGE))
    assert buyer.post(f"{PAGE}take-back/", {}).status_code == 404
    assert "No part is marked" in sheet_of(buyer.get("/purchasing/no-longer-made/"))


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("years=0&sure=90", "Write the years as a whole number from 1 to 40."),
        ("years=ten&sure=90", "Write the years as a whole number from 1 to 40."),
        ("years=10&sure=100", "Write how sure it is to be as a number from 50 to 99.99."),
    ],
)
def test_what_cannot_be_asked_is_refused(buyer, query, says):
    answer = buyer.get(f"{PAGE}?{query}")
    assert answer.status_code == 422
    assert says in sheet_of(answer)


def test_who_may_not_mark_sees_it_all_the_same(buyer):
    buyer.force_login(person_of("Planner", "planner"))
    assert "Mark it as no longer made" not in sheet_of(buyer.get(PAGE))
    assert buyer.post(f"{PAGE}mark/", SAID).status_code == 403

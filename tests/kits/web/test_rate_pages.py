"""Prices in other money on pages: in both currencies wherever they stand, and a page to type rates."""

import html
import re
from datetime import date

import pytest

from kits.purchasing.models import ExchangeRate
from tests.keeping import forget_plans
from tests.kits.exchange.books import load_sheets
from tests.kits.persons import person_of
from tests.kits.web.hands import tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
RATES = "/purchasing/rates/"
SAID = {"currency": "usd", "rate": "0.92", "from_on": "2026-03-02", "source": "the bank"}


@pytest.fixture
def buyer(client, small_shop):
    """The small shop, whose cord comes from over sea, at 13.00 USD a pack."""
    load_sheets(
        {
            "Suppliers": [["supplier", "currency"], ["Over Sea", "USD"]],
            "Offers": [
                ["supplier", "part_number", "supplier_part_number", "pack_size", "lead_time", "price_per_pack"],
                ["Over Sea", "K-1", "OS-7", 1, 4, 13],
            ],
        }
    )
    client.force_login(person_of("Purchasing", "buyer"))
    return client


def test_a_foreign_price_stands_in_both_wherever_prices_stand(buyer):
    pages = ("/shortages/", "/kits/K-1/", "/purchasing/due/")
    for page in pages:
        assert "26.00 USD not compared: no rate for USD" in sheet_of(buyer.get(page)), page
    assert "13.00 USD not compared: no rate for USD" in sheet_of(buyer.get("/purchasing/offers/"))
    assert tap(buyer, RATES, SAID).status_code == 302
    for page in pages:
        assert "26.00 USD 23.92 EUR at 0.92 of 2 Mar, 2 days old" in sheet_of(buyer.get(page)), page
    assert "13.00 USD 11.96 EUR at 0.92 of 2 Mar, 2 days old" in sheet_of(buyer.get("/purchasing/offers/"))
    assert "1 line without a price, 1 of them offered in other money, for 23.92 at the rates of today" in sheet_of(
        buyer.get("/shortages/")
    )
    lines = buyer.get("/purchasing/offers/?export=csv").content.decode().splitlines()
    assert any("13,USD,11.96" in line for line in lines)


def test_the_page_says_what_serves_today_and_who_typed_it(buyer):
    assert "No rate serves USD: prices in it are not compared." in sheet_of(buyer.get(RATES))
    tap(buyer, RATES, SAID)
    says = sheet_of(buyer.get(RATES))
    assert "Every currency that suppliers sell in has a rate." in says
    assert "USD 0.92 2 Mar, 2 days old Over Sea 1" in says
    assert "2 Mar 2026 USD 0.92 EUR serves today the bank buyer" in says


def test_a_rate_far_from_the_last_is_asked_about_and_kept_when_it_is_meant(buyer):
    tap(buyer, RATES, SAID)
    odd = {**SAID, "rate": "1,087", "from_on": "2026-03-04"}
    tap(buyer, RATES, {**odd, "rate": "1,10"})
    assert ExchangeRate.objects.count() == 2
    answer = tap(buyer, RATES, {**odd, "rate": "0.5"})
    assert answer.status_code == 422
    assert "The rate before it is 1.1 of 4 Mar, today’s, more than a fifth off" in sheet_of(answer)
    (about,) = re.findall(r'<input type="checkbox" name="meant" value="([^"]+)"', answer.content.decode())
    tap(buyer, RATES, {**odd, "rate": "0.5", "meant": html.unescape(about)})
    assert [str(rate.rate.normalize()) for rate in ExchangeRate.objects.order_by("pk")] == ["0.92", "1.1", "0.5"]
    assert ExchangeRate.objects.latest("pk").from_on == date(2026, 3, 4)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"rate": "0"}, "“0” is no rate: write a number above 0 with at most 8 decimals, such as 0.92."),
        ({"rate": "abc"}, "“abc” is no rate"),
        ({"rate": "NaN"}, "“NaN” is no rate"),
        ({"rate": "0.123456789"}, "“0.123456789” is no rate"),
        ({"rate": "1e9"}, "“1e9” is no rate"),
        ({"currency": "EUR"}, "EUR is the shop's own currency and needs no rate"),
        ({"from_on": "2026-03-05"}, "5 Mar 2026 is still to come"),
        ({"source": ""}, "Write where the rate is stated"),
    ],
)
def test_a_rate_that_cannot_be_is_refused_with_what_was_typed(buyer, change, says):
    answer = tap(buyer, RATES, {**SAID, **change})
    assert answer.status_code == 422
    page = html.unescape(answer.content.decode())
    assert says in page
    assert 'value="usd"' in page or "currency" in change
    assert not ExchangeRate.objects.exists()


def test_only_purchasing_types_rates(buyer):
    buyer.force_login(person_of("Planner", "planner"))
    assert "Store the rate" not in sheet_of(buyer.get(RATES))
    assert buyer.post(RATES, SAID).status_code == 403


def test_as_many_statements_for_thirty_rates_as_for_three(buyer, django_assert_max_num_queries):
    person = person_of("Purchasing", "other")
    for day in range(1, 31):
        ExchangeRate.objects.create(
            currency="USD", home="EUR", from_on=date(2026, 1, day), rate="0.9", source="s", by=person,
            at="2026-03-01T08:00Z",
        )  # fmt: skip
    forget_plans()
    with django_assert_max_num_queries(12):
        buyer.get(RATES)

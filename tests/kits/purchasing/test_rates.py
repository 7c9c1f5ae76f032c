"""Rates of exchange: which serves a day, what a price is in the shop's money, and what is not compared."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kits.catalog.errors import Refusal
from kits.catalog.models import Setting
from kits.purchasing.models import ExchangeRate
from kits.purchasing.rates.actions import type_rate
from kits.purchasing.rates.conversion import Rate, Rates
from kits.purchasing.rates.queries import currencies_sheet, rate_list, read_rates
from tests.kits.exchange.books import AT, SHOP, load_sheets
from tests.kits.persons import person_of

TODAY = date(2026, 3, 4)


def rates(*typed, home="EUR", as_of=TODAY):
    return Rates(home, (Rate(currency, date(2026, 3, day), Decimal(rate)) for currency, day, rate in typed), as_of)


def test_the_latest_rate_on_or_before_the_day_serves_it_and_tells_its_age():
    known = rates(("USD", 1, "0.91"), ("USD", 3, "0.92"), ("USD", 5, "0.95"), ("GBP", 4, "1.15"))
    assert known.in_both(Decimal(120), "usd").says == "110.40 EUR at 0.92 of 3 Mar, 1 day old"
    assert known.in_both(Decimal(2), "GBP").says == "2.30 EUR at 1.15 of 4 Mar, today’s"
    late = rates(("USD", 3, "0.92"), as_of=date(2026, 4, 3))
    assert late.in_both(Decimal(120), "USD").says == "110.40 EUR at 0.92 of 3 Mar, 31 days old"


def test_without_a_rate_a_price_is_not_compared_and_says_so():
    known = rates(("USD", 5, "0.95"))
    told = known.in_both(Decimal(120), "USD")
    assert (told.own_says, told.home_price, told.says) == ("120.00 USD", None, "not compared: no rate for USD")
    assert known.in_home(Decimal(120), "USD") is None


def test_what_is_not_foreign_stays_as_it_is():
    known = rates(("USD", 3, "0.92"))
    for currency in ("EUR", "eur", ""):
        assert (known.in_both(Decimal(5), currency), known.in_home(Decimal(5), currency)) == (None, Decimal(5))
    assert rates(home="").in_both(Decimal(5), "USD") is None


@pytest.mark.parametrize(
    ("price", "rate", "home"),
    [("1.00", "0.005", "0.01"), ("1.00", "0.00499999", "0.00"), ("2.675", "1", "2.68"), ("3", "0.335", "1.01")],
)
def test_the_cent_is_rounded_once_half_a_cent_upwards(price, rate, home):
    """Of binary fractions 2.675 would become 2.67; the rule is the one of the shop's quotes."""
    assert str(rates(("USD", 3, rate)).in_home(Decimal(price), "USD")) == home


@given(
    price=st.decimals(min_value=0, max_value=10**12 - 1, places=6),
    rate=st.decimals(min_value="0.00000001", max_value=10**6, places=8),
)
def test_no_price_is_off_by_more_than_half_a_cent(price, rate):
    """Worked in whole numbers of 10**-14, beside the decimals of the program."""
    cents, rest = divmod(int(price * 10**6) * int(rate * 10**8), 10**12)
    assert rates(("USD", 3, rate)).in_home(price, "USD") * 100 == cents + (2 * rest >= 10**12)


@pytest.fixture
def buyer(db):
    load_sheets(SHOP)
    return person_of("Purchasing", "buyer")


def typed(buyer, currency="USD", day=TODAY, rate="0.92", key="one"):
    type_rate(
        currency=currency, from_on=day, rate=Decimal(rate), source="the bank", by=buyer, at=AT, today=TODAY, key=key
    )


def test_of_two_rates_of_one_day_the_later_counts_and_the_earlier_stands(buyer):
    typed(buyer, rate="9.2", key="one~a")
    typed(buyer, rate="0.92", key="two~b")
    typed(buyer, rate="0.92", key="two~b")
    typed(buyer, day=TODAY - timedelta(days=1), rate="0.91", key="three~c")
    serving = read_rates(TODAY)
    assert serving.in_home(Decimal(100), "USD") == 92
    rows = [(row.from_on.day, row.rate, row.state) for row in rate_list(serving)]
    assert rows == [
        (4, Decimal("0.92"), "serves today"),
        (4, Decimal("9.2"), "typed anew since"),
        (3, Decimal("0.91"), ""),
    ]


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        ({"currency": "eur"}, "EUR is the shop's own currency and needs no rate"),
        ({"day": TODAY + timedelta(days=1)}, "5 Mar 2026 is still to come"),
        ({"rate": "0"}, "A rate is more than 0"),
    ],
)
def test_a_rate_that_cannot_be_is_refused(buyer, facts, says):
    with pytest.raises(Refusal, match=says):
        typed(buyer, **facts)
    assert not ExchangeRate.objects.exists()


def test_a_shop_without_a_currency_of_its_own_is_asked_for_it(buyer):
    Setting.objects.filter(name="currency").delete()
    with pytest.raises(Refusal, match="write the setting currency first"):
        typed(buyer)


def test_rates_for_other_money_than_the_shops_of_today_serve_nothing(buyer):
    """A shop that changes its currency does not take old rates for new ones."""
    typed(buyer)
    Setting.objects.filter(name="currency").update(value="CHF")
    assert read_rates(TODAY).in_home(Decimal(1), "USD") is None
    assert rate_list(read_rates(TODAY)) == []


def test_currencies_that_lack_a_rate_and_suppliers_with_two_are_named(buyer):
    load_sheets(
        {
            "Suppliers": [["supplier", "currency"], ["Over Sea", "USD"]],
            "Offers": [
                ["supplier", "part_number", "price_per_pack", "currency"],
                ["Over Sea", "BA-1", 4, None],
                ["Over Sea", "CO-1", 4, "GBP"],
            ],
        }
    )
    sheet = currencies_sheet(read_rates(TODAY))
    assert [(row.currency, row.suppliers, row.offers) for row in sheet.currencies] == [
        ("GBP", ("Over Sea",), 1),
        ("USD", ("Over Sea",), 1),
    ]
    assert sheet.missing == ("GBP", "USD")
    assert sheet.mixed == (("Over Sea", ("GBP", "USD")),)

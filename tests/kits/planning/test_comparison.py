"""Quotes compared as the tables hold them: whose count, in which money, on which days, and what is ordered of them."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item, Setting
from kits.planning.buying.bids import ANSWERED, ON_RECORD
from kits.planning.buying.comparison import LEAST_LATE, NONE_LATE, begin_comparison, chosen_lines
from kits.planning.queries import plan_now
from kits.purchasing.models import ExchangeRate, Offer, QuoteBreak, Reply, ReplyLine, Supplier, SupplierQuote
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo, load_small

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 4)
CORD, KIT = "CO-1", "K-1"


@pytest.fixture
def buyer(db):
    load_small()
    return person_of("Purchasing", "buyer")


def quote(buyer, number, supplier, reply, **said):
    """A quote as accepting a line of a reply keeps it."""
    item = Item.objects.get(part_number=number)
    whom, _ = Supplier.objects.get_or_create(supplier=supplier)
    kept, _ = Reply.objects.get_or_create(
        digest=reply, defaults={"by": buyer, "at": AT, "file_name": reply, "content": b""}
    )
    line = ReplyLine.objects.create(reply=kept, row=kept.lines.count() + 1, sheet="Request", key=number, item=item)
    said = {"price_per_pack": Decimal(5), "quoted_on": DAY, **said}
    return SupplierQuote.objects.create(reply_line=line, supplier=whom, item=item, by=buyer, at=AT, **said)


def found(whose=ANSWERED, late=LEAST_LATE):
    with transaction.atomic():
        mark_shop()
    return begin_comparison(plan_now(DAY), whose, late).answer


def bids_of(comparison, number):
    return {row.supplier: row for row in comparison.bids if row.part_number == number}


def test_only_who_answered_is_compared_unless_the_record_is_asked_for(buyer):
    quote(buyer, CORD, "New Cords", "r1", pack_size=1000 * ONE, quantity=1000 * ONE, promised_on=date(2026, 3, 10))
    assert set(bids_of(found(), CORD)) == {"New Cords"}
    assert set(bids_of(found(ON_RECORD), CORD)) == {"New Cords", "Ring House"}


def test_a_later_reply_of_a_supplier_stands_for_his_earlier_one(buyer):
    quote(buyer, CORD, "New Cords", "r1", pack_size=1000 * ONE, price_per_pack=Decimal(9))
    quote(buyer, CORD, "New Cords", "r2", pack_size=1000 * ONE, price_per_pack=Decimal(7))
    assert bids_of(found(), CORD)["New Cords"].price_per_pack == 7


def test_a_refusal_and_a_price_that_lapsed_are_told_and_not_compared(buyer):
    quote(buyer, CORD, "Silent", "r1", refused=True, price_per_pack=None)
    quote(buyer, CORD, "Slow", "r2", pack_size=1000 * ONE, valid_to_on=date(2026, 3, 3))
    rows = bids_of(found(), CORD)
    assert "does not bid" in rows["Silent"].says
    assert "lapsed on 3 Mar 2026" in rows["Slow"].says
    assert not found().lines


def test_breaks_and_two_deliveries_of_a_quote_are_one_bid(buyer):
    first = quote(buyer, CORD, "Cords", "r1", pack_size=100 * ONE, quantity=100 * ONE, promised_on=date(2026, 3, 9))
    later = quote(buyer, CORD, "Cords", "r1", pack_size=100 * ONE, quantity=200 * ONE, promised_on=date(2026, 4, 9))
    QuoteBreak.objects.create(quote=first, from_packs=3, price_per_pack=Decimal(4))
    comparison = found()
    (line,) = [line for line in comparison.lines if line.part_number == CORD]
    assert (line.packs, line.price_per_pack, line.price) == (3, 4, 12)
    drafts = chosen_lines(comparison, [line.name], DAY)
    assert [(one.packs, one.wanted_on, one.quote_id) for one in drafts] == [
        (1, date(2026, 3, 9), first.pk),
        (2, date(2026, 4, 9), later.pk),
    ]


@pytest.fixture
def demo_buyer(db):
    load_demo()
    return person_of("Purchasing", "buyer")


def test_a_next_higher_assembly_is_taken_apart_where_it_costs_less_than_its_part(demo_buyer):
    # 14 seats are short, one sits in each check valve: seats at 60.00 for five (3 packs), whole valves at 5.00 each.
    house, valve = Supplier.objects.get(supplier="Fernhope Turned Parts"), Item.objects.get(part_number="CK-M")
    Offer.objects.create(supplier=house, item=valve, lead_days=5, price_per_pack=Decimal(5), currency="EUR")
    comparison = found(ON_RECORD)
    (line,) = [line for line in comparison.lines if line.part_number == "CK-M"]
    assert (line.packs, line.price) == (14, 70)
    assert "Bought to be taken apart: 14 × CK-M." in comparison.follows
    assert "SE-M" not in {one.part_number for one in comparison.lines}
    Offer.objects.filter(item=valve).update(price_per_pack=Decimal(900))
    assert "CK-M" not in {one.part_number for one in found(ON_RECORD).lines}


def test_what_goes_into_kits_that_are_put_together_is_not_over(demo_buyer):
    # 2 backup rings are short and 2 kits K-E12F, each of which holds 2: the 6 that are bought leave nothing over.
    lantry = {"pack_size": ONE, "quantity": 2 * ONE, "promised_on": date(2026, 3, 9)}
    quote(demo_buyer, "BR-112", "Lantry Pump Agency", "r1", price_per_pack=Decimal(4), **lantry)
    comparison = found()
    assert "Put together here: 2 × K-E12F." in comparison.follows
    assert [(line.part_number, line.packs, line.over) for line in comparison.lines] == [("BR-112", 6, "")]


def test_what_comes_late_names_the_jobs_and_is_left_out_if_asked(buyer):
    quote(buyer, CORD, "Cords", "r1", pack_size=1000 * ONE, quantity=1000 * ONE, promised_on=date(2026, 9, 1))
    row = bids_of(found(), CORD)["Cords"]
    assert row.late
    assert row.late_jobs
    assert not [line for line in found(late=NONE_LATE).lines if line.part_number == CORD]


def test_a_foreign_price_is_compared_at_the_rate_and_ordered_in_its_own_money(buyer):
    Setting.objects.update_or_create(name="currency", defaults={"value": "EUR"})
    dollars = {"pack_size": 1000 * ONE, "quantity": 1000 * ONE, "promised_on": date(2026, 3, 9), "currency": "USD"}
    quote(buyer, CORD, "Overseas", "r1", price_per_pack=Decimal(10), **dollars)
    assert bids_of(found(), CORD)["Overseas"].says == "not compared: no rate for USD"
    ExchangeRate.objects.create(currency="USD", home="EUR", from_on=DAY, rate=Decimal("0.9"), by=buyer, at=AT)
    comparison = found()
    (line,) = [line for line in comparison.lines if line.part_number == CORD]
    assert (line.price, line.own_price, line.currency) == (9, 10, "USD")
    (draft,) = chosen_lines(comparison, [line.name], DAY)
    assert (draft.price_per_pack, draft.currency) == (10, "USD")


def test_what_was_dropped_or_ordered_is_not_compared(buyer):
    given = quote(buyer, CORD, "Cords", "r1", pack_size=1000 * ONE, quantity=1000 * ONE)
    SupplierQuote.objects.filter(pk=given.pk).update(dropped_at=AT, dropped_by=buyer)
    assert not found().lines


def test_a_charge_for_a_small_order_makes_one_supplier_cheaper_than_two(buyer):
    Offer.objects.all().delete()
    for name, cord, kit in (("One", 10, 60), ("Two", 9, 70)):
        supplier = Supplier.objects.create(supplier=name, order_minimum_value=50, small_order_charge=15)
        day = date(2026, 3, 9)
        sizes = {"quantity": 1000 * ONE, "promised_on": day, "pack_size": 1000 * ONE}
        quote(buyer, CORD, supplier.supplier, f"r{name}", price_per_pack=Decimal(cord), **sizes)
        quote(buyer, KIT, supplier.supplier, f"r{name}", price_per_pack=Decimal(kit), quantity=9 * ONE, promised_on=day)
    comparison = found()
    assert {line.supplier for line in comparison.lines} == {"One"}
    assert comparison.saved == 14
    assert "14.00 less than the lowest price line by line" in comparison.says

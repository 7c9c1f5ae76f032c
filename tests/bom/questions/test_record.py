from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bom.errors import QuantityError
from bom.questions.record import Holding, LotRule, work_out_record

quantities = st.integers(0, 60)
lot_rules = st.builds(LotRule, st.integers(1, 4), st.integers(0, 80), st.integers(1, 40))


@st.composite
def records(draw, lots=lot_rules):
    gross = tuple(draw(st.lists(quantities, min_size=1, max_size=12)))
    holding = Holding(
        on_hand=draw(quantities),
        scheduled=tuple(draw(st.lists(quantities, max_size=len(gross)))),
        safety_stock=draw(st.integers(0, 30)),
        lead_buckets=draw(st.integers(0, 14)),
        lots=draw(lots),
    )
    return gross, holding


def test_a_shortage_is_released_a_lead_time_earlier():
    record = work_out_record((0, 20, 0, 25), Holding(on_hand=23, lead_buckets=2))
    assert record.net == (0, 0, 0, 22)
    assert record.receipts == (0, 0, 0, 22)
    assert record.releases == (0, 22, 0, 0)
    assert record.available == (23, 3, 3, 0)
    assert record.unplanned == (23, 3, 3, -22)
    assert record.past_due == ()


def test_a_release_before_the_first_bucket_is_past_due():
    record = work_out_record((0, 5, 7), Holding(lead_buckets=2))
    assert record.past_due == ((2, 5),)
    assert record.releases == (7, 0, 0)


def test_a_lead_time_beyond_the_last_bucket_makes_every_receipt_past_due():
    record = work_out_record((4, 5), Holding(lead_buckets=9))
    assert record.past_due == ((1, 4), (2, 5))
    assert record.releases == (0, 0)


def test_stock_below_the_safety_stock_is_made_up_at_once():
    record = work_out_record((0, 0), Holding(on_hand=3, safety_stock=10))
    assert record.net == (7, 0)
    assert record.available == (10, 10)


def test_a_late_scheduled_receipt_does_not_cover_an_earlier_need():
    record = work_out_record((10, 0), Holding(scheduled=(0, 10)))
    assert record.net == (10, 0)
    assert record.available == (0, 10)


def test_fixed_quantities_come_in_as_many_as_the_bucket_needs():
    assert work_out_record((30, 45), Holding(lots=LotRule(multiple=20))).receipts == (40, 40)


def test_a_period_supply_gathers_the_needs_of_its_buckets():
    assert work_out_record((5, 6, 7, 8), Holding(lots=LotRule(periods=3))).receipts == (18, 0, 0, 8)


def test_a_period_supply_leaves_out_what_is_on_order_within_the_period():
    assert work_out_record((5, 6, 7), Holding(scheduled=(0, 6, 9), lots=LotRule(periods=3))).receipts == (5, 0, 0)


def test_the_minimum_is_raised_to_the_multiple():
    assert LotRule(minimum=30, multiple=20).size(7) == 40
    assert LotRule(minimum=30, multiple=20).size(41) == 60


@pytest.mark.parametrize("rule", [{"periods": 0}, {"multiple": 0}, {"minimum": -1}])
def test_a_lot_rule_that_makes_no_sense_is_refused(rule):
    with pytest.raises(QuantityError, match="must be 1 or more"):
        LotRule(**rule)


@pytest.mark.parametrize(
    ("gross", "holding"),
    [
        ((-1,), Holding()),
        ((1,), Holding(on_hand=-1)),
        ((1,), Holding(scheduled=(-1,))),
        ((1,), Holding(lead_buckets=-1)),
    ],
)
def test_negative_input_is_refused(gross, holding):
    with pytest.raises(QuantityError, match="must be 0 or more"):
        work_out_record(gross, holding)


def test_receipts_after_the_last_bucket_are_refused():
    with pytest.raises(QuantityError, match="scheduled for 2 buckets"):
        work_out_record((1,), Holding(scheduled=(0, 1)))


@given(records())
def test_the_balance_never_falls_below_the_safety_stock(case):
    gross, holding = case
    record = work_out_record(gross, holding)
    assert min(record.available) >= holding.safety_stock


@given(records())
def test_nothing_is_lost_between_receipts_releases_and_balance(case):
    gross, holding = case
    record = work_out_record(gross, holding)
    moved = [a + b - c for a, b, c in zip(record.scheduled, record.receipts, gross, strict=True)]
    assert list(record.available) == list(accumulate(moved, initial=holding.on_hand))[1:]
    assert sum(record.receipts) == sum(record.releases) + sum(quantity for _, quantity in record.past_due)
    assert sum(record.releases) + sum(q for _, q in record.past_due) == sum(record.receipts)
    for bucket, release in enumerate(record.releases):
        if release:
            assert record.receipts[bucket + holding.lead_buckets] == release


@given(records())
def test_a_receipt_comes_only_when_the_bucket_is_short_and_in_the_lots_allowed(case):
    gross, holding = case
    record = work_out_record(gross, holding)
    for net, receipt in zip(record.net, record.receipts, strict=True):
        assert (net > 0) == (receipt > 0)
        assert receipt >= net
        assert receipt % holding.lots.multiple == 0
        assert receipt == 0 or receipt >= holding.lots.minimum


@given(records(lots=st.just(LotRule())))
def test_lot_for_lot_brings_no_more_than_the_worst_shortage(case):
    gross, holding = case
    record = work_out_record(gross, holding)
    assert record.receipts == record.net
    assert sum(record.receipts) == max(0, *(holding.safety_stock - balance for balance in record.unplanned))

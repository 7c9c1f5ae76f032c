"""What an order comes to, worked out by hand."""

from decimal import Decimal

from bom.buying.charges import ChargeRules, line_value, order_total

RULES = ChargeRules(order_minimum=Decimal("150"), small_order=Decimal("25"), certificate=Decimal("12.50"))


def test_a_line_comes_to_its_packs_times_its_price_to_the_cent():
    assert line_value(3, Decimal("4.125")) == Decimal("12.38")  # 12.375, half a cent upwards
    assert line_value(2, Decimal("0.0025")) == Decimal("0.01")  # 0.005
    assert line_value(7, None) is None


def test_a_small_order_is_charged_and_each_certificate_once():
    # 4 x 26.00 + 3 x 9.50 = 104.00 + 28.50 = 132.50, under 150: + 25.00; two certificates: + 25.00
    values = [line_value(4, Decimal("26")), line_value(3, Decimal("9.5"))]
    found = order_total(values, 2, RULES)
    assert (found.goods, found.small_order, found.certificates, found.total) == (
        Decimal("132.50"),
        25,
        25,
        Decimal("182.50"),
    )
    assert found.below_minimum


def test_an_order_of_just_the_minimum_is_not_small():
    assert order_total([Decimal("150.00")], 0, RULES).total == 150
    assert order_total([Decimal("149.99")], 0, RULES).total == Decimal("174.99")


def test_without_a_price_a_line_counts_as_nothing_and_is_told():
    found = order_total([None, Decimal("160")], 0, RULES)
    assert (found.total, found.unpriced, found.below_minimum) == (160, 1, False)


def test_a_minimum_without_a_charge_is_told_and_charged_nothing():
    found = order_total([Decimal("10")], 3, ChargeRules(order_minimum=Decimal("50")))
    assert (found.total, found.below_minimum) == (10, True)


def test_an_order_of_nothing_is_charged_nothing():
    assert order_total([], 0, RULES).total == 0

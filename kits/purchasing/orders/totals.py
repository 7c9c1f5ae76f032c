"""What an order comes to, with the charges of its supplier."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from bom.buying.charges import ChargeRules, line_value, order_total
from bom.buying.charges import OrderTotal as OrderTotal
from kits.purchasing.models import Supplier


def charge_rules(supplier: Supplier) -> ChargeRules:
    """What a supplier charges beside the goods."""
    return ChargeRules(supplier.order_minimum_value, supplier.small_order_charge, supplier.certificate_charge)


def total_of(supplier: Supplier, lines: Iterable[tuple[int | None, Decimal | None, bool]]) -> OrderTotal:
    """What lines come to: packs, the price of one, and whether a certificate has to come; no packs are left out."""
    counted = [line for line in lines if line[0]]
    values = [line_value(packs or 0, price) for packs, price, _ in counted]
    return order_total(values, sum(needed for *_, needed in counted), charge_rules(supplier))

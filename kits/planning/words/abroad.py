"""Prices in other money than the shop's, in both, at the rate that serves the day of the plan."""

from __future__ import annotations

from decimal import Decimal

from bom.plan import Plan
from bom.reading import Abroad
from kits.planning.queries import kept_beside
from kits.purchasing.rates.conversion import CENT, InBoth, Rates
from kits.purchasing.rates.queries import read_rates


def in_both(plan: Plan, abroad: Abroad | None) -> InBoth | None:
    """A price in both currencies; rates are read once for each plan, and only where something is sold abroad."""
    if abroad is None:
        return None
    rates: Rates = kept_beside(plan, "rates", lambda: read_rates(plan.shop.as_of))
    return rates.in_both(abroad.price.quantize(CENT), abroad.currency)


def above(whole: Abroad | None, sure: Abroad | None) -> Abroad | None:
    """What a larger order costs more than the sure part of it, where both are in one currency."""
    if whole is None or sure is None or whole.currency != sure.currency:
        return None
    price = whole.price - sure.price
    return Abroad(price, whole.currency) if price > Decimal(0) else None

"""Reads of rates: those that serve a day, all that were typed, and which currencies suppliers sell in."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.purchasing.models import ExchangeRate, Offer, Supplier
from kits.purchasing.rates.conversion import Rate, Rates


@dataclass(frozen=True, slots=True)
class RateRow:
    """A rate as it was typed; ``counts`` is False where one typed later for the same day stands in its place."""

    currency: str
    home: str
    from_on: date
    rate: Decimal
    source: str
    by: str
    at: datetime
    serves: bool
    counts: bool

    @property
    def state(self) -> str:
        """What becomes of it today."""
        return "serves today" if self.serves else "" if self.counts else "typed anew since"


@dataclass(frozen=True, slots=True)
class CurrencyRow:
    """A currency in which somebody sells: by whom, in how many offers, and what it is worth today."""

    currency: str
    suppliers: tuple[str, ...]
    offers: int
    rate: Rate | None
    says: str


@dataclass(frozen=True, slots=True)
class CurrenciesSheet:
    """The currencies other than the shop's, and the suppliers that were entered with more than one."""

    home: str
    currencies: tuple[CurrencyRow, ...]
    mixed: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Currencies that no rate serves."""
        return tuple(row.currency for row in self.currencies if row.rate is None)


def read_rates(as_of: date) -> Rates:
    """The rates that serve a day, in the shop's money of today; two statements."""
    home = read_settings().currency
    typed = ExchangeRate.objects.filter(folded_home=fold(home), from_on__lte=as_of).order_by("from_on", "pk")
    return Rates(home, (Rate(row.currency, row.from_on, row.rate) for row in typed), as_of)


def rate_list(rates: Rates) -> list[RateRow]:
    """Every rate that was typed for the shop's money, the latest day first; one statement."""
    rows, seen = [], set()
    typed = ExchangeRate.objects.filter(folded_home=fold(rates.home)).select_related("by")
    for row in typed.order_by("-from_on", "folded", "-pk"):
        key = (row.folded, row.from_on)
        serving = rates.serving(row.currency)
        counts = key not in seen
        seen.add(key)
        rows.append(
            RateRow(
                currency=row.currency,
                home=row.home,
                from_on=row.from_on,
                rate=row.rate,
                source=row.source,
                by=str(row.by),
                at=row.at,
                serves=counts and serving is not None and serving.from_on == row.from_on,
                counts=counts,
            )
        )
    return rows


def currencies_sheet(rates: Rates) -> CurrenciesSheet:
    """Who sells in other money than the shop's; two statements."""
    named: dict[str, str] = {}
    offers: dict[str, int] = defaultdict(int)
    sellers: dict[str, set[str]] = defaultdict(set)
    by_supplier: dict[str, dict[str, str]] = defaultdict(dict)

    def note(supplier: str, currency: str) -> None:
        named.setdefault(fold(currency), currency)
        sellers[fold(currency)].add(supplier)
        by_supplier[supplier].setdefault(fold(currency), currency)

    for supplier, currency in Supplier.objects.exclude(currency="").values_list("supplier", "currency"):
        note(supplier, currency)
    priced = Offer.objects.filter(price_per_pack__isnull=False).order_by("pk")
    for supplier, own, usual in priced.values_list("supplier__supplier", "currency", "supplier__currency"):
        if own or usual:
            note(supplier, own or usual)
            offers[fold(own or usual)] += 1
    foreign = sorted(key for key, currency in named.items() if not rates.is_home(currency))
    rows = []
    for key in foreign:
        rate = rates.serving(named[key])
        says = rates.age_says(rate) if rate else ""
        rows.append(CurrencyRow(named[key], tuple(sorted(sellers[key])), offers[key], rate, says))
    mixed = tuple(
        (supplier, tuple(sorted(found.values()))) for supplier, found in sorted(by_supplier.items()) if len(found) > 1
    )
    return CurrenciesSheet(rates.home, tuple(rows), mixed)

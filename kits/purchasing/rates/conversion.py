"""A price in two currencies: exact, at the rate of the day, rounded once and to the cent, half a cent upwards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Context, Decimal

from kits.catalog.amounts import price_text
from kits.catalog.days.words import words_for_day
from kits.catalog.folding import fold

CENT = Decimal("0.01")
EXACT = Context(prec=60, rounding=ROUND_HALF_UP)
"""Wide enough for any price times any rate: nothing is rounded before the cent."""


@dataclass(frozen=True, slots=True)
class Rate:
    """One unit of ``currency`` in the shop's money, from a day on."""

    currency: str
    from_on: date
    rate: Decimal

    def in_home(self, price: Decimal) -> Decimal:
        """A price in the shop's money, to the cent, half a cent upwards."""
        return EXACT.multiply(price, self.rate).quantize(CENT, context=EXACT)


@dataclass(frozen=True, slots=True)
class InBoth:
    """A price in its own money and in the shop's. ``home_price`` is None where no rate serves: it is not compared."""

    price: Decimal
    currency: str
    home_price: Decimal | None
    says: str

    @property
    def own_says(self) -> str:
        """The price as it was offered."""
        return f"{price_text(self.price)} {self.currency}"


class Rates:
    """The rates typed so far for the shop's money, as they serve on one day: the latest on or before it."""

    def __init__(self, home: str, rates: Iterable[Rate], as_of: date) -> None:
        self.home, self.as_of = home, as_of
        self._serving: dict[str, Rate] = {}
        for rate in sorted(rates, key=lambda rate: rate.from_on):
            if rate.from_on <= as_of:
                self._serving[fold(rate.currency)] = rate

    def serving(self, currency: str) -> Rate | None:
        """The rate that serves the day; None where none was typed for it or before."""
        return self._serving.get(fold(currency))

    def is_home(self, currency: str) -> bool:
        """Whether a price of this currency needs no rate: it is the shop's, or one of the two is not known."""
        return not currency or not self.home or fold(currency) == fold(self.home)

    def in_home(self, price: Decimal, currency: str) -> Decimal | None:
        """A price in the shop's money; None where no rate serves, so that it cannot be compared."""
        if self.is_home(currency):
            return price
        rate = self.serving(currency)
        return None if rate is None else rate.in_home(price)

    def in_both(self, price: Decimal | None, currency: str) -> InBoth | None:
        """A foreign price in both currencies, with the rate and its age; None for what is not foreign."""
        if price is None or self.is_home(currency):
            return None
        rate = self.serving(currency)
        if rate is None:
            return InBoth(price, currency, None, f"not compared: no rate for {currency}")
        home = rate.in_home(price)
        return InBoth(price, currency, home, f"{home} {self.home} at {self.rate_says(rate)}")

    def rate_says(self, rate: Rate) -> str:
        """A rate with its day and its age: ``0.92 of 2 Mar, 2 days old``."""
        return f"{rate.rate.normalize():f} of {self.age_says(rate)}"

    def age_says(self, rate: Rate) -> str:
        """The day of a rate and its age on the day that it serves."""
        days = (self.as_of - rate.from_on).days
        age = "today’s" if not days else f"{days} day{'' if days == 1 else 's'} old"
        return f"{words_for_day(rate.from_on, self.as_of)}, {age}"

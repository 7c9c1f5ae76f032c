"""What is done with rates: type one."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import ExchangeRate

NO_HOME = (
    "The shop has not said which currency is its own, so no rate can be typed: write the setting currency first, such "
    "as EUR."
)


def type_rate(
    *, currency: str, from_on: date, rate: Decimal, source: str, by: User, at: datetime, today: date, key: str
) -> None:
    """Say what a unit of another currency is in the shop's, from a day on; what was typed before stays."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        home = read_settings().currency
        if not home:
            raise Refusal(NO_HOME)
        if fold(currency) == fold(home):
            raise Refusal(f"{home} is the shop's own currency and needs no rate: write another currency.")
        if from_on > today:
            raise Refusal(
                f"{in_full(from_on)} is still to come: type a rate on the day from which it holds, or for a past day."
            )
        if rate <= 0:
            raise Refusal("A rate is more than 0: write how much of the shop's money one unit is.")
        ExchangeRate.objects.create(
            currency=currency, home=home, from_on=from_on, rate=rate, source=source, by=by, at=at
        )

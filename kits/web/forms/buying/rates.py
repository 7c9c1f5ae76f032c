"""The form for a rate of exchange."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.days.questions import MEANT, AsksAboutDays
from kits.purchasing.rates.conversion import Rates
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

ODD_SHARE = Decimal("0.2")
"""How far a rate may lie from the one before it until it is asked about: a fifth catches one typed upside down."""
MOST_RATE, DECIMALS = Decimal(1_000_000), 8


class RateForm(AsksAboutDays, KeyForm):
    """One unit of a currency in the shop's money, from a day on; a rate far from the last one is asked about."""

    currency = forms.CharField(
        max_length=10,
        error_messages={
            "required": "Write the currency, such as USD.",
            "max_length": "A currency has at most 10 characters: write its code, such as USD.",
        },
    )
    rate = forms.CharField(
        max_length=30, error_messages={"required": "Write how much of the shop’s money one unit is."}
    )
    from_on = DayField()
    source = forms.CharField(
        max_length=200,
        error_messages={
            "required": "Write where the rate is stated: your bank, a central bank’s list, the supplier.",
            "max_length": "This is longer than 200 characters: shorten it.",
        },
    )

    def __init__(self, rates: Rates, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rates = rates
        self.fields[MEANT].label = "The rate is meant as it stands"
        self.fields["currency"].widget.attrs |= {"list": "currencies", "autocomplete": "off"}
        self.fields["rate"].widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}
        self.fields["from_on"].initial = rates.as_of

    def clean_currency(self) -> str:
        """The code in capitals, as codes are written."""
        return str(self.cleaned_data["currency"]).upper()

    def clean_rate(self) -> Decimal:
        """A number above 0, with a point or a comma before its decimals."""
        typed = self.cleaned_data["rate"]
        try:
            rate = Decimal(typed if "." in typed else typed.replace(",", "."))
            rate = rate if rate.is_finite() else Decimal(0)
        except InvalidOperation:
            rate = Decimal(0)
        if not 0 < rate < MOST_RATE or rate != round(rate, DECIMALS):
            raise ValidationError(
                f"“{typed}” is no rate: write a number above 0 with at most {DECIMALS} decimals, such as 0.92."
            )
        return rate

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """A rate that lies more than a fifth from the one that serves today."""
        rate, before = cleaned.get("rate"), self.rates.serving(cleaned.get("currency", ""))
        if rate is None or before is None or abs(rate - before.rate) <= before.rate * ODD_SHARE:
            return {}
        return {"rate": f"the rate before it is {self.rates.rate_says(before)}, more than a fifth off"}

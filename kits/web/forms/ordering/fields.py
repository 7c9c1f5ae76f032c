"""Fields of orders: their numbers, packs and prices."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

MOST_PRICE = Decimal(10) ** 9


class NumberField(forms.CharField):
    """The number of an order."""

    def __init__(self, **kwargs: Any) -> None:
        says = "An order number has at most 100 characters: shorten it."
        super().__init__(max_length=100, error_messages={"max_length": says}, **kwargs)


class PacksField(forms.Field):
    """How many packs: a whole number, and not below 0."""

    def to_python(self, value: Any) -> int | None:
        """The number, or a sentence that quotes what was typed."""
        text = str(value).strip() if value is not None else ""
        if not text:
            return None
        if not (text.isascii() and text.isdigit() and len(text) <= 7):
            raise ValidationError(f"“{text}” packs cannot be ordered: write a whole number.")
        return int(text)


class PriceField(forms.Field):
    """The price of one pack, with at most six decimals; nothing where it is not known."""

    def to_python(self, value: Any) -> Decimal | None:
        """The price, or a sentence that quotes what was typed."""
        text = str(value).strip() if value is not None else ""
        if not text:
            return None
        try:
            price = Decimal(text)
            exact = price.is_finite() and price == round(price, 6)
        except InvalidOperation:
            exact = False
        if not exact or not 0 <= price < MOST_PRICE:
            raise ValidationError(f"“{text}” is no price: write the price per pack, such as 12.50.")
        return price

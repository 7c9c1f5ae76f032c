"""What a field says that names no sentence of its own: one sentence with the value and the remedy, as pages do.

The library's own messages say what a value must be and stop there. They are replaced where it keeps them, so that the
back office and the page of a form that was forgotten speak alike.

What is typed into any form reads as it stands: signs that turn the direction of writing are left out of every text. The
library keeps them, and has no setting for it, so it is put right where a field takes its text, once, before any form is
made; what a field takes untouched, such as a password or a pasted list, it still does.
"""

from __future__ import annotations

from typing import Any

from django import forms
from django.core import validators

from kits.catalog.folding import without_turns

BLANK = "Nothing stands here: fill it in."
NO_DAY = "That is no day: write it as 2026-03-04."
NO_CHOICE = "“%(value)s” is none of the choices: choose one of those shown."
TOO_LONG = "This has %(show_value)d characters, and at most %(limit_value)d are kept: shorten it."
TOO_LITTLE = "%(show_value)s is too little: write %(limit_value)s or more."
TOO_MUCH = "%(show_value)s is too much: write %(limit_value)s or less."
_OF_FIELDS: dict[type[forms.Field], dict[str, str]] = {
    forms.Field: {"required": BLANK},
    forms.IntegerField: {"invalid": "That is no whole number: write it in digits, such as 12."},
    forms.FloatField: {"invalid": "That is no number: write it in digits, such as 12.5."},
    forms.DecimalField: {"invalid": "That is no number: write it in digits, such as 12.5."},
    forms.DateField: {"invalid": NO_DAY},
    forms.ChoiceField: {"invalid_choice": NO_CHOICE},
    forms.MultipleChoiceField: {
        "invalid_choice": NO_CHOICE,
        "invalid_list": "That is no list of choices: tick some of those shown.",
    },
    forms.FileField: {
        "invalid": "No file came with the form: choose it again.",
        "missing": "No file came with the form: choose it again.",
        "empty": "The file is empty: save or copy it again, then choose it.",
        "max_length": "The name of the file has %(length)d characters, and at most %(max)d are kept: rename it.",
    },
}


def use_own_words() -> None:
    """Put the shop's sentences in place of the library's, once, before any form is made."""
    for field, words in _OF_FIELDS.items():
        field.default_error_messages = {**field.default_error_messages, **words}
    validators.MaxLengthValidator.message = TOO_LONG
    validators.MinValueValidator.message = TOO_LITTLE
    validators.MaxValueValidator.message = TOO_MUCH
    validators.ProhibitNullCharactersValidator.message = "A character in it cannot be kept: type it again."
    validators.DecimalValidator.messages = {
        **validators.DecimalValidator.messages,
        "max_digits": "More than %(max)s digits are not kept: round it.",
        "max_decimal_places": "More than %(max)s decimals are not kept: round it.",
        "max_whole_digits": "More than %(max)s digits before the point are not kept: check it.",
    }


def read_as_it_stands() -> None:
    """Let every field that trims its text lose what would show it in another order."""
    take = forms.CharField.to_python
    if getattr(take, "reads_as_it_stands", False):
        return

    def to_python(self: forms.CharField, value: Any) -> Any:
        plain = without_turns(value) if self.strip and isinstance(value, str) else value
        return take(self, plain)

    to_python.reads_as_it_stands = True  # type: ignore[attr-defined]
    forms.CharField.to_python = to_python  # type: ignore[method-assign]

"""Whatever is typed into a field, it answers in one sentence of ours with the remedy, never with the library's."""

import importlib
import inspect
import pkgutil
import re

import pytest
from django import forms

import kits.web.forms

THEIRS = re.compile(r"^(Ensure|Enter a|This field|Select a|No file was|The submitted|Null characters)")
MODULES = [name for _, name, _ in pkgutil.iter_modules(kits.web.forms.__path__, "kits.web.forms.")]
FORMS = [
    one
    for name in MODULES
    for _, one in inspect.getmembers(importlib.import_module(name), inspect.isclass)
    if issubclass(one, forms.Form) and one.__module__ == name
]
TYPED = [
    "",
    " ",
    "x" * 5000,
    "-1",
    "99999999999999999999",
    "1.123456789",
    "31.02.2026",
    "a\x00b",
    "\ud7ff",
    "NaN",
    "1e400",
]


def says(field, value):
    try:
        field.clean(value)
    except forms.ValidationError as error:
        return error.messages
    return []


def test_forms_were_found():
    assert len(FORMS) > 25


@pytest.mark.django_db
@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
def test_every_field_answers_in_our_own_words(form):
    fields = [field for field in form.base_fields.values() if not isinstance(field, forms.FileField)]
    heard = [message for field in fields for typed in TYPED for message in says(field, typed)]
    assert [message for message in heard if THEIRS.match(message)] == []


def test_the_sentence_quotes_value_and_limit():
    assert says(forms.CharField(max_length=3), "four") == ["This has 4 characters, and at most 3 are kept: shorten it."]
    assert says(forms.IntegerField(min_value=1), "-4") == ["-4 is too little: write 1 or more."]
    assert says(forms.DecimalField(max_digits=4, decimal_places=2), "1.234") == [
        "More than 2 decimals are not kept: round it."
    ]
    assert says(forms.FileField(), None) == ["Nothing stands here: fill it in."]

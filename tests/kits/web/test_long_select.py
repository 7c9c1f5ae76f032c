"""A long list to choose from says what Django's own field says, which draws each option by a template."""

import re

import pytest
from django import forms

from kits.web.forms.storeroom import LongSelect

CHOICES = [("", "choose a place"), ("1", "A1"), ("2", "B <2>"), ("3", 'C "3"')]


def options_of(field):
    drawn = re.sub(r">\s+<", "><", str(field))
    head, rest = re.fullmatch(r"<select ([^>]*)>(.*)</select>", drawn).groups()
    return sorted(re.findall(r'[\w-]+(?:="[^"]*")?', head)), rest


@pytest.mark.parametrize("typed", [None, {"place": "2"}, {"place": "7"}, {"place": ""}])
def test_a_long_list_is_drawn_as_django_draws_it(typed):
    def drawn(widget):
        field = forms.ChoiceField(choices=CHOICES, widget=widget, label="Place")
        return options_of(type("Asked", (forms.Form,), {"place": field})(typed)["place"])

    assert drawn(LongSelect) == drawn(forms.Select)

"""The forms of tokens, by which other programs act in somebody's name."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from kits.web.request_keys import KeyForm


class TokenForm(KeyForm):
    """What a token is called, and what it may do of what its person may."""

    name = forms.CharField(
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": "Write what uses it, such as the program or the machine."},
    )
    scopes = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Tick what it may do.",
            "invalid_choice": "That is nothing that this person may do.",
        },
    )

    def __init__(self, choices: Iterable[tuple[str, str]], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["scopes"]
        field.choices = list(choices)

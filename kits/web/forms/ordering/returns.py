"""The forms of what goes back to a supplier: what is wrong, that it is gone, that the credit came."""

from __future__ import annotations

from typing import Any

from django import forms

from kits.catalog.fields import QuantityFormField
from kits.purchasing.return_models import Wrong
from kits.purchasing.returns.actions import GoesBack
from kits.web.forms.days import DayField
from kits.web.forms.ordering.fields import PriceField
from kits.web.request_keys import KeyForm


class GoesBackForm(KeyForm):
    """What goes back, why, whether it is replaced, and the credit that is expected."""

    quantity = QuantityFormField(label="How many", error_messages={"required": "Write how many go back."})
    wrong = forms.ChoiceField(
        label="What is wrong",
        choices=[("", "choose one"), *Wrong.choices],
        error_messages={"required": "Say what is wrong with it.", "invalid_choice": "Choose what is wrong with it."},
    )
    note = forms.CharField(max_length=400, required=False, label="What the supplier has to know")
    replaced = forms.BooleanField(required=False, label="The same is to come again: the order waits for it")
    credit = PriceField(required=False, label="Credit expected, in the supplier's currency")

    def goes_back(self) -> GoesBack:
        """What was said."""
        said = self.cleaned_data
        return GoesBack(said["quantity"], said["wrong"], said["note"], said["replaced"], said["credit"])


class SendBackForm(GoesBackForm):
    """The same of what lies in quarantine, with the day on which it left."""

    gone_on = DayField(label="Left on")


class GoneForm(KeyForm):
    """The day on which what was refused left."""

    gone_on = DayField()


class CreditForm(KeyForm):
    """The credit that came, and when."""

    credit = PriceField(error_messages={"required": "Write the credit that came; 0 if there is none."})
    credited_on = DayField()


def beside(form: GoesBackForm) -> list[Any]:
    """The fields as a page shows them, the key apart."""
    return [field for field in form if not field.is_hidden]

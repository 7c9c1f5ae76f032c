"""The forms of outside work: send pieces out, take them back in, another promise."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django import forms

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.fields import QuantityFormField
from kits.purchasing.models import Supplier
from kits.purchasing.outside.actions import WorkWanted
from kits.purchasing.outside_models import OutsideOutcome
from kits.schedule.models import Verdict
from kits.stock.models import Balance
from kits.web.forms.days import DayField
from kits.web.forms.storeroom import PlaceField
from kits.web.request_keys import KeyForm

CAME = (
    (OutsideOutcome.GOOD.value, "good"),
    (OutsideOutcome.NOT_GOOD.value, "not good"),
    (OutsideOutcome.LOST.value, "will not come back"),
)


class SendForm(KeyForm):
    """What goes out, to whom, for what, until when."""

    piece = forms.ChoiceField(error_messages={"required": "Choose what goes out."})
    quantity = QuantityFormField(required=False, initial=ONE)
    supplier = forms.CharField(max_length=200, error_messages={"required": "Write to whom it goes."})
    work = forms.CharField(
        max_length=500,
        error_messages={"required": "Write what is to be done: what, where on the piece, to which size or finish."},
    )
    left_in = forms.CharField(
        max_length=300,
        error_messages={"required": "Write what was in it and how it was cleaned: the hands that take it rely on it."},
    )
    sent_on = DayField()
    promised_on = DayField()
    price = forms.DecimalField(
        localize=True,
        required=False,
        min_value=Decimal(0),
        max_digits=12,
        decimal_places=2,
        error_messages={"invalid": "That is no price: write it in digits, without a currency."},
    )
    wants_certificate = forms.BooleanField(required=False)

    def __init__(self, positions: Sequence[Verdict], lots: Sequence[Balance], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.positions = {f"position-{verdict.pk}": verdict for verdict in positions}
        self.lots = {f"lot-{balance.pk}": balance for balance in lots}
        choices = [(name, f"{verdict.item}, {verdict.where}") for name, verdict in self.positions.items()]
        choices += [(name, _lot_says(balance)) for name, balance in self.lots.items()]
        self.fields["piece"] = forms.ChoiceField(
            choices=choices if len(choices) == 1 else [("", "choose what goes out"), *choices],
            error_messages={"required": "Choose what goes out."},
        )
        self.fields["supplier"].widget.attrs |= {"list": "suppliers", "autocomplete": "off"}

    def clean_supplier(self) -> Supplier:
        """A supplier of this name."""
        found = Supplier.objects.by_name(self.cleaned_data["supplier"])
        if found is None:
            raise forms.ValidationError(
                f"There is no supplier named “{self.cleaned_data['supplier']}”: add it to the list Suppliers first."
            )
        return found

    def wanted(self) -> WorkWanted:
        """What is wanted of whom."""
        names = ("supplier", "work", "left_in", "sent_on", "promised_on", "price", "wants_certificate")
        return WorkWanted(**{name: self.cleaned_data[name] for name in names})


class BackForm(KeyForm):
    """How pieces came back, or that they will not."""

    outcome = forms.ChoiceField(choices=CAME, error_messages={"required": "Say how it came back."})
    on = DayField()
    note = forms.CharField(required=False, max_length=500)
    certificate = forms.CharField(required=False, max_length=200)

    def __init__(self, places: Iterable[tuple[int, str]], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["place"] = PlaceField(places, required=False)


class OutsidePromiseForm(KeyForm):
    """Another day for pieces that are out, and who said so."""

    promised_on = DayField()
    says = forms.CharField(max_length=400, error_messages={"required": "Write who said so, and why."})


def _lot_says(balance: Balance) -> str:
    held = Amount.of(balance.quantity, balance.lot.item.stock_unit)
    return f"{balance.lot.item}, lot {balance.lot.lot} at {balance.place}: {held.text} there"

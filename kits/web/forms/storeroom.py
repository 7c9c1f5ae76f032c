"""The forms of the storeroom."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.forms.renderers import BaseRenderer
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from kits.catalog.fields import QuantityFormField
from kits.purchasing.receiving.checks import DeliveredLot
from kits.purchasing.receiving.desk import DeskSheet
from kits.stock.words import Condition, Decides, DisposalWay, Packet
from kits.stock.writes import LotFacts
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

Places = Iterable[tuple[int, str]]
NO_QUANTITY = "Write how many."
MOST_LOTS = 4


class LongSelect(forms.Select):
    """A list to choose from that may be long: its options are written in one go, not each by a template of its own."""

    def render(
        self, name: str, value: Any, attrs: dict[str, Any] | None = None, renderer: BaseRenderer | None = None
    ) -> SafeString:
        """The field as it stands on a page."""
        chosen = set(self.format_value(value))
        options = format_html_join(
            "\n",
            '<option value="{}"{}>{}</option>',
            ((key, mark_safe(" selected") if str(key) in chosen else "", says) for key, says in self.choices),
        )
        return format_html(
            "<select{}>{}</select>", flatatt({**self.build_attrs(self.attrs, attrs), "name": name}), options
        )


class PlaceField(forms.TypedChoiceField):
    """A place out of those that there are."""

    widget = LongSelect

    def __init__(self, places: Places, **kwargs: Any) -> None:
        says = {"required": "Choose a place.", "invalid_choice": "There is no such place: choose one of the list."}
        choices = [("", "choose a place"), *((str(pk), name) for pk, name in places)]
        super().__init__(choices=choices, coerce=int, empty_value=None, error_messages=says, **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """A scanned label of a place chooses it."""
        return {**super().widget_attrs(widget), "data-places": True}


def number_keys() -> forms.TextInput:
    """A field beside which large number keys stand on a tablet."""
    return forms.TextInput(attrs={"data-pad": True, "inputmode": "decimal", "autocomplete": "off"})


class QuantityForm(KeyForm):
    """How many of an account, and why."""

    quantity = QuantityFormField(widget=number_keys(), error_messages={"required": NO_QUANTITY})
    reason = forms.CharField(max_length=300, required=False)

    def __init__(self, *args: Any, places: Places = (), must_say_why: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].required = must_say_why
        self.fields["reason"].error_messages["required"] = "Write why."
        if not must_say_why:
            self.fields["reason"].label = "Reason (may stay blank)"


class MoveForm(QuantityForm):
    """Where pieces go."""

    def __init__(self, *args: Any, places: Places = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["place"] = PlaceField(places, label="To place")
        self.order_fields(["key", "quantity", "place", "reason"])


class HoldForm(MoveForm):
    """What is put into quarantine, and who must decide."""

    decides = forms.ChoiceField(choices=Decides.choices, label="Who must decide")
    field_order = ("key", "quantity", "place", "decides", "reason")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields(self.field_order)


class DecideForm(HoldForm):
    """Who must decide on what is held already."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["quantity"], self.fields["place"]


class PacketForm(QuantityForm):
    """In what kind of packet pieces are from now on."""

    packet = forms.ChoiceField(
        choices=((Packet.RESEALED.value, "opened, closed again with a label"), (Packet.LOOSE.value, "loose")),
        label="The packet is now",
    )
    field_order = ("key", "quantity", "packet", "reason")


class AdjustForm(QuantityForm):
    """What is added, or below 0 taken off, without a count."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].label = "Change, such as 2 or -2"
        self.fields["quantity"].widget = forms.TextInput(attrs={"autocomplete": "off"})


class DisposeForm(KeyForm):
    """How ticked lots left the shop."""

    way = forms.ChoiceField(choices=[("", "choose how"), *DisposalWay.choices], label="How it leaves the shop")
    remark = forms.CharField(max_length=300, required=False, label="Remark: who took it, number of the document")
    reason = forms.CharField(max_length=300, error_messages={"required": "Write why it may not be used any more."})


class BenchForm(QuantityForm):
    """What comes back from the bench and where it goes."""

    goes = forms.ChoiceField(label="Where it goes", choices=())

    def __init__(self, *args: Any, places: Places = (), comes_back: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, must_say_why=False, **kwargs)
        back = [("back", "back to a bin, in a closed and labelled packet")] if comes_back else []
        self.fields["goes"] = forms.ChoiceField(
            label="Where it goes", choices=[*back, ("quarantine", "into quarantine"), ("scrap", "to scrap")]
        )
        self.fields["place"] = PlaceField(places, label="Place", required=False)
        self.order_fields(["key", "quantity", "goes", "place", "reason"])

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("goes") in ("back", "quarantine") and not said.get("place"):
            self.add_error("place", "Choose the place it goes to.")
        return said


class TakeBackForm(KeyForm):
    """Why a posting is taken back."""

    reason = forms.CharField(
        max_length=300,
        label="What was wrong",
        error_messages={"required": "Nothing is taken back without a reason: write what was wrong."},
    )


class CertificateForm(forms.Form):
    """A certificate of one lot, as a file."""

    reference = forms.CharField(max_length=200, error_messages={"required": "Write the number on the certificate."})
    file = forms.FileField(
        label="File (PDF, PNG or JPEG, at most 5 MB)",
        error_messages={"required": "Choose the file.", "empty": "The file is empty: scan it again."},
    )


class FoundForm(KeyForm):
    """What the first stock-take finds: a part with what stands on its bag."""

    part = forms.CharField(max_length=100, label="Part number", error_messages={"required": "Write the part number."})
    quantity = QuantityFormField(
        label="How many lie here, all of this lot", widget=number_keys(), error_messages={"required": NO_QUANTITY}
    )
    lot = forms.CharField(max_length=100, required=False, label="Lot on the bag (blank: a code is made)")
    cure = forms.CharField(max_length=30, required=False, label="Cure quarter or date on the bag, such as 3Q24")
    use_by = DayField(required=False, label="Use by, if printed")
    certificate = forms.CharField(max_length=200, required=False)
    packet = forms.ChoiceField(
        choices=(("sealed", "sealed"), ("resealed", "opened, closed again"), ("loose", "loose")), label="Packet"
    )


class UnknownForm(KeyForm):
    """Something that nobody can name."""

    looks_like = forms.CharField(
        max_length=300, label="What it looks like", error_messages={"required": "Describe it."}
    )
    quantity = QuantityFormField(required=False, label="How many, roughly")


@dataclass(frozen=True, slots=True)
class LotFields:
    """The fields of one lot of a delivery."""

    number: int
    fields: tuple[forms.BoundField, ...]
    opened: bool


class ReceiveForm(KeyForm):
    """A delivery: one lot or several, each with what stands on its bag, and why what is not right is accepted."""

    short_life_reason = forms.CharField(
        max_length=200, required=False, label="Too little life left: why it is accepted"
    )
    over_reason = forms.CharField(max_length=200, required=False, label="More than ordered: why it is accepted")
    reason = forms.CharField(max_length=200, required=False, label="Delivery note or remark")

    def __init__(self, *args: Any, sheet: DeskSheet, places: Places, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places, home_id = list(places), sheet.home.pk if sheet.home else None
        self.ages = sheet.needs_date or bool(sheet.item.min_life_at_receipt)
        if sheet.line is None:
            del self.fields["over_reason"]
        for number in range(1, MOST_LOTS + 1):
            for name, field in self._lot_fields(places, home_id).items():
                self.fields[f"{name}_{number}"] = field

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        for number in range(1, MOST_LOTS + 1):
            filled = any(said.get(f"{name}_{number}") for name in ("lot", "cure", "use_by", "batch", "certificate"))
            quantity = said.get(f"quantity_{number}")
            if quantity is None and (filled or number == 1) and f"quantity_{number}" not in self.errors:
                self.add_error(f"quantity_{number}", "Write how many came of this lot.")
            if quantity is not None and not said.get(f"place_{number}") and f"place_{number}" not in self.errors:
                self.add_error(f"place_{number}", "Choose the place it goes to.")
        return said

    @property
    def lots(self) -> Iterator[LotFields]:
        """The fields lot by lot; those that hold something are open."""
        for number in range(1, MOST_LOTS + 1):
            names = [name for name in self.fields if name.endswith(f"_{number}")]
            held = self.is_bound and any(self[name].value() for name in names if not name.startswith("place"))
            yield LotFields(number, tuple(self[name] for name in names), number == 1 or held)

    @property
    def besides(self) -> tuple[forms.BoundField, ...]:
        """The fields of the delivery as a whole; why old lots are taken is asked where a lot can be old."""
        dated = any(self[f"use_by_{number}"].value() for number in range(1, MOST_LOTS + 1))
        names = [*(["short_life_reason"] if self.ages or dated else []), "over_reason", "reason"]
        return tuple(self[name] for name in names if name in self.fields)

    def delivered(self) -> list[DeliveredLot]:
        """The lots as they were written down."""
        said = self.cleaned_data
        return [
            DeliveredLot(
                code=said[f"lot_{number}"].strip(),
                facts=LotFacts(
                    cure=said[f"cure_{number}"].strip(),
                    printed_last_use_on=said[f"use_by_{number}"],
                    maker_batch=said[f"batch_{number}"].strip(),
                    certificate=said[f"certificate_{number}"].strip(),
                    owner=said[f"owner_{number}"].strip(),
                ),
                quantity=said[f"quantity_{number}"],
                place_id=said[f"place_{number}"],
                condition=(Condition.QUARANTINE if said[f"held_{number}"] else Condition.USABLE).value,
            )
            for number in range(1, MOST_LOTS + 1)
            if said[f"quantity_{number}"] is not None
        ]

    @staticmethod
    def _lot_fields(places: Places, home_id: int | None) -> dict[str, forms.Field]:
        return {
            "quantity": QuantityFormField(required=False, label="How many", widget=number_keys()),
            "cure": forms.CharField(max_length=30, required=False, label="Cure quarter or date, such as 3Q25"),
            "use_by": DayField(required=False, label="Use by, if printed"),
            "lot": forms.CharField(max_length=100, required=False, label="Lot on the bag (blank: a code is made)"),
            "batch": forms.CharField(max_length=100, required=False, label="Maker's batch"),
            "certificate": forms.CharField(max_length=200, required=False, label="Certificate number"),
            "place": PlaceField(places, required=False, label="Goes to", initial=str(home_id or "")),
            "owner": forms.CharField(
                max_length=200,
                required=False,
                label="Belongs to (blank: to the shop)",
                widget=forms.TextInput(attrs={"list": "customers", "autocomplete": "off"}),
            ),
            "held": forms.BooleanField(required=False, label="Into quarantine until purchasing decides"),
        }


def day_of(text: str) -> date | None:
    """A day out of an address, None where it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None

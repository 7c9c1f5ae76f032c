"""The forms of one line of a reply: everything that is asked about it is answered before it is accepted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bom.values import ONE
from kits.catalog.days.doubts import DayDoubts
from kits.catalog.days.questions import AsksAboutDays
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import QuantityFormField
from kits.catalog.models import Item
from kits.purchasing.models import ReplyLine, Supplier
from kits.purchasing.replies.answers import BY_HAND, SupplierAnswer, answers_in_words, read_breaks, with_readings
from kits.web.forms.days import DayField
from kits.web.forms.purchasing import promise_doubts
from kits.web.request_keys import KeyForm

LINE, PROMISED = "line", "promised"
NOT_SAID = "Say how it is meant: choose one."
BOTH = (
    "You chose how it is meant and wrote something else below: put the field “%(field)s” back, or choose that it is as "
    "written below."
)


class ReplyLineForm(AsksAboutDays, KeyForm):
    """What is accepted of a line. A reading that is chosen goes before the field that it is about."""

    def __init__(self, odd: DayDoubts, line: ReplyLine, data: Mapping[str, Any] | None = None) -> None:
        self.odd, self.line = odd, line
        stated = {"part": line.item.part_number if line.item else "", **line.stated}
        self.typed = dict(data or {})
        self.chosen = {topic: str(self.typed.get(f"ask-{topic}", "")) for topic in self.topics}
        self.taken = with_readings(line, self.chosen)
        super().__init__({**self.typed, **self.taken} if data is not None else None, initial=stated)
        for question in line.questions:
            self.fields[f"ask-{question['topic']}"] = self._choices(question)

    @property
    def topics(self) -> list[str]:
        """What is asked about."""
        return [question["topic"] for question in self.line.questions]

    @property
    def questions(self) -> Iterator[tuple[list[str], forms.BoundField]]:
        """What is asked, with the field that answers it."""
        return ((question["says"], self[f"ask-{question['topic']}"]) for question in self.line.questions)

    @property
    def can_be_accepted(self) -> bool:
        """Whether every question has an answer that accepts the line."""
        return all(self._choices(question).choices for question in self.line.questions)

    @property
    def answers(self) -> dict[str, str]:
        """What was said to each question."""
        return answers_in_words(self.line, self.chosen)

    def clean(self) -> dict[str, Any]:
        """Whoever chooses a reading has written nothing else beside it."""
        cleaned = super().clean()
        for question in self.line.questions:
            topic = question["topic"]
            if self.chosen[topic] in ("", BY_HAND):
                continue
            for name in self.taken.keys() & self.fields.keys():
                typed, stated = str(self.typed.get(name, "")).strip(), str(self.initial.get(name, ""))
                if _about(question, name) and typed not in (stated, self.taken[name]):
                    self.add_error(f"ask-{topic}", ValidationError(BOTH, params={"field": name}))
        return cleaned

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the promise, unless it was chosen as it is meant."""
        return {} if PROMISED in self.taken else promise_doubts(self.odd, cleaned, PROMISED)

    def _choices(self, question: Mapping[str, Any]) -> forms.ChoiceField:
        choices = [(str(number), reading["says"]) for number, reading in enumerate(question["readings"])]
        if question["topic"] != LINE:
            choices.append((BY_HAND, "as it is written in the fields below"))
        return forms.ChoiceField(choices=choices, widget=forms.RadioSelect, error_messages={"required": NOT_SAID})


class AcceptPromiseForm(ReplyLineForm):
    """The day that a supplier now promises."""

    promised = DayField()
    note = forms.CharField(required=False, max_length=400)


class AnswerForm(ReplyLineForm):
    """What is accepted of a supplier's answer; a blank field changes nothing."""

    part = forms.CharField(max_length=100, error_messages={"required": "No part was named: write our number of it."})
    supplier = forms.CharField(max_length=200, error_messages={"required": "No supplier was chosen: choose one."})
    refused = forms.BooleanField(required=False)
    pack = QuantityFormField(error_messages={"required": "No pack was given: write how many are in one, 1 if loose."})
    price = forms.DecimalField(
        localize=True,
        required=False,
        min_value=Decimal(0),
        max_digits=18,
        decimal_places=6,
        error_messages={"invalid": "That is no price: write it in digits, without a currency."},
    )
    currency = forms.CharField(required=False, max_length=10)
    lead = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=2_000,
        error_messages={"invalid": "That is no number of days: write whole working days."},
    )
    quantity = QuantityFormField(required=False)
    promised = DayField(required=False)
    valid = DayField(required=False)
    breaks = forms.CharField(required=False, max_length=200)
    alternative = forms.CharField(required=False, max_length=100)
    note = forms.CharField(required=False, max_length=400)

    def clean_breaks(self) -> tuple[tuple[int, Decimal], ...]:
        """Price breaks, from fewer packs to more."""
        try:
            return read_breaks(self.cleaned_data["breaks"])
        except Refusal as refusal:
            raise ValidationError(str(refusal)) from None

    def clean_part(self) -> Item:
        """The item of this number."""
        found = Item.objects.by_number(self.cleaned_data["part"])
        if found is None:
            raise ValidationError(f"“{self.cleaned_data['part']}” is no number of ours: write our part number.")
        return found

    def clean_supplier(self) -> Supplier:
        """The supplier of this name."""
        found = Supplier.objects.by_name(self.cleaned_data["supplier"])
        if found is None:
            raise ValidationError(f"“{self.cleaned_data['supplier']}” is no supplier of ours: choose one.")
        return found

    def clean_pack(self) -> int:
        """A pack that holds something."""
        pack: int = self.cleaned_data["pack"]
        if pack <= 0:
            raise ValidationError("A pack holds more than 0: write how many are in one.")
        return pack

    def clean_quantity(self) -> int | None:
        """More than nothing, if anything."""
        quantity: int | None = self.cleaned_data["quantity"]
        if quantity is not None and quantity <= 0:
            raise ValidationError("A delivery holds more than 0: write how many, or clear the quantity.")
        return quantity

    def clean(self) -> dict[str, Any]:
        """A price holds until a day that is still to come."""
        cleaned = super().clean()
        until = cleaned.get("valid")
        if until is not None and until < self.odd.today:
            self.add_error(
                "valid", f"The price lapsed on {in_full(until)}: ask whether it still holds, or clear the day."
            )
        return cleaned

    @property
    def answer(self) -> SupplierAnswer:
        """What the form says."""
        said = self.cleaned_data
        return SupplierAnswer(
            supplier=said["supplier"],
            item=said["part"],
            pack_size=said["pack"] or ONE,
            price_per_pack=said["price"],
            currency=said["currency"].upper(),
            lead_days=said["lead"],
            quantity=said["quantity"],
            promised_on=said["promised"],
            valid_to_on=said["valid"],
            refused=said["refused"],
            note=said["note"],
            breaks=said["breaks"],
            alternative=said["alternative"],
        )


def _about(question: Mapping[str, Any], name: str) -> bool:
    """Whether a question has to do with a field."""
    return any(
        name in reading["takes"] or (name == "quantity" and "packs" in reading["takes"])
        for reading in question["readings"]
    )

"""The forms in which lists are changed from a day or a serial on, approved by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.catalog.fields import QuantityFormField
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import AtRebuild
from kits.exchange.revised.rows import Since
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

NO_PART = "There is no part {number}: load it with the sheet Items, or write one that is known."
WHAT_HAPPENS = [(word.value, word.label.lower()) for word in (AtRebuild.RENEW, AtRebuild.INSPECT, AtRebuild.KEEP)]


class LetStandForm(KeyForm):
    """A proposal that somebody decides against, and why."""

    of = forms.CharField(max_length=100)
    scope = forms.CharField(max_length=100, required=False)
    part = forms.CharField(max_length=100)
    reason = forms.CharField(max_length=500, error_messages={"required": "Write why the list stays as it is."})


class SinceForm(forms.Form):
    """From when a list is another, who approved it, and why."""

    from_day = DayField(required=False)
    serial = forms.CharField(required=False, max_length=50)
    last_serial = forms.CharField(required=False, max_length=50)
    approved_by = forms.CharField(
        max_length=100, error_messages={"required": "Nobody has approved it yet: write the name of whoever did."}
    )
    stated_in = forms.CharField(required=False, max_length=150)
    why = forms.CharField(
        max_length=500, error_messages={"required": "Write why: it stands in the history beside your name."}
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        """One start: a day from today on, or a serial together with the last one before it."""
        said = super().clean() or {}
        day, serial, last = said.get("from_day"), said.get("serial"), said.get("last_serial")
        if day and serial:
            self.add_error("serial", "Two starts are given: take the day away, or the serial.")
        elif not day and not serial and "from_day" not in self.errors:
            self.add_error("from_day", "It has no start: write the first build day, or the first serial.")
        if day and day < self.today:
            says = f"{in_full(day)} has passed: what was built then stays as it was. Begin today or later."
            self.add_error("from_day", says)
        if serial and not last:
            self.add_error("last_serial", "Write the last serial that was built as before.")
        elif serial and last and not Since(None, serial, last).is_in_order:
            self.add_error("last_serial", f"{last} does not come before {serial}: write the last serial of before.")
        elif last and not serial:
            self.add_error("serial", "Write the first serial that is built so.")
        return said

    @property
    def since(self) -> Since:
        """From when, once the form is valid."""
        said = self.cleaned_data
        return Since(said["from_day"], said["serial"], said["last_serial"])

    @property
    def source(self) -> str:
        """Where it is stated, as it goes into the list."""
        said = self.cleaned_data
        return (said["stated_in"] or f"approved by {said['approved_by']}, {self.today.isoformat()}")[:200]


class ListLineForm(SinceForm):
    """How much of a part an assembly holds from then on."""

    assembly = forms.ChoiceField()
    part = forms.CharField(max_length=100, error_messages={"required": "Write the number of the part."})
    position = forms.CharField(required=False, max_length=200)
    quantity = QuantityFormField(error_messages={"required": "Write how much of it one assembly holds."})
    at_rebuild = forms.ChoiceField(choices=WHAT_HAPPENS)

    def __init__(self, held: Mapping[str, int], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(number, f"{number}, {count} in a pump") for number, count in held.items()]
        self.fields["assembly"].choices = choices  # type: ignore[attr-defined]

    def clean_part(self) -> Item:
        """The part of this number."""
        return _item(self.cleaned_data["part"])

    def clean_quantity(self) -> int:
        """More than nothing."""
        return _above_nothing(self.cleaned_data["quantity"])


class NewNumberForm(SinceForm):
    """Which number stands in the place of an old one, and where."""

    new = forms.CharField(max_length=100, error_messages={"required": "Write the new number."})
    description = forms.CharField(required=False, max_length=500)
    used_up = forms.BooleanField(required=False)
    lines = forms.TypedMultipleChoiceField(
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick where the new number stands in the place of the old one."},
    )

    def __init__(self, stored: Sequence[StructureLine], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stored = {line.pk: line for line in stored}
        self.fields["lines"].choices = [(line.pk, str(line)) for line in stored]  # type: ignore[attr-defined]

    @property
    def chosen(self) -> list[StructureLine]:
        """The lines that were ticked."""
        return [self.stored[key] for key in self.cleaned_data["lines"]]


class ContentsForm(SinceForm):
    """What a kit holds from then on: a quantity for each line, and what is new, a line for each part."""

    added = forms.CharField(required=False, max_length=5000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, stored: Sequence[StructureLine], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stored = stored
        for line in stored:
            self.fields[f"line-{line.pk}"] = QuantityFormField(initial=line.quantity, required=False)

    def rows(self) -> list[tuple[StructureLine, Amount, forms.BoundField]]:
        """Each line with what it holds now, and its field."""
        return [
            (line, Amount.of(line.quantity, line.child.stock_unit), self[f"line-{line.pk}"]) for line in self.stored
        ]

    @property
    def quantities(self) -> dict[int, int]:
        """Millionths by line; what was left blank is in it no longer."""
        return {line.pk: self.cleaned_data[f"line-{line.pk}"] or 0 for line in self.stored}

    def clean_added(self) -> list[tuple[Item, int]]:
        """The parts that are new, each with its quantity: the number, then how many."""
        found = []
        for row in filter(str.strip, self.cleaned_data["added"].splitlines()):
            number, _, amount = row.strip().rpartition(" ")
            if not number:
                raise ValidationError(f"“{row.strip()}” has no quantity: write the number, a space, and how many.")
            found.append((_item(number.strip(" ,;\t")), _above_nothing(QuantityFormField().clean(amount))))
        return found

    def clean(self) -> dict[str, Any]:
        """No quantity below nothing, and something left in the kit."""
        said = super().clean()
        for line in self.stored:
            name = f"line-{line.pk}"
            if (said.get(name) or 0) < 0:
                self.add_error(name, "A kit holds no less than 0 of it: write 0 for no longer.")
        return said


def _item(number: str) -> Item:
    item = Item.objects.by_number(number)
    if item is None:
        raise ValidationError(NO_PART.format(number=number))
    return item


def _above_nothing(quantity: int) -> int:
    if quantity <= 0:
        raise ValidationError("Nothing of it would be there: write a quantity above 0.")
    return quantity

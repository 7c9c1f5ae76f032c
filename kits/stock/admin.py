"""The back office of the storeroom: places and lots are edited, the ledger is looked at."""

from __future__ import annotations

from django import forms
from django.contrib import admin
from django.utils import timezone

from bom.errors import ShelfLifeError
from bom.structure.cure import parse_cure
from kits.catalog.back_office.records import RecordAdmin
from kits.catalog.fields import quantity_text
from kits.catalog.folding import fold
from kits.people.back_office import ReadOnlyAdmin, RecordForm
from kits.stock.lot_codes import ANOTHER_CODE
from kits.stock.models import Balance, Lot, Movement, Place, Posting, Reservation, TaughtCode


class LotForm(RecordForm):
    """A lot whose cure date is read as it is typed."""

    def clean_cure(self) -> str:
        """Read the cure date and keep the day from which it counts."""
        cure = str(self.cleaned_data["cure"]).strip()
        try:
            self.instance.cure_on = parse_cure(cure, timezone.localdate()).starts_on if cure else None
        except ShelfLifeError as error:
            raise forms.ValidationError(str(error)) from error
        return cure

    def clean_lot(self) -> str:
        """Refuse a code that the shop made up for another lot."""
        code = str(self.cleaned_data["lot"])
        taken = Lot.objects.filter(folded=fold(code)).exclude(pk=self.instance.pk)
        other = (taken if self.instance.made_here else taken.filter(made_here=True)).select_related("item").first()
        if other is not None:
            says = f"The code {code} is that of a lot of {other.item}, and one of the two was made up here"
            raise forms.ValidationError(f"{says}: {ANOTHER_CODE}.")
        return code


@admin.register(Place)
class PlaceAdmin(RecordAdmin):
    """Places."""

    list_display = ("place", "walk_order", "kind")
    list_filter = ("kind",)
    search_fields = ("place", "folded")


@admin.register(Lot)
class LotAdmin(RecordAdmin):
    """Lots."""

    form = LotForm
    list_display = ("item", "lot", "cure", "printed_last_use_on", "last_use_on", "received_on", "owner")
    list_select_related = ("item",)
    search_fields = ("item__part_number", "lot", "maker_batch", "certificate")
    raw_id_fields = ("item",)
    readonly_fields = ("cure_on",)


@admin.register(Reservation)
class ReservationAdmin(RecordAdmin):
    """Reservations."""

    list_display = ("job", "lot", "place")
    list_select_related = ("job", "lot__item", "place")
    raw_id_fields = ("job", "lot", "place")


@admin.register(Balance)
class BalanceAdmin(ReadOnlyAdmin):
    """Balances."""

    list_display = ("__str__", "held")
    list_select_related = ("lot__item", "place", "job")
    search_fields = ("lot__item__part_number", "lot__lot", "place__place", "job__job")

    @admin.display(description="quantity")
    def held(self, balance: Balance) -> str:
        """The quantity in stock units."""
        return quantity_text(balance.quantity)


@admin.register(Posting)
class PostingAdmin(ReadOnlyAdmin):
    """Postings."""

    list_display = ("id", "kind", "at", "by", "job", "reason", "reverses")
    list_filter = ("kind",)
    list_select_related = ("by", "job", "reverses")
    search_fields = ("key", "job__job", "reason")


@admin.register(Movement)
class MovementAdmin(ReadOnlyAdmin):
    """Movements."""

    list_display = ("posting", "balance", "moved")
    list_select_related = ("posting", "balance__lot__item", "balance__place", "balance__job")
    search_fields = ("balance__lot__item__part_number", "balance__lot__lot")

    @admin.display(description="quantity")
    def moved(self, movement: Movement) -> str:
        """The quantity in stock units."""
        return quantity_text(movement.quantity)


@admin.register(TaughtCode)
class TaughtCodeAdmin(RecordAdmin):
    """Codes on older labels."""

    list_display = ("text", "means")
    search_fields = ("text", "means")

"""The back office of purchasing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from kits.catalog.back_office.records import CatalogAdmin, RecordAdmin
from kits.catalog.days.doubts import doubts_now
from kits.catalog.days.questions import AsksAboutDays
from kits.people.back_office import ReadOnlyAdmin, RecordForm
from kits.purchasing.models import (
    EndOfMaking,
    ExchangeRate,
    LineTerms,
    Offer,
    OrderLine,
    OrderLineChange,
    OutsidePromise,
    OutsideWork,
    PriceRequest,
    PromiseChange,
    PurchaseOrder,
    Receipt,
    ReplyLine,
    RequestLine,
    Supplier,
    SupplierCall,
    SupplierQuote,
    SupplierReturn,
)


@admin.register(Supplier)
class SupplierAdmin(CatalogAdmin):
    """Suppliers; their transit days count in the catalog's lead times."""

    list_display = ("supplier", "currency", "transit_days", "closed_from_on", "closed_to_on")
    search_fields = ("supplier", "folded")


@admin.register(Offer)
class OfferAdmin(CatalogAdmin):
    """Offers."""

    list_display = ("item", "supplier", "supplier_part_number", "price_from_packs", "price_per_pack", "lead_days")
    list_filter = ("supplier",)
    list_select_related = ("item", "supplier")
    search_fields = ("item__part_number", "supplier_part_number")
    raw_id_fields = ("item",)


class OrderLineForm(AsksAboutDays, RecordForm):
    """An order line; an odd promise is asked about where the line is new."""

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the promise."""
        day = cleaned.get("promised_on")
        return {"promised_on": doubts_now().of_promise(day)} if day else {}


@admin.register(OrderLine)
class OrderLineAdmin(RecordAdmin):
    """Order lines."""

    form = OrderLineForm
    list_display = ("order", "line", "supplier", "item", "promised_on")
    list_filter = ("supplier",)
    list_select_related = ("supplier", "item")
    search_fields = ("order", "item__part_number")
    raw_id_fields = ("item",)
    exclude = ("entry",)

    def get_readonly_fields(self, request: HttpRequest, obj: OrderLine | None = None) -> tuple[str, ...]:
        """A promise that is given moves on the page of its line, which keeps the day it had."""
        return ("promised_on",) if obj else ()


@admin.register(Receipt)
class ReceiptAdmin(ReadOnlyAdmin):
    """Receipts."""

    list_display = ("order_line", "posting")
    list_select_related = ("order_line", "posting")


@admin.register(PromiseChange)
class PromiseChangeAdmin(ReadOnlyAdmin):
    """How promises moved."""

    list_display = ("order_line", "was_on", "promised_on", "reason", "by", "at")
    list_select_related = ("order_line", "by")


@admin.register(EndOfMaking)
class EndOfMakingAdmin(ReadOnlyAdmin):
    """Items that are no longer made, and marks that were taken back."""

    list_display = ("item", "from_on", "last_order_on", "source", "by", "at", "taken_back_at")
    list_select_related = ("item", "by")
    search_fields = ("item__part_number",)


@admin.register(ExchangeRate)
class ExchangeRateAdmin(ReadOnlyAdmin):
    """Rates, which are typed on their page and never edited."""

    list_display = ("currency", "home", "from_on", "rate", "source", "by", "at")
    list_filter = ("currency",)
    list_select_related = ("by",)


@admin.register(OutsideWork)
class OutsideWorkAdmin(ReadOnlyAdmin):
    """What was sent out to be worked on, and how it came back."""

    list_display = ("id", "supplier", "item", "job", "where", "sent_on", "promised_on", "outcome", "back_on")
    list_filter = ("outcome", "supplier")
    list_select_related = ("supplier", "item", "job")
    search_fields = ("item__part_number", "job__job")


@admin.register(OutsidePromise)
class OutsidePromiseAdmin(ReadOnlyAdmin):
    """How promises of outside work moved."""

    list_display = ("outside_work", "was_on", "promised_on", "says", "by", "at")
    list_select_related = ("outside_work", "by")


@admin.register(SupplierQuote)
class SupplierQuoteAdmin(ReadOnlyAdmin):
    """Quotes and refusals, and what became of them."""

    list_display = (
        "quoted_on",
        "supplier",
        "item",
        "price_per_pack",
        "refused",
        "valid_to_on",
        "order_line",
        "dropped_at",
    )
    list_filter = ("refused", "supplier")
    list_select_related = ("supplier", "item", "order_line")
    search_fields = ("item__part_number",)


@admin.register(ReplyLine)
class ReplyLineAdmin(ReadOnlyAdmin):
    """Lines of replies, and who decided what."""

    list_display = ("reply", "sheet", "row", "key", "state", "decided_by", "decided_at", "outcome")
    list_filter = ("state",)
    list_select_related = ("reply", "decided_by")
    search_fields = ("key",)


@admin.register(PurchaseOrder)
class PurchaseOrderAdmin(ReadOnlyAdmin):
    """Orders: who drafted, sent and cancelled them."""

    list_display = ("number", "supplier", "entry", "sent_on", "sent_by", "cancelled_at")
    list_filter = ("supplier",)
    list_select_related = ("supplier", "entry", "sent_by")
    search_fields = ("number",)


@admin.register(LineTerms)
class LineTermsAdmin(ReadOnlyAdmin):
    """What was agreed of the lines of orders."""

    list_display = ("order", "number", "item", "packs", "price_per_pack", "wanted_on", "confirmed_on")
    list_select_related = ("order", "item")
    search_fields = ("order__number", "item__part_number")


@admin.register(OrderLineChange)
class OrderLineChangeAdmin(ReadOnlyAdmin):
    """What was changed of lines after they were sent."""

    list_display = ("order_line", "kind", "says", "reason", "by", "at")
    list_filter = ("kind",)
    list_select_related = ("order_line", "by")


@admin.register(SupplierCall)
class SupplierCallAdmin(ReadOnlyAdmin):
    """Calls about order lines."""

    list_display = ("order_line", "asked", "said", "next_call_on", "by", "at")
    list_select_related = ("order_line", "by")


@admin.register(PriceRequest)
class PriceRequestAdmin(ReadOnlyAdmin):
    """Requests to suppliers: who made, sent and took them back."""

    list_display = ("number", "supplier", "asked_on", "reply_by", "by", "sent_on", "withdrawn_at")
    list_filter = ("supplier",)
    list_select_related = ("supplier", "by")
    search_fields = ("number",)


@admin.register(RequestLine)
class RequestLineAdmin(ReadOnlyAdmin):
    """What was asked for in requests."""

    list_display = ("request", "place", "item", "packs", "pack_size", "wanted_on")
    list_select_related = ("request", "item")
    search_fields = ("request__number", "item__part_number")


@admin.register(SupplierReturn)
class SupplierReturnAdmin(ReadOnlyAdmin):
    """What goes back to suppliers."""

    list_display = ("supplier", "item", "quantity", "wrong", "replaced", "gone_on", "credit_expected", "credited_on")
    list_filter = ("supplier", "wrong")
    list_select_related = ("supplier", "item")

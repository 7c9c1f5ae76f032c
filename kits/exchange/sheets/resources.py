"""Which sheet is which table, and which columns are called otherwise there."""

from __future__ import annotations

from typing import Any, ClassVar

from kits.catalog import models as catalog
from kits.exchange.sheets import layouts
from kits.exchange.sheets.bulk_rows import insert_rows
from kits.exchange.sheets.sheet_fields import LifeField, OtherNumbersField, RuleUnitField, SheetField, UnitField
from kits.exchange.sheets.sheet_resources import SheetResource
from kits.purchasing import models as purchasing
from kits.schedule import models as schedule
from kits.stock import models as stock


class SettingResource(SheetResource):
    """Settings."""

    sheet = layouts.SETTINGS

    class Meta:
        model = catalog.Setting


class HolidayResource(SheetResource):
    """Holidays."""

    sheet = layouts.HOLIDAYS

    class Meta:
        model = catalog.Holiday


class PlaceResource(SheetResource):
    """Places."""

    sheet = layouts.PLACES

    class Meta:
        model = stock.Place


class SupplierResource(SheetResource):
    """Suppliers."""

    sheet = layouts.SUPPLIERS
    attributes: ClassVar[dict[str, str]] = {"closed_from": "closed_from_on", "closed_to": "closed_to_on"}

    class Meta:
        model = purchasing.Supplier


class ItemResource(SheetResource):
    """Items, with their other numbers."""

    sheet = layouts.ITEMS
    attributes: ClassVar[dict[str, str]] = {"lead_time": "lead_days"}
    special: ClassVar[dict[str, type[SheetField]]] = {"shelf_life_years": LifeField, "other_numbers": OtherNumbersField}

    class Meta:
        model = catalog.Item

    def after_store(self, stored: list[Any]) -> None:
        """Write the other numbers of the items whose row gives them."""
        listed = [item for item in stored if hasattr(item, "numbers_to_write") and (item.pk or item.numbers_to_write)]
        new = [item.folded for item in listed if item.pk is None]
        keys = dict(catalog.Item.objects.filter(folded__in=new).values_list("folded", "pk")) if new else {}
        known = self.lookups.other_numbers if listed else {}
        changed = {
            key: item.numbers_to_write
            for item in listed
            for key in (item.pk or keys[item.folded],)
            if item.numbers_to_write != known.get(key, ())
        }
        replaced = [key for key in changed if known.get(key)]
        catalog.OtherNumber.objects.filter(item_id__in=replaced).delete()
        insert_rows(
            catalog.OtherNumber,
            [catalog.OtherNumber(item_id=key, number=number) for key, numbers in changed.items() for number in numbers],
        )


class StructureResource(SheetResource):
    """Structure lines."""

    sheet = layouts.STRUCTURE
    attributes: ClassVar[dict[str, str]] = {"from_date": "from_on", "to_date": "to_on"}
    special: ClassVar[dict[str, type[SheetField]]] = {"unit": UnitField}

    class Meta:
        model = catalog.StructureLine


class ScopeResource(SheetResource):
    """Scopes."""

    sheet = layouts.SCOPES

    class Meta:
        model = catalog.ScopeSection


class KitFitResource(SheetResource):
    """Which kit fits what."""

    sheet = layouts.KIT_FITS
    attributes: ClassVar[dict[str, str]] = {"set": "set_name"}

    class Meta:
        model = catalog.KitFit


class FindingRuleResource(SheetResource):
    """What named findings mean."""

    sheet = layouts.FINDING_RULES
    attributes: ClassVar[dict[str, str]] = {"part_number": "item"}
    special: ClassVar[dict[str, type[SheetField]]] = {"unit": RuleUnitField}

    class Meta:
        model = catalog.FindingRule


class SubstituteResource(SheetResource):
    """Substitutes."""

    sheet = layouts.SUBSTITUTES
    attributes: ClassVar[dict[str, str]] = {"part_number": "item"}

    class Meta:
        model = catalog.Substitute


class OfferResource(SheetResource):
    """Offers."""

    sheet = layouts.OFFERS
    attributes: ClassVar[dict[str, str]] = {"part_number": "item", "lead_time": "lead_days", "valid_to": "valid_to_on"}

    class Meta:
        model = purchasing.Offer


class JobResource(SheetResource):
    """The schedule."""

    sheet = layouts.SCHEDULE
    attributes: ClassVar[dict[str, str]] = {"build_date": "build_on", "strip_date": "strip_on"}

    class Meta:
        model = schedule.Job


class OtherNeedResource(SheetResource):
    """Other needs."""

    sheet = layouts.OTHER_NEEDS
    attributes: ClassVar[dict[str, str]] = {"part_number": "item", "need_date": "need_on"}
    special: ClassVar[dict[str, type[SheetField]]] = {"unit": UnitField}

    class Meta:
        model = schedule.OtherNeed


class OrderLineResource(SheetResource):
    """Order lines; the quantity is what is still to come."""

    sheet = layouts.ORDERS
    attributes: ClassVar[dict[str, str]] = {"part_number": "item", "promised": "promised_on"}
    special: ClassVar[dict[str, type[SheetField]]] = {"unit": UnitField}

    class Meta:
        model = purchasing.OrderLine

    def filter_export(self, queryset: Any, **kwargs: Any) -> Any:
        """Leave out lines of which nothing is still to come."""
        return queryset.filter(quantity__gt=0)


class VerdictResource(SheetResource):
    """Strip reports."""

    sheet = layouts.VERDICTS
    attributes: ClassVar[dict[str, str]] = {"part_number": "item"}

    class Meta:
        model = schedule.Verdict


class FindingResource(SheetResource):
    """Named findings on jobs."""

    sheet = layouts.FINDINGS

    class Meta:
        model = schedule.Finding


RESOURCES: dict[str, type[SheetResource]] = {
    resource.sheet.name: resource
    for resource in (
        SettingResource,
        HolidayResource,
        PlaceResource,
        SupplierResource,
        ItemResource,
        StructureResource,
        ScopeResource,
        KitFitResource,
        FindingRuleResource,
        SubstituteResource,
        OfferResource,
        JobResource,
        OtherNeedResource,
        OrderLineResource,
        VerdictResource,
        FindingResource,
    )
}
"""Every sheet that is one table. Lots and Issued are kept by the ledger and have ways of their own."""


def sheet_of_model(model: type[Any]) -> layouts.Sheet | None:
    """The sheet by which rows of a table are brought in, or None."""
    found = {resource._meta.model: resource.sheet for resource in RESOURCES.values()}
    return (found | {stock.Lot: layouts.LOTS}).get(model)

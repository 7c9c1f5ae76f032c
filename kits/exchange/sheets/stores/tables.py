"""Which sheet is which table, which columns are called otherwise there, and what is stored with its rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from django.db.models import QuerySet

from kits.catalog import models as catalog
from kits.catalog.folding import fold
from kits.exchange.columns import catalog_layouts, stock_layouts, work_layouts
from kits.exchange.problems.row_changes import RowChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.stores.bulk_rows import insert_rows
from kits.exchange.sheets.stores.sheet_fields import (
    LifeField,
    OtherNumbersField,
    RuleUnitField,
    SheetField,
    UnitField,
)
from kits.exchange.sheets.stores.sheet_store import Occasion
from kits.exchange.sheets.stores.table_store import TableStore
from kits.purchasing import models as purchasing
from kits.purchasing.writes import note_moved_promises, promised_days
from kits.schedule import models as schedule
from kits.stock import models as stock


class SettingStore(TableStore):
    """Settings."""

    layout, model = work_layouts.SETTINGS, catalog.Setting


class HolidayStore(TableStore):
    """Holidays."""

    layout, model = work_layouts.HOLIDAYS, catalog.Holiday


class PlaceStore(TableStore):
    """Places."""

    layout, model = stock_layouts.PLACES, stock.Place


class SupplierStore(TableStore):
    """Suppliers."""

    layout, model = stock_layouts.SUPPLIERS, purchasing.Supplier
    attributes: ClassVar[Mapping[str, str]] = {"closed_from": "closed_from_on", "closed_to": "closed_to_on"}


class ItemStore(TableStore):
    """Items, with their other numbers; each after the item that it is got as."""

    layout, model = catalog_layouts.ITEMS, catalog.Item
    attributes: ClassVar[Mapping[str, str]] = {"lead_time": "lead_days"}
    special: ClassVar[Mapping[str, type[SheetField]]] = {
        "shelf_life_years": LifeField,
        "other_numbers": OtherNumbersField,
    }

    def groups(self, records: Sequence[SheetRecord]) -> list[list[int]]:
        """Places of rows that can be stored together: the same columns, and equally far from what they are got as."""
        depths = _depths(records)
        groups = [
            (depth, [place for place in places if depths.get(place, 0) == depth])
            for places in super().groups(records)
            for depth in sorted({depths.get(place, 0) for place in places})
        ]
        return [places for _, places in sorted(groups, key=lambda group: group[0])]

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


def _depths(records: Sequence[SheetRecord]) -> dict[int, int]:
    """By its place, how many steps an item is from the one that is bought to get it; none where nobody is."""
    if not any(record.text("get_as") for record in records):
        return {}
    by_number = {fold(record.text("part_number")): record for record in records}
    depths: dict[int, int] = {}
    for place, record in enumerate(records):
        steps, one = 0, record
        while (other := by_number.get(fold(one.text("get_as")))) is not None and steps <= len(records):
            steps, one = steps + 1, other
        depths[place] = steps
    return depths


class StructureStore(TableStore):
    """Structure lines."""

    layout, model = catalog_layouts.STRUCTURE, catalog.StructureLine
    attributes: ClassVar[Mapping[str, str]] = {"from_date": "from_on", "to_date": "to_on"}
    special: ClassVar[Mapping[str, type[SheetField]]] = {"unit": UnitField}


class ScopeStore(TableStore):
    """Scopes."""

    layout, model = catalog_layouts.SCOPES, catalog.ScopeSection


class KitFitStore(TableStore):
    """Which kit fits what."""

    layout, model = catalog_layouts.KIT_FITS, catalog.KitFit
    attributes: ClassVar[Mapping[str, str]] = {"set": "set_name"}


class FindingRuleStore(TableStore):
    """What named findings mean."""

    layout, model = catalog_layouts.FINDING_RULES, catalog.FindingRule
    attributes: ClassVar[Mapping[str, str]] = {"part_number": "item"}
    special: ClassVar[Mapping[str, type[SheetField]]] = {"unit": RuleUnitField}


class SubstituteStore(TableStore):
    """Substitutes."""

    layout, model = catalog_layouts.SUBSTITUTES, catalog.Substitute
    attributes: ClassVar[Mapping[str, str]] = {"part_number": "item"}


class OfferStore(TableStore):
    """Offers."""

    layout, model = stock_layouts.OFFERS, purchasing.Offer
    attributes: ClassVar[Mapping[str, str]] = {
        "part_number": "item",
        "lead_time": "lead_days",
        "valid_to": "valid_to_on",
    }


class JobStore(TableStore):
    """The schedule."""

    layout, model = work_layouts.SCHEDULE, schedule.Job
    attributes: ClassVar[Mapping[str, str]] = {"build_date": "build_on", "strip_date": "strip_on"}

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """Add the batches first: they have no sheet, and are there as soon as a job names them."""
        named = {fold(record.text("batch")): record.text("batch") for record in reversed(records)}
        missing = [name for folded, name in named.items() if folded and not self.lookups.has("batch", name)]
        schedule.Batch.objects.bulk_create([schedule.Batch(name=name) for name in missing])
        if missing:
            self.lookups.forget()
        return super().store(records, occasion)


class OtherNeedStore(TableStore):
    """Other needs."""

    layout, model = work_layouts.OTHER_NEEDS, schedule.OtherNeed
    attributes: ClassVar[Mapping[str, str]] = {"part_number": "item", "need_date": "need_on"}
    special: ClassVar[Mapping[str, type[SheetField]]] = {"unit": UnitField}


class OrderLineStore(TableStore):
    """Order lines; the quantity is what is still to come."""

    layout, model = stock_layouts.ORDERS, purchasing.OrderLine
    attributes: ClassVar[Mapping[str, str]] = {"part_number": "item", "promised": "promised_on"}
    special: ClassVar[Mapping[str, type[SheetField]]] = {"unit": UnitField}

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """Store the lines, and note the promises that they move."""
        promised = promised_days()
        changes = super().store(records, occasion)
        if promised:
            key = f"{occasion.key}:promise"
            note_moved_promises(promised, reason=occasion.reason, by=occasion.by, at=occasion.at, key=key)
        return changes

    def exported(self) -> QuerySet[Any]:
        """Leave out lines of which nothing is still to come."""
        return self.get_queryset().filter(quantity__gt=0)


class VerdictStore(TableStore):
    """Strip reports."""

    layout, model = work_layouts.VERDICTS, schedule.Verdict
    attributes: ClassVar[Mapping[str, str]] = {"part_number": "item"}


class FindingStore(TableStore):
    """Named findings on jobs."""

    layout, model = work_layouts.FINDINGS, schedule.Finding

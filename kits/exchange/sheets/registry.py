"""All sheets: each with its layout, its store and its rules."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Model

from kits.catalog.models import Item, OtherNumber
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.columns.stock_layouts import KIT_CONTENTS, LOTS
from kits.exchange.columns.work_layouts import ISSUED
from kits.exchange.records import names
from kits.exchange.sheets.rules import catalog, days, items, shop
from kits.exchange.sheets.sheet import Sheet
from kits.exchange.sheets.stores import tables
from kits.exchange.sheets.stores.issue_store import IssueStore
from kits.exchange.sheets.stores.kit_content_store import KitContentStore
from kits.exchange.sheets.stores.lot_store import LotStore
from kits.exchange.sheets.stores.table_store import TableStore
from kits.schedule.models import Batch, Job
from kits.stock.models import Lot


def _table(store: type[TableStore], **facts: Any) -> Sheet:
    """A sheet that is one table, with what else is told of it."""
    return Sheet(store.layout, store, model=store.model, **{"tables": (store.model,), **facts})


def _in_order(sheets: Iterable[Sheet]) -> tuple[Sheet, ...]:
    """Each after those that its rows name."""
    by_layout = {sheet.layout: sheet for sheet in sheets}
    return tuple(by_layout[layout] for layout in LAYOUTS)


SHEETS = _in_order(
    (
        _table(tables.SettingStore, bring=names.bring_setting, check_row=shop.check_setting),
        _table(tables.HolidayStore),
        _table(tables.PlaceStore, of_the_catalog=False, bring=names.bring_place),
        _table(tables.SupplierStore, bring=names.bring_supplier, check_row=shop.check_supplier),
        _table(
            tables.ItemStore,
            tables=(Item, OtherNumber),
            bring=names.bring_item,
            check_row=items.check_item,
            check_rows=items.check_items,
        ),
        _table(tables.StructureStore, check_row=catalog.check_structure_line),
        _table(tables.ScopeStore, bring=names.bring_scope, check_row=catalog.check_scope_row),
        _table(tables.KitFitStore, check_row=catalog.check_kit_fit),
        _table(tables.FindingRuleStore, bring=names.bring_finding, check_row=catalog.check_finding_rule),
        _table(tables.SubstituteStore, check_row=catalog.check_substitute),
        _table(tables.OfferStore),
        _table(
            tables.JobStore,
            tables=(Batch, Job),
            of_the_catalog=False,
            bring=names.bring_job,
            check_row=shop.check_job,
            check_rows=shop.check_stages,
            asked_day="build_date",
            odd_days=days.odd_days_of_jobs,
        ),
        _table(tables.OtherNeedStore, of_the_catalog=False, asked_day="need_date", odd_days=days.odd_days_of_needs),
        Sheet(
            LOTS,
            LotStore,
            model=Lot,
            of_the_catalog=False,
            bring=names.bring_lot,
            check_row=shop.check_lot,
            check_rows=shop.check_lots_agree,
        ),
        Sheet(KIT_CONTENTS, KitContentStore, of_the_catalog=False, check_row=shop.check_kit_piece),
        _table(tables.OrderLineStore, of_the_catalog=False, asked_day="promised", odd_days=days.odd_days_of_orders),
        Sheet(ISSUED, IssueStore, of_the_catalog=False, check_rows=shop.check_returns),
        _table(tables.VerdictStore, of_the_catalog=False, check_row=shop.check_verdict),
        _table(tables.FindingStore, of_the_catalog=False),
    )
)
"""All sheets, in the order in which their rows are stored."""

_BY_LAYOUT: Mapping[Layout, Sheet] = {sheet.layout: sheet for sheet in SHEETS}
_BY_MODEL: Mapping[type[Model], Sheet] = {sheet.model: sheet for sheet in SHEETS if sheet.model is not None}


def sheet_of(layout: Layout) -> Sheet:
    """The sheet of a layout."""
    return _BY_LAYOUT[layout]


def sheet_of_model(model: type[Model]) -> Sheet | None:
    """The sheet by which rows of a table are brought in, or None."""
    return _BY_MODEL.get(model)

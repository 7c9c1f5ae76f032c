"""All sheets, in the order in which their rows are stored."""

from __future__ import annotations

from collections.abc import Mapping

from kits.exchange.columns.catalog_layouts import FINDING_RULES, ITEMS, KIT_FITS, SCOPES, STRUCTURE, SUBSTITUTES
from kits.exchange.columns.layout import Layout, fold_heading
from kits.exchange.columns.stock_layouts import KIT_CONTENTS, LOTS, OFFERS, ORDERS, PLACES, SUPPLIERS
from kits.exchange.columns.work_layouts import FINDINGS, HOLIDAYS, ISSUED, OTHER_NEEDS, SCHEDULE, SETTINGS, VERDICTS

LAYOUTS: tuple[Layout, ...] = (
    SETTINGS,
    HOLIDAYS,
    PLACES,
    SUPPLIERS,
    ITEMS,
    STRUCTURE,
    SCOPES,
    KIT_FITS,
    FINDING_RULES,
    SUBSTITUTES,
    OFFERS,
    SCHEDULE,
    OTHER_NEEDS,
    LOTS,
    KIT_CONTENTS,
    ORDERS,
    ISSUED,
    VERDICTS,
    FINDINGS,
)
"""All sheets, each after those that its rows name."""

BY_NAME: Mapping[str, Layout] = {layout.name: layout for layout in LAYOUTS}

_BY_HEADING: Mapping[str, Layout] = {
    fold_heading(name): layout for layout in LAYOUTS for name in (layout.name, *layout.also)
}


def find_layout(name: str) -> Layout | None:
    """The sheet of that name, compared without case, spaces or underscores, or None."""
    return _BY_HEADING.get(fold_heading(name))

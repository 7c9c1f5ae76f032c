"""What a list of jobs, or a changed parts list, does to everybody's dates: both plans side by side, kept with the
upload that is looked at.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, fields, is_dataclass, replace
from datetime import date
from decimal import Decimal
from functools import cached_property
from types import UnionType
from typing import Any, get_args, get_origin, get_type_hints

from bom.errors import BomError
from bom.plan import Plan, plan
from bom.values import ASKING_STAGES, Shop
from kits.exchange.columns.catalog_layouts import KIT_FITS, STRUCTURE
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.problems.row_changes import SheetChange
from kits.planning.queries import plan_now
from kits.planning.questions.trial import TrialSheet, side_by_side

MOST_KEPT = 150
DECIDE_PLANS = frozenset((SCHEDULE.name, STRUCTURE.name, KIT_FITS.name))
"""The sheets of which it is worked out beforehand what they do to the plan."""


class PlanAfter:
    """The plan of the shop as it would be, worked out at most once and only if somebody asks for it."""

    def __init__(self, shop: Shop, before: Plan | None) -> None:
        self.shop, self.before = shop, before

    @cached_property
    def plan(self) -> Plan | None:
        """The plan; None where the lists allow none, which is said elsewhere."""
        try:
            return plan(self.shop, after=self.before)
        except BomError:
            return None

    def beside(self, sheets: Iterable[SheetChange]) -> TrialSheet | None:
        """Both plans, where rows that decide them change something and jobs were planned before; one statement."""
        deciding = any(sheet.sheet in DECIDE_PLANS and sheet.changes_something for sheet in sheets)
        if self.before is None or not deciding or self.plan is None:
            return None
        return cut(side_by_side(self.before, self.plan))


def plan_before(today: date) -> Plan | None:
    """The plan as it stands, against which a list is held; None where nothing is planned yet, or nothing can be."""
    try:
        before = plan_now(today)
    except BomError:
        return None
    return before if any(job.stage in ASKING_STAGES for job in before.shop.jobs) else None


def cut(sheet: TrialSheet) -> TrialSheet:
    """The first rows of each list: what a page shows; the others are counted."""
    return replace(
        sheet,
        jobs=sheet.jobs[:MOST_KEPT],
        buys=sheet.buys[:MOST_KEPT],
        others=sheet.others[:MOST_KEPT],
        more_jobs=max(0, len(sheet.jobs) - MOST_KEPT),
        more_buys=max(0, len(sheet.buys) - MOST_KEPT),
    )


def sheet_as_json(sheet: TrialSheet | None) -> Any:
    """Both plans as plain values."""
    return None if sheet is None else json.loads(json.dumps(asdict(sheet), default=str))


def sheet_from_json(kept: Any) -> TrialSheet | None:
    """Both plans as they were kept."""
    made: TrialSheet | None = _made(TrialSheet, kept)
    return made


def _made(kind: Any, kept: Any) -> Any:
    """A value of this kind from plain values, as its fields are declared."""
    if kept is None:
        return None
    if get_origin(kind) is UnionType:
        return _made(get_args(kind)[0], kept)
    if get_origin(kind) is tuple:
        return tuple(_made(get_args(kind)[0], one) for one in kept)
    if is_dataclass(kind):
        make: Any = kind
        kinds = get_type_hints(kind)
        return make(**{field.name: _made(kinds[field.name], kept[field.name]) for field in fields(kind)})
    if kind is date:
        return date.fromisoformat(kept)
    return Decimal(kept) if kind is Decimal else kept

"""Reads of planning: the day that counts as today, and the plan of what the tables hold now."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from threading import Lock
from typing import Any, TypeVar

from django.db import connection
from django.utils import timezone

from bom.plan import Plan, plan
from bom.structure.arrays import Structure, compile_structure
from bom.values import Catalog
from kits.catalog.queries import read_settings
from kits.catalog.revisions import read_marks
from kits.planning.snapshot.catalog import read_catalog
from kits.planning.snapshot.shop import stamp_of, take_snapshot

Answer = TypeVar("Answer")

_one_at_a_time = Lock()
_last_plan: dict[tuple[str, date, int | None], Plan] = {}
_last_structure: dict[str, Structure] = {}
_last_beside: dict[str, tuple[Plan, Any]] = {}


def today() -> date:
    """Return the day of the setting ``today`` if the shop has one, else the day of the shop's time zone."""
    return read_settings().today or timezone.localdate()


def plan_now(as_of: date | None = None, staging_days: int | None = None) -> Plan:
    """Return the plan of what the tables hold; it is worked out anew only when something was written since."""
    day = today() if as_of is None else as_of
    stamp = stamp_of(read_marks())
    # Inside a transaction a mark may already speak of a write that is still to come: nothing is kept under it.
    if not stamp or connection.in_atomic_block:
        return plan(take_snapshot(day, staging_days))
    with _one_at_a_time:
        kept = _last_plan.get((stamp, day, staging_days))
        if kept is not None:
            return kept
        shop = take_snapshot(day, staging_days)
        made = plan(shop, _structure(shop.catalog))
        _last_plan.clear()
        _last_plan[shop.stamp, day, staging_days] = made
        return made


def structure_now() -> Structure:
    """Return what the lists hold as the core compiles it, without a plan; kept like that of the plan."""
    return _structure(read_catalog(read_marks()[0], read_settings().currency))


def _structure(catalog: Catalog) -> Structure:
    kept = _last_structure.get(catalog.revision) if catalog.revision else None
    if kept is None:
        kept = compile_structure(catalog)
        _last_structure.clear()
        _last_structure[catalog.revision] = kept
    return kept


def kept_beside(plan: Plan, name: str, work: Callable[[], Answer]) -> Answer:
    """Return an answer that takes long, worked out once for each plan and kept until another plan asks for it."""
    kept = _last_beside.get(name)
    if kept is not None and kept[0] is plan:
        answer: Answer = kept[1]
        return answer
    made = work()
    _last_beside[name] = (plan, made)
    return made

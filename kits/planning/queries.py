"""Reads of planning: the day that counts as today, and the plan of what the tables hold now."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from threading import Lock
from typing import Any, TypeVar

from django.db import connection
from django.utils import timezone

from bom.plan import Plan, plan
from bom.reading import Lists, Reading
from bom.values import Catalog
from kits.catalog.caching.revisions import read_marks
from kits.catalog.queries import read_settings
from kits.planning.snapshot.catalog import read_catalog
from kits.planning.snapshot.shop import stamp_of, take_snapshot

Answer = TypeVar("Answer")

_one_at_a_time = Lock()
_last_plan: dict[tuple[str, date, int | None], Plan] = {}
_last_lists: dict[str, Lists] = {}
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
        made = plan(shop, _lists(shop.catalog).compiled)
        _last_plan.clear()
        _last_plan[shop.stamp, day, staging_days] = made
        return made


def lists_now() -> Lists:
    """Return what the lists hold, without a plan; kept like that of the plan."""
    return _lists(read_catalog(read_marks()[0], read_settings().currency))


def _lists(catalog: Catalog) -> Lists:
    kept = _last_lists.get(catalog.revision) if catalog.revision else None
    if kept is None:
        kept = Lists.of(catalog)
        _last_lists.clear()
        _last_lists[catalog.revision] = kept
    return kept


def reading_of(plan: Plan) -> Reading:
    """Return the reading of a plan; that of the last one is kept, with whatever was asked of it."""
    return kept_beside(plan, "reading", lambda: Reading(plan))


def kept_beside(plan: Plan, name: str, work: Callable[[], Answer]) -> Answer:
    """Return an answer that takes long, worked out once for each plan and kept until another plan asks for it."""
    kept = _last_beside.get(name)
    if kept is not None and kept[0] is plan:
        answer: Answer = kept[1]
        return answer
    made = work()
    _last_beside[name] = (plan, made)
    return made

"""Reads of planning: the day that counts as today, and the plan of what the tables hold now."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TypeVar

from django.utils import timezone

from bom.plan import Plan
from bom.reading import Lists, Reading
from kits.catalog.caching.revisions import read_marks
from kits.catalog.caching.shared import shared
from kits.catalog.queries import read_settings
from kits.planning.keeping.begun import Begun
from kits.planning.keeping.plans import FILE_PATIENCE_SECONDS, Plans, PlanShown
from kits.planning.snapshot.catalog import read_catalog

__all__ = ["FILE_PATIENCE_SECONDS"]

Answer = TypeVar("Answer")

_plans = Plans(shared)


def today() -> date:
    """Return the day of the setting ``today`` if the shop has one, else the day of the shop's time zone."""
    return read_settings().today or timezone.localdate()


def plan_now(as_of: date | None = None, staging_days: int | None = None) -> Plan:
    """Return the plan of what the tables hold; it is worked out anew only when something was written since."""
    return _plans.now(today() if as_of is None else as_of, staging_days)


def plan_to_read() -> PlanShown:
    """Return a plan for a page on which nothing is decided: the last one where waiting for the next would be long."""
    return _plans.to_read(today())


def lists_now() -> Lists:
    """Return what the lists hold, without a plan; kept like that of the plan."""
    return _plans.lists(read_catalog(read_marks()[0], read_settings().currency))


def reading_of(plan: Plan) -> Reading:
    """Return the reading of a plan; that of the last ones is kept, with whatever was asked of it."""
    return kept_beside(plan, "reading", lambda: Reading(plan))


def kept_beside(plan: Plan, name: str, work: Callable[[], Answer]) -> Answer:
    """Return an answer that takes long, worked out once for each plan and kept while somebody asks for it."""
    return _plans.answer(plan, name, work)


def shared_beside(plan: Plan, name: str, work: Callable[[], Answer]) -> Answer:
    """The same for plain values that are small and take long: worked out once for all processes of the shop."""
    return _plans.shared_answer(plan, name, work)


def begun_beside(
    plan: Plan, name: str, work: Callable[[], Answer], *, patience: float | None = None, latest: bool = False
) -> Begun[Answer]:
    """The same for what takes seconds: begun in a thread; of a moment ago unless ``latest``."""
    return _plans.begun_answer(plan, name, work, patience, latest)


def begun_file(
    name: str, work: Callable[[], bytes], *, patience: float | None = None, latest: bool = False
) -> Begun[bytes]:
    """A file of what the tables hold that takes seconds, begun in a thread; of a moment ago unless ``latest``."""
    return _plans.begun_file(today(), name, work, patience, latest)

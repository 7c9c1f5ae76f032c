"""Who asks for parts, and what the plan answers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from bom.buying.order_size import known_day
from bom.plan import Plan
from bom.structure.arrays import as_date
from bom.values import Job, OtherNeed


@dataclass(frozen=True, slots=True)
class Asker:
    """A job or another need that asks for parts, with what the plan answers; days are None where they are not known.

    Two are the same if they bear the same name and are both jobs, or both not. ``turn`` is the place in the order of
    serving, need days apart. ``blocking_part`` holds a job up; ``freed_by`` is the only thing that it has uncovered or
    late, looking into packed kits.
    """

    name: str
    is_job: bool
    turn: int = field(compare=False)
    priority: int = field(compare=False)
    build_on: date = field(compare=False)
    job: Job | None = field(compare=False)
    need: OtherNeed | None = field(compare=False)
    status: str = field(compare=False)
    parts_on: date | None = field(compare=False)
    days_late: int | None = field(compare=False)
    order_by: date | None = field(compare=False)
    blocking_part: str | None = field(compare=False)
    freed_by: str | None = field(compare=False)
    leans_on_overdue: bool = field(compare=False)


def askers_of(plan: Plan) -> Iterator[Asker]:
    """Return the askers of a plan, in the order of serving.

    Parameters
    ----------
    plan : the finished plan
    """
    items = plan.demand.structure.items
    for turn, (asker, answer) in enumerate(zip(plan.demand.askers, plan.answers, strict=True)):
        yield Asker(
            name=asker.name,
            is_job=asker.job is not None,
            turn=turn,
            priority=asker.priority,
            build_on=as_date(asker.build_day),
            job=asker.job,
            need=asker.need,
            status=answer.status,
            parts_on=known_day(answer.parts_on),
            days_late=answer.days_late,
            order_by=known_day(answer.order_by),
            blocking_part=None if answer.blocking_item is None else items[answer.blocking_item].part_number,
            freed_by=None if answer.freed_by is None else items[answer.freed_by].part_number,
            leans_on_overdue=answer.leans_on_overdue,
        )

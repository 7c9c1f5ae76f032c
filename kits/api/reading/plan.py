"""The plan, as ``manage.py plan --json`` prints it."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from django.http import HttpRequest, HttpResponse
from ninja import Query, Router, Schema

from bom.answers.rows import as_json
from kits.api.door import require
from kits.api.marks import seen, state_of
from kits.api.problems import ApiRefusal
from kits.api.refusals import REFUSALS
from kits.catalog.folding import fold
from kits.people.tokens.scopes import READ
from kits.planning.queries import plan_now
from kits.schedule.models import Batch

router = Router(tags=["Plan"])
Row = dict[str, Any]


class PlanJob(Schema):
    """When a job can be built, and what holds it."""

    job: str
    status: str
    parts_on: date | None
    days_late: int | None
    blocking_part: str | None
    order_by: date | None
    leans_on_overdue: bool


class PlanAnswer(Schema):
    """What the batch needs, which jobs can be built on their day, and what has to be ordered by when."""

    as_of: date
    staging_days: int
    jobs: list[PlanJob]
    other_needs: list[Row]
    demand: list[Row]
    kits: list[Row]
    buy: list[Row]
    expedite: list[Row]
    chase: list[Row]
    pack: list[Row]
    expiring: list[Row]
    frees: list[Row]
    flags: list[Row]


@router.get("/plan", response={200: PlanAnswer, 304: None, **REFUSALS})
def read_plan(
    request: HttpRequest,
    response: HttpResponse,
    batch: Annotated[str, Query(max_length=100, description="Only the jobs of this batch.")] = "",
    through: Annotated[date | None, Query(description="Only jobs built on or before this day.")] = None,
) -> Any:
    """The plan of what the lists and the shelf hold now. Quantities are in stock units, days as 2026-03-04."""
    require(request, READ)
    if answer := seen(request, response, state_of("plan", batch, through)):
        return answer
    if batch and not Batch.objects.filter(folded=fold(batch)).exists():
        raise ApiRefusal(404, f"There is no batch {batch}: the list Schedule names them.")
    return as_json(plan_now(), batch or None, through)

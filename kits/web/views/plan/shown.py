"""The plan that a sheet shows on which nothing is decided."""

from __future__ import annotations

from django.http import HttpRequest

from kits.planning.keeping.plans import PlanShown
from kits.planning.queries import plan_now, plan_to_read
from kits.web.serving.own_writes import wrote_lately


def plan_shown(request: HttpRequest) -> PlanShown:
    """Return the plan, and as of when it is where a newer one is still being worked out.

    Whoever wrote something a moment ago, or asks for the latest, waits for it.
    """
    waits = "latest" in request.GET or wrote_lately(request)
    return PlanShown(plan_now()) if waits else plan_to_read()

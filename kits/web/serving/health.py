"""Whether the site can work, for whoever keeps it running: a proxy, a container, a timer. It tells nothing else."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from kits.exchange.ready_database import steps_of_tables


@login_not_required
@never_cache
@require_safe
def tell_health(request: HttpRequest) -> JsonResponse:
    """Process, database and migrations; 503 unless all three are as they have to be."""
    try:
        steps = steps_of_tables()
    except DatabaseError:
        return JsonResponse({"process": "up", "database": "away", "migrations": "not known"}, status=503)
    migrations = "of a newer version" if steps.unknown else "missing" if steps.missing else "done"
    facts = {"process": "up", "database": "up", "migrations": migrations}
    return JsonResponse(facts, status=200 if migrations == "done" else 503)


tell_health.knows_no_house = True  # type: ignore[attr-defined]

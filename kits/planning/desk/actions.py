"""What was to be expected of jobs before anybody looked at them, kept as soon as somebody has."""

from __future__ import annotations

import logging

from django.db import DatabaseError, transaction

from bom.errors import BomError
from bom.questions.how_sure import expected_wear
from kits.catalog.caching.revisions import hold_marks
from kits.catalog.models import Item
from kits.planning.models import ExpectedWear
from kits.planning.queries import plan_now, today
from kits.schedule.models import Job

_log = logging.getLogger(__name__)


def keep_expected_wear() -> int:
    """Keep what was expected of jobs that have a verdict and of which nothing is kept; return of how many.

    Nothing that the plan is made from is written, so that no plan is out of date by it.
    """
    jobs = Job.objects.asking().filter(verdicts__isnull=False, expected_wear__isnull=True).distinct()
    wanted = dict(jobs.values_list("job", "pk"))
    if not wanted:
        return 0
    found = expected_wear(plan_now(), wanted)
    parts = {row.part_number for rows in found.values() for row in rows}
    items = dict(Item.objects.filter(part_number__in=parts).values_list("part_number", "pk"))
    on = today()
    with transaction.atomic(durable=True):
        hold_marks()
        ExpectedWear.objects.bulk_create(
            [
                ExpectedWear(
                    job_id=wanted[job],
                    item_id=items[row.part_number],
                    how_sure=row.how_sure_percent,
                    spares=row.spares,
                    events=row.events,
                    on=on,
                )
                for job, rows in found.items()
                for row in rows
            ],
            ignore_conflicts=True,
        )
    return len(found)


def keep_expected_wear_besides() -> None:
    """The same beside something else, which goes on where no plan can be made or the database is busy."""
    try:
        keep_expected_wear()
    except BomError:
        pass  # whoever opens the plan is told what contradicts what
    except DatabaseError:
        _log.warning("What was expected of a job was not kept; the next strip report makes up for it.", exc_info=True)

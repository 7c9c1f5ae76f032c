"""Keep what the plan answers: the first of each week, and whenever somebody wants to set later ones against it."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import date, datetime

from django.db import DatabaseError, transaction

from bom.errors import BomError
from bom.plan import Plan
from kits.catalog.caching.revisions import hold_marks
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.planning.models import KeptAnswer, KeptAnswers
from kits.planning.queries import plan_now, today
from kits.planning.snapshot.shop import stamp_of
from kits.planning.weeks.answers import ANSWER_FIELDS, JobAnswer, costed_answers, monday
from kits.schedule.models import Job

TRIES = 5

_log = logging.getLogger(__name__)


def keep_answers(*, by: User | None, at: datetime, key: str) -> KeptAnswers:
    """Keep once what the plan answers; the first answers of a week are those that its sheet begins with."""
    kept = _keep(by=by, at=at, key=key, if_first=False)
    assert kept is not None
    return kept


def keep_answers_of(*, plan: Plan, by: User | None, at: datetime, key: str) -> KeptAnswers:
    """Keep once what a plan answers that was made for this, such as that of a day that has passed."""
    answers = list(costed_answers(plan))
    with transaction.atomic(durable=True):
        hold_marks()
        log_request(key)
        if (earlier := KeptAnswers.objects.filter(key=key).first()) is not None:
            return earlier
        first = not KeptAnswers.objects.filter(week_on=monday(plan.shop.as_of)).exists()
        return _store(answers, plan.shop.as_of, first, by, at, key)


def keep_first_of_week(*, by: User | None, at: datetime) -> KeptAnswers | None:
    """Keep what the plan answers unless this week's first answers are kept, or there is nothing to plan.

    Several who do so at once keep one: the others wait, and find it.
    """
    week_on = monday(today())
    if KeptAnswers.objects.filter(week_on=week_on).exists() or not Job.objects.asking().exists():
        return None
    return _keep(by=by, at=at, key=f"week:{week_on}", if_first=True)


def keep_first_of_week_besides(*, by: User | None, at: datetime) -> None:
    """The same beside something else, which goes on where no plan can be made or the database is busy."""
    try:
        keep_first_of_week(by=by, at=at)
    except BomError:
        pass  # whoever opens the plan is told what contradicts what
    except DatabaseError:
        _log.warning("The first answers of the week could not be kept.", exc_info=True)


def _keep(*, by: User | None, at: datetime, key: str, if_first: bool) -> KeptAnswers | None:
    for attempt in range(TRIES + 1):
        plan = plan_now()
        answers = list(costed_answers(plan))
        with transaction.atomic(durable=True):
            # Nothing of the plan changes, so the marks are held and not renewed.
            marks = hold_marks()
            # Where others write faster than it is worked out, the last one is of a moment ago.
            if stamp_of(marks) != plan.shop.stamp and attempt < TRIES:
                continue
            log_request(key)
            if (earlier := KeptAnswers.objects.filter(key=key).first()) is not None:
                return earlier
            first = not KeptAnswers.objects.filter(week_on=monday(plan.shop.as_of)).exists()
            if if_first and not first:
                return None
            return _store(answers, plan.shop.as_of, first, by, at, key)
    raise AssertionError("the last try stores or returns")


def _store(
    answers: Iterable[JobAnswer], as_of: date, first: bool, by: User | None, at: datetime, key: str
) -> KeptAnswers:
    kept = KeptAnswers.objects.create(key=key, as_of=as_of, week_on=monday(as_of) if first else None, by=by, at=at)
    rows = ({name: getattr(answer, name) for name in ANSWER_FIELDS} for answer in answers)
    KeptAnswer.objects.bulk_create(KeptAnswer(kept=kept, **{**row, "orders": list(row["orders"])}) for row in rows)
    return kept

"""What finished rebuilds used up, as the ledger has it, set against the lists of today."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime

from django.db.models import Max, Sum

from bom.plan import Plan
from bom.questions.bag_check import InBag
from bom.questions.lists.list_care import OffList, PastRebuild, off_lists
from kits.catalog.models import Substitute
from kits.catalog.words import Direction
from kits.planning.queries import kept_beside, reading_of
from kits.schedule.models import Job
from kits.schedule.stages import DONE
from kits.service.models import PastStrip
from kits.stock.models import Movement
from kits.stock.words import PostingKind

MOST_JOBS = 500
"""So many jobs that were closed last speak of the lists; what is older says little of how pumps are rebuilt now."""

Seen = tuple[tuple[OffList, datetime], ...]


def rebuilds_seen(plan: Plan) -> Seen:
    """Past jobs against the lists of today, each with when it was closed; four statements once for each plan."""
    return kept_beside(plan, "rebuilds against the lists", lambda: _seen(plan))


def _seen(plan: Plan) -> Seen:
    opened_twice = PastStrip.objects.values("job")
    done = Job.objects.filter(stage__in=DONE).exclude(pk__in=opened_twice)
    used = Movement.objects.filter(
        balance__job__in=done, posting__kind=PostingKind.CONSUME, posting__reversed_by__isnull=True
    )
    closed = used.order_by().values_list("balance__job__job").annotate(at=Max("posting__at")).order_by("-at")
    when: Mapping[str, datetime] = dict(closed[:MOST_JOBS])
    rows = used.filter(balance__job__job__in=when).order_by()
    bags: dict[str, list[InBag]] = defaultdict(list)
    for job, part, quantity in rows.values_list("balance__job__job", "balance__lot__item__part_number").annotate(
        quantity=Sum("quantity")
    ):
        bags[job].append(InBag(part, -quantity))
    past = [PastRebuild(job, tuple(bag)) for job, bag in bags.items()]
    structure = reading_of(plan).lists.compiled
    return tuple((row, when[row.job.job]) for row in off_lists(structure, plan.shop, past, _stand_ins()))


def _stand_ins() -> dict[str, frozenset[str]]:
    """The parts that each part may stand in for; one statement."""
    found: dict[str, set[str]] = defaultdict(set)
    rows = Substitute.objects.values_list("item__part_number", "substitute__part_number", "direction")
    for part, other, direction in rows:
        found[other].add(part)
        if direction == Direction.BOTH:
            found[part].add(other)
    return {part: frozenset(others) for part, others in found.items()}


def closed_after(seen: Seen, at: datetime | None) -> Iterable[OffList]:
    """Those of them that were closed after a moment."""
    return (row for row, closed in seen if at is None or closed > at)

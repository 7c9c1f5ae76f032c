"""What the storeroom has to do today, as numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kits.planning.lists.count_plan import rows_to_count
from kits.purchasing.receiving.desk import expected_counts
from kits.stock.certificates.queries import certified_lots
from kits.stock.counts.sheets import count_heads
from kits.stock.lists.disposal import to_dispose
from kits.stock.lists.put_away import away_rows
from kits.stock.lists.quarantine import held_rows
from kits.stock.models import Unknown


@dataclass(frozen=True, slots=True)
class FrontNumbers:
    """How many of each kind of work wait."""

    expected_today: int
    overdue: int
    to_put_away: int
    away: int
    counts_due: int
    sheets_running: int
    held: int
    held_long: int
    expired: int
    certificates_missing: int
    unknown: int


def front_numbers(*, today: date) -> FrontNumbers:
    """What waits in the storeroom; a fixed number of statements."""
    due, late = expected_counts(today=today)
    away, held = away_rows(), held_rows(today=today)
    return FrontNumbers(
        expected_today=due,
        overdue=late,
        to_put_away=sum(row.waits for row in away),
        away=sum(not row.waits for row in away),
        counts_due=len(rows_to_count(today=today)),
        sheets_running=sum(head.ended_at is None for head in count_heads()),
        held=len(held),
        held_long=sum(row.long for row in held),
        expired=sum("past" in row.why for row in to_dispose(today=today)),
        certificates_missing=len(certified_lots(missing_only=True)),
        unknown=Unknown.objects.filter(settled_at__isnull=True).count(),
    )

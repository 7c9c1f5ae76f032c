"""What to count today: dear and fast things every month, the next every quarter, the rest once a year."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from operator import itemgetter
from types import MappingProxyType

from bom.values import ONE
from kits.catalog.caching.late_rows import LateRows
from kits.stock.counts.takings import takings_of
from kits.stock.last_counted import last_counts
from kits.stock.lists.shelf_facts import ShelfFact, shelf_facts
from kits.stock.models import CountLine
from kits.stock.words import CountState

# Common practice, no source: the few parts that make most of the money, and those taken all the time, are counted most.
OFTEN_DAYS, QUARTER_DAYS, YEAR_DAYS = 30, 91, 365
OFTEN_SHARE, QUARTER_SHARE = Decimal("0.8"), Decimal("0.95")
FAST_TAKINGS = 6
EVERY_SAYS = {OFTEN_DAYS: "every month", QUARTER_DAYS: "every quarter", YEAR_DAYS: "once a year"}


@dataclass(frozen=True, slots=True)
class DueRow:
    """One lot at one place, when it was last counted and how often it is; ``due_on`` None where it never was."""

    balance_id: int
    place: str
    part_number: str
    item_kind: str
    what: str
    lot: str
    every_days: int
    why: str
    counted_on: date | None
    due_on: date | None
    due: bool
    on_a_sheet: bool

    @property
    def every(self) -> str:
        """How often it is counted, in words."""
        return EVERY_SAYS[self.every_days]


def due_rows(
    *, today: date, costs: Mapping[int, Decimal] = MappingProxyType({}), place: str = "", only_due: bool = True
) -> Sequence[DueRow]:
    """The shelf by how overdue each count is, the dear and fast first, then in walk order.

    ``costs`` tells, by item, what one stock unit costs where the item has no cost of its own.
    """
    facts = shelf_facts()
    every = _how_often(facts, today, costs)
    counted = last_counts()
    running = set(
        CountLine.objects.filter(
            count__ended_at__isnull=True, state__in=(CountState.OPEN, CountState.RECOUNT)
        ).values_list("balance_id", flat=True)
    )
    chosen = []
    for fact in facts:
        often, counted_on = every[fact.item.pk][0], counted.get(fact.balance_id)
        due_on = counted_on + timedelta(days=often) if counted_on else None
        if (not only_due or due_on is None or due_on <= today) and (not place or fact.place == place):
            chosen.append((due_on or date.min, often, fact))
    chosen.sort(key=itemgetter(0, 1))
    return LateRows(chosen, lambda each: _row(each[2], every[each[2].item.pk], counted, running, today))


def _row(
    fact: ShelfFact, often: tuple[int, str], counted: Mapping[int, date], running: set[int], today: date
) -> DueRow:
    counted_on = counted.get(fact.balance_id)
    due_on = counted_on + timedelta(days=often[0]) if counted_on else None
    item = fact.item
    return DueRow(
        balance_id=fact.balance_id,
        place=fact.place,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=fact.lot,
        every_days=often[0],
        why=often[1],
        counted_on=counted_on,
        due_on=due_on,
        due=due_on is None or due_on <= today,
        on_a_sheet=fact.balance_id in running,
    )


def _how_often(facts: Iterable[ShelfFact], today: date, costs: Mapping[int, Decimal]) -> dict[int, tuple[int, str]]:
    """How often each item is counted and why: by the money that lies there and goes through, and by how often."""
    held: dict[int, int] = defaultdict(int)
    cost: dict[int, Decimal] = {}
    for fact in facts:
        held[fact.item.pk] += fact.quantity
        cost[fact.item.pk] = fact.item.unit_cost or costs.get(fact.item.pk, Decimal(0))
    taken = takings_of(today)
    worth = {pk: cost[pk] * (quantity + taken.used[pk]) / ONE for pk, quantity in held.items()}
    total, run = sum(worth.values()), Decimal(0)
    often: dict[int, tuple[int, str]] = {}
    for pk in sorted(worth, key=lambda pk: (-worth[pk], pk)):
        share = run / total if total else Decimal(1)
        run += worth[pk]
        if taken.times[pk] >= FAST_TAKINGS:
            often[pk] = OFTEN_DAYS, f"taken {taken.times[pk]} times in three months"
        elif worth[pk] and share < OFTEN_SHARE:
            often[pk] = OFTEN_DAYS, "among the few that hold most of the value"
        elif worth[pk] and share < QUARTER_SHARE:
            often[pk] = QUARTER_DAYS, "of medium value"
        else:
            often[pk] = YEAR_DAYS, "low value, slow-moving" if cost[pk] else "slow-moving, no cost known"
    return often

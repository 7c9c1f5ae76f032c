"""One item week by week: needed, coming, left, as the time-phased record has it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.questions.item_record import ItemRecord, item_record
from kits.catalog.amounts import Amount
from kits.planning.queries import reading_of
from kits.planning.words.item_names import ItemName

LACKS = {"pack": "to pack", "make": "to make", "pack_else_buy": "to pack or buy"}
"""What is not in hand is, by the source of an item; for all others it is missing."""
MISSING = "missing"


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One week; of what is left and what is missing at its end one is nothing."""

    starts_on: date
    sure: Amount
    wear: Amount
    coming: Amount
    left: Amount
    missing: Amount


@dataclass(frozen=True, slots=True)
class WeekTable:
    """The weeks in which something moves; ``restricted`` lies here too, but not every job may have it.

    ``lacks`` is what the last column says of what is not in hand: missing, or to be packed or made here.
    """

    on_hand: Amount
    restricted: Amount
    lacks: str
    rows: tuple[WeekRow, ...]


def week_table(plan: Plan, name: ItemName) -> WeekTable | None:
    """The weeks of one item, or nothing where nobody asks for it and none is on order."""
    found = item_record(plan, name.part_number)
    rows = tuple(weeks(found, name))
    if not rows:
        return None
    lacks = LACKS.get(reading_of(plan).items[name.part_number].source, MISSING)
    return WeekTable(name.amount(found.holding.on_hand), name.amount(found.restricted), lacks, rows)


def weeks(found: ItemRecord, name: ItemName) -> Iterator[WeekRow]:
    """The weeks of a record in which something is needed or comes."""
    for place, starts_on in enumerate(found.starts):
        sure = found.sure[place] + found.passed_down[place]
        coming = found.record.scheduled[place]
        if sure or found.wear[place] or coming:
            left = found.record.unplanned[place]
            yield WeekRow(
                starts_on=starts_on,
                sure=name.amount(sure),
                wear=name.amount(found.wear[place]),
                coming=name.amount(coming),
                left=name.amount(max(0, left)),
                missing=name.amount(max(0, -left)),
            )

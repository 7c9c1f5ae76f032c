"""For whom the lines of an order are: the jobs and other needs that take from each, by the plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import Reading
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import ForWhom
from kits.planning.queries import reading_of
from kits.purchasing.orders.order_sheet import OrderSheet, OrderSheetLine


@dataclass(frozen=True, slots=True)
class LineNeed:
    """Who takes how much of an order line, by when; wear that may be found has nobody behind it.

    ``on`` is the day of need. Of a draft, on which the plan does not count, it is who is short of the part, and when
    that job is built.
    """

    who: ForWhom | None
    quantity: Amount
    on: date
    late: bool = False


def order_holds(plan: Plan, sheet: OrderSheet) -> tuple[tuple[OrderSheetLine, tuple[LineNeed, ...]], ...]:
    """Each line of an order with who takes from it, in the order of serving."""
    reading = reading_of(plan)
    holds = _short_of if sheet.is_draft else _taken_from
    return tuple((line, tuple(holds(reading, sheet.number, line))) for line in sheet.lines)


def _taken_from(reading: Reading, number: str, line: OrderSheetLine) -> Iterator[LineNeed]:
    for draw in reading.order_draws.get((number, line.number), ()):
        who = ForWhom(draw.asker.name, is_job=draw.asker.is_job) if draw.asker else None
        yield LineNeed(who, Amount.of(draw.quantity, line.item.stock_unit), draw.need_on, draw.late)


def _short_of(reading: Reading, number: str, line: OrderSheetLine) -> Iterator[LineNeed]:
    for asker, parts in reading.shortfalls.items():
        lacks = parts.get(line.item.part_number)
        if lacks and lacks.missing:
            who = ForWhom(asker.name, is_job=asker.is_job)
            yield LineNeed(who, Amount.of(lacks.missing, line.item.stock_unit), asker.build_on)

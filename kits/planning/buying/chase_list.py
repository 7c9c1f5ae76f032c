"""Order lines to ask about: not confirmed, or past their promise, in the order of the jobs that they hold."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import ForWhom
from kits.planning.queries import reading_of
from kits.purchasing.lines.open_calls import LastCall, last_calls
from kits.purchasing.models import OrderLine


@dataclass(frozen=True, slots=True)
class ChaseRow:
    """One order line to ask about. ``jobs`` take from it; ``frees`` of them lack nothing and wait for no other order.

    ``days_late`` are working days since the promise; ``sent_on`` stands where nobody has confirmed the line.
    """

    pk: int
    order: str
    line: str
    supplier: str
    part_number: str
    what: str
    quantity: Amount
    promised_on: date
    days_late: int
    unconfirmed: bool
    sent_on: date | None
    jobs: tuple[ForWhom, ...]
    frees: int
    need_on: date | None
    call: LastCall | None

    @property
    def why(self) -> str:
        """Why it is to be asked about."""
        late = f"{self.days_late} working day{'' if self.days_late == 1 else 's'} past its promise"
        return ", ".join(filter(None, (late if self.days_late else "", "not confirmed" if self.unconfirmed else "")))


def chase_list(plan: Plan) -> list[ChaseRow]:
    """Those that free most first, then those that most jobs take from, then by the day of need; two statements."""
    as_of, reading, calls = plan.shop.as_of, reading_of(plan), last_calls()
    lacking = reading.shortfalls
    rows = []
    for line in OrderLine.objects.open().select_related("supplier", "item", "terms__order"):
        terms = getattr(line, "terms", None)
        unconfirmed = terms is not None and terms.confirmed_on is None and not line.received_quantity
        if line.promised_on >= as_of and not unconfirmed:
            continue
        draws = [draw for draw in reading.order_draws.get((line.order, line.line), ()) if draw.asker is not None]
        askers = [draw.asker for draw in draws if draw.asker]
        rows.append(
            ChaseRow(
                pk=line.pk,
                order=line.order,
                line=line.line,
                supplier=line.supplier.supplier,
                part_number=line.item.part_number,
                what=line.item.description,
                quantity=Amount.of(line.quantity, line.item.stock_unit),
                promised_on=line.promised_on,
                days_late=plan.calendar.between(line.promised_on, as_of),
                unconfirmed=unconfirmed,
                sent_on=terms.order.sent_on if terms is not None and unconfirmed else None,
                jobs=tuple(ForWhom(one.name, is_job=one.is_job) for one in askers),
                frees=sum(set(reading.awaited.get(one, ())) == {line.order} and one not in lacking for one in askers),
                need_on=min((draw.need_on for draw in draws), default=None),
                call=calls.get(line.pk),
            )
        )
    return sorted(rows, key=lambda row: (-row.frees, -len(row.jobs), row.need_on or date.max, row.promised_on, row.pk))

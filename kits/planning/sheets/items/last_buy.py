"""What is left of a part in jobs and years, and how many to buy while it can still be bought."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from bom.errors import ShopError
from bom.plan import Plan
from bom.questions.years.last_buy import DyingStock, LastBuy, PartUse, last_buy, plan_of_record
from bom.reading import ChosenOffer, Reading
from bom.values import ASKING_STAGES, ONE, Job
from kits.catalog.amounts import Amount
from kits.catalog.days.doubts import years_from
from kits.catalog.formats.in_force import formats
from kits.catalog.models import Item
from kits.planning.lists.buy_lists import money
from kits.planning.queries import kept_beside, reading_of
from kits.planning.words.abroad import in_both
from kits.planning.words.states import plural
from kits.purchasing.ends.queries import EndRow, ends
from kits.purchasing.rates.conversion import InBoth
from kits.schedule.stages import DONE

PAST_DAYS = 365
LEAST_DAYS = 91
"""A record of less than a quarter says nothing of a year, so it is taken as a quarter."""
EARLIER_STRIP = re.compile(r" \(strip \d+\)$")


@dataclass(frozen=True, slots=True)
class YearsRecord:
    """The jobs that the pace is taken from: how many were built in the past year, how many are scheduled, and the days.

    ``reading`` is of the plan of these jobs alone; None where no such plan can be made, for the reason ``fault``.
    """

    built: int
    scheduled: int
    days: int
    reading: Reading | None
    fault: str = ""

    @property
    def says(self) -> str:
        """What the pace is taken from, in words."""
        jobs = f"{plural(self.built, 'job')} built in the past year and {plural(self.scheduled, 'job')} scheduled"
        return f"{jobs}, over {self.days} days"


@dataclass(frozen=True, slots=True)
class LastBuySheet:
    """The sheet: what is left, how far it goes, and what to buy for the years and the certainty that were asked for."""

    part_number: str
    what: str
    as_of: date
    end: EndRow | None
    left: Amount
    on_hand: Amount
    on_order: Amount
    record: YearsRecord
    jobs_a_year: str
    in_one_job: str
    jobs_left: int | None
    years_left: str
    lasts_to: date | None
    found: LastBuy | None
    buy: Amount
    used_of_left: Amount
    sure: Amount
    purchase: ChosenOffer | None
    over: Amount
    price: Decimal | None
    abroad: InBoth | None


def last_buy_sheet(plan: Plan, item: Item, years: int, how_sure_percent: Decimal) -> LastBuySheet:
    """The sheet of one part; the record is planned once for each plan."""
    reading, part, unit = reading_of(plan), item.part_number, item.stock_unit
    stock, record = reading.stock_of(part), record_of(plan)
    use = use_of(record, part)
    found = purchase = None
    if use is not None and use.expected:
        found = last_buy(
            use,
            stock_left(plan, part, item),
            today=plan.shop.as_of,
            years=Fraction(years),
            how_sure_percent=float(how_sure_percent),
            life_months=item.shelf_life_months,
        )
        purchase = reading.choose(part, found.buy * ONE, None) if found.buy else None
    left = stock.on_hand + stock.on_order
    a_year = use.expected_a_year if use else Fraction(0)
    span = Fraction(left) / a_year if a_year else None
    return LastBuySheet(
        part_number=part,
        what=item.description,
        as_of=plan.shop.as_of,
        end=ends([part]).get(part),
        left=Amount.of(left, unit),
        on_hand=Amount.of(stock.on_hand, unit),
        on_order=Amount.of(stock.on_order, unit),
        record=record,
        jobs_a_year=_plain(use.pumps_a_year if use else Fraction(0)),
        in_one_job=_plain(use.expected_of_one / ONE if use else Fraction(0)),
        jobs_left=int(Fraction(left) // use.expected_of_one) if use and use.expected else None,
        years_left=_plain(span) if span is not None else "",
        lasts_to=_day(plan.shop.as_of, span),
        found=found,
        buy=Amount.of(found.buy * ONE if found else 0, unit),
        used_of_left=Amount.of(found.used_of_left if found else 0, unit),
        sure=Amount.of(found.sure if found else 0, unit),
        purchase=purchase,
        over=Amount.of(purchase.order_quantity - found.buy * ONE if purchase and found else 0, unit),
        price=money(purchase.price) if purchase else None,
        abroad=in_both(plan, purchase.abroad) if purchase else None,
    )


def record_of(plan: Plan) -> YearsRecord:
    """The jobs of the past year and of the schedule, planned as if they came once more; once for each plan."""
    return kept_beside(plan, "record of jobs", lambda: _record(plan))


def use_of(record: YearsRecord, part: str) -> PartUse | None:
    """What the record asks of one part; None where it could not be planned."""
    reading = record.reading
    if reading is None:
        return None
    needs, wear = reading.needs_of(part), reading.wear_in_jobs(part)
    pumps = {asker.name: asker.job.quantity for asker in needs if asker.job}
    pumps |= {one.asker.name: one.asker.job.quantity for one in wear if one.asker.job}
    looked_at = tuple((count // ONE, chance) for one in wear for count, chance in one.looked_at if count >= ONE)
    return PartUse(sum(pumps.values()), sum(needs.values()), looked_at, record.days)


def stock_left(plan: Plan, part: str, item: Item) -> list[DyingStock]:
    """What is usable here and what is on order; an order is taken to live as long as a new piece."""
    reading = reading_of(plan)
    found = [DyingStock(row.left + row.taken, row.lot.last_use) for row in reading.rows_of(part) if row.usable]
    life = item.shelf_life_months
    fresh = None if life is None else years_from(plan.shop.as_of, life // 12)
    coming = sum(line.quantity for line in plan.shop.orders if line.part_number == part)
    return [*found, DyingStock(coming, fresh)] if coming else found


def _record(plan: Plan) -> YearsRecord:
    as_of = plan.shop.as_of
    known = [job for job in plan.shop.jobs if not EARLIER_STRIP.search(job.job)]
    since = as_of - timedelta(days=PAST_DAYS)
    built = [job for job in known if job.stage in DONE and since < job.build_on <= as_of]
    scheduled = [job for job in known if job.stage in ASKING_STAGES]
    for taken in (built, []):
        jobs = [*taken, *scheduled]
        days = _days(jobs, as_of)
        try:
            planned = plan_of_record(plan, frozenset(job.job for job in jobs))
        except ShopError as error:
            fault = str(error)
            continue
        left_out = len(built) - len(taken)
        says = f"{plural(left_out, 'job')} of the past year cannot be planned by the lists of today" if left_out else ""
        return YearsRecord(len(taken), len(scheduled), days, Reading(planned), says)
    return YearsRecord(len(built), len(scheduled), LEAST_DAYS, None, fault)


def _days(jobs: Sequence[Job], as_of: date) -> int:
    """Calendar days from the first of the jobs, or today, to the last of them, or today."""
    days = [as_of, *(job.build_on for job in jobs)]
    return max(LEAST_DAYS, (max(days) - max(min(days), as_of - timedelta(days=PAST_DAYS))).days + 1)


def _plain(number: Fraction) -> str:
    return formats().number(f"{float(number):.1f}".removesuffix(".0"))


def _day(as_of: date, span: Fraction | None) -> date | None:
    days = None if span is None else int(span * Fraction(1461, 4))
    return None if days is None or days > 100 * PAST_DAYS else as_of + timedelta(days=days)

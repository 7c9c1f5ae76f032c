"""A part that is no longer made: how far what is left goes, and how many to buy while they can still be bought.

What a record of jobs, past and scheduled, asks of the part is taken as what the coming years ask, at the same pace.
The sure need grows with the years; what may be found worn is a sum of independent events, and enough of it is bought
for the certainty that is chosen, by the exact chances of that sum, as the plan does for a batch.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from math import ceil

import numpy as np

from bom.plan import Plan
from bom.plan import plan as make_plan
from bom.values import ONE
from bom.wear.planned import after_spares
from bom.wear.sums import TOLERANCE

DAYS_IN_A_YEAR = Fraction(1461, 4)
AGAIN = " again"
"""What the name of a job in the plan of a record ends with."""


@dataclass(frozen=True, slots=True)
class PartUse:
    """What a record of jobs asks of one part, over so many days.

    Parameters
    ----------
    pumps : pumps in the record that take the part or look at it
    sure : millionths that they need for sure
    looked_at : how many of one chance are looked at, with that chance
    days : calendar days that the record spans
    """

    pumps: int
    sure: int
    looked_at: tuple[tuple[int, Fraction], ...]
    days: int

    @property
    def pumps_a_year(self) -> Fraction:
        """Pumps that ask for the part in a year, at the pace of the record."""
        return self.pumps * DAYS_IN_A_YEAR / self.days

    @property
    def expected(self) -> Fraction:
        """Millionths that the record is expected to use, sure and worn."""
        return self.sure + sum((count * chance for count, chance in self.looked_at), Fraction(0)) * ONE

    @property
    def expected_of_one(self) -> Fraction:
        """Millionths that one of these pumps is expected to use."""
        return self.expected / self.pumps if self.pumps else Fraction(0)

    @property
    def expected_a_year(self) -> Fraction:
        """Millionths that a year is expected to use."""
        return self.expected * DAYS_IN_A_YEAR / self.days


@dataclass(frozen=True, slots=True)
class DyingStock:
    """Millionths that may be used up to a day; None for what does not age."""

    quantity: int
    last_use: date | None


@dataclass(frozen=True, slots=True)
class LastBuy:
    """How many to buy for so many years, in pieces but for ``sure``, ``left`` and ``used_of_left`` (millionths).

    Parameters
    ----------
    years : the years that are covered, fewer than asked for where a piece bought today would not live as long
    asked_years : the years that were asked for
    sure : what is needed for sure
    positions : how many are looked at
    worn : how many of them are enough to have, as sure as was asked
    chance : how sure that is, at least what was asked
    left : what is on the shelf and on order
    used_of_left : how much of it is used before it dies, at the present pace
    buy : how many to buy
    """

    years: Fraction
    asked_years: Fraction
    sure: int
    positions: int
    worn: int
    chance: float
    left: int
    used_of_left: int
    buy: int

    @property
    def needed(self) -> int:
        """Millionths that cover the years."""
        return self.sure + self.worn * ONE


def plan_of_record(plan: Plan, jobs: Collection[str]) -> Plan:
    """The plan of these jobs as if each pump came in once more, unopened, and nothing lay on the shelf.

    Rates are those that the strip reports have taught.

    Parameters
    ----------
    plan : a plan whose shop holds the jobs, whatever their stage
    jobs : their names
    """
    shop = plan.shop
    again = tuple(
        replace(job, job=f"{job.job}{AGAIN}", stage="here", strip=1, build_on=max(job.build_on, shop.as_of))
        for job in shop.jobs
        if job.job in jobs
    )
    over = tuple(replace(job, stage="shipped") for job in shop.jobs)
    bare = replace(shop, jobs=(*over, *again), lots=(), orders=(), needs=(), issues=(), findings=(), stamp="")
    return make_plan(bare, plan.demand.structure)


def use_in_years(use: PartUse, years: Fraction) -> tuple[int, tuple[tuple[int, Fraction], ...]]:
    """What the years ask for at the pace of the record: millionths that are sure, and how many are looked at.

    Parts of a piece are rounded up, once for the sure need and once for each chance.

    Parameters
    ----------
    use : what the record asks
    years : how long
    """
    times = years * DAYS_IN_A_YEAR / use.days
    by_chance: Counter[Fraction] = Counter()
    for count, chance in use.looked_at:
        by_chance[chance] += count
    looked_at = tuple((ceil(count * times), chance) for chance, count in sorted(by_chance.items()))
    return ceil(use.sure * times / ONE) * ONE, looked_at


def worn_at_most(looked_at: Sequence[tuple[int, Fraction]], how_sure_percent: float) -> tuple[int, float]:
    """The smallest number of worn pieces that is not exceeded with the chance asked for, and that chance.

    Parameters
    ----------
    looked_at : how many of one chance, with that chance
    how_sure_percent : the chance asked for
    """
    events = [(count, float(chance), 1) for count, chance in looked_at if count and chance]
    if not events:
        return 0, 1.0
    enough = np.minimum(np.cumsum(after_spares(0, events)), 1.0)
    reached = enough >= how_sure_percent / 100 - TOLERANCE
    number = int(reached.argmax()) if reached[-1] else enough.size - 1
    return number, float(enough[number])


def used_before_it_dies(stock: Iterable[DyingStock], use: PartUse, today: date, years: Fraction) -> int:
    """Millionths of what is left that are used within the years and before they die, at the pace that is expected.

    What dies first is used first.

    Parameters
    ----------
    stock : what is left
    use : what the record asks
    today : the day from which the years count
    years : how long
    """
    a_day, end = use.expected_a_year / DAYS_IN_A_YEAR, years * DAYS_IN_A_YEAR
    used = Fraction(0)
    for one in sorted(stock, key=lambda one: one.last_use or date.max):
        days = end if one.last_use is None else min(end, Fraction((one.last_use - today).days + 1))
        used += max(Fraction(0), min(Fraction(one.quantity), a_day * days - used))
    return int(used // ONE) * ONE


def last_buy(
    use: PartUse,
    stock: Sequence[DyingStock],
    *,
    today: date,
    years: Fraction,
    how_sure_percent: float,
    life_months: int | None = None,
) -> LastBuy:
    """How many to buy today so that the part lasts so many years, as sure as was asked.

    Pieces that age are worth buying for as long as a new one lives and no longer.

    Parameters
    ----------
    use : what the record asks
    stock : what is on the shelf and on order
    today : the day on which they are bought
    years : how long they are to last
    how_sure_percent : how sure that is to be
    life_months : shelf life of a new piece in months; None where it does not age
    """
    covered = years if life_months is None else min(years, Fraction(life_months, 12))
    sure, looked_at = use_in_years(use, covered)
    worn, chance = worn_at_most(looked_at, how_sure_percent)
    left = sum(one.quantity for one in stock)
    # All that is left counts but what dies unused: of that, what the pace would have used before is not lost.
    lasting = sum(one.quantity for one in stock if _lasts(one, today, covered))
    dying = [one for one in stock if not _lasts(one, today, covered)]
    used = lasting + used_before_it_dies(dying, use, today, covered)
    missing = sure + worn * ONE - used
    return LastBuy(
        years=covered,
        asked_years=years,
        sure=sure,
        positions=sum(count for count, _ in looked_at),
        worn=worn,
        chance=chance,
        left=left,
        used_of_left=used,
        buy=max(0, -(-missing // ONE)),
    )


def _lasts(stock: DyingStock, today: date, years: Fraction) -> bool:
    return stock.last_use is None or (stock.last_use - today).days >= years * DAYS_IN_A_YEAR

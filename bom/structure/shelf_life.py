"""How long a lot may be used: shelf lives, last-use dates, and the life left at receipt."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation

from bom.errors import ShelfLifeError
from bom.structure.cure import (
    DAY,
    MONTHS_IN_A_QUARTER,
    MONTHS_IN_A_YEAR,
    Cure,
    after_months,
    next_quarter,
    parse_cure,
    parse_use_by,
    quarter_of,
)
from bom.structure.material import is_elastomer

LONGEST_LIFE_YEARS = 100

__all__ = [
    "Cure",
    "MinimumLife",
    "has_minimum_life",
    "is_elastomer",
    "kit_last_use",
    "last_use",
    "life_of",
    "oldest_cure_quarter",
    "parse_cure",
    "parse_life",
    "parse_minimum_life",
    "parse_use_by",
]


@dataclass(frozen=True, slots=True)
class MinimumLife:
    """The life that must be left at receipt: per cent of the whole life, months, or both."""

    percent: int | None = None
    months: int | None = None


def parse_life(value: str | int | float | Decimal) -> int | None:
    """Read a shelf life in years, which may be halves, and give it in months; None for ``unlimited``.

    Parameters
    ----------
    value : years, or the word ``unlimited``

    Raises
    ------
    ShelfLifeError
        If it is blank, no number, not above zero, no whole number of months, or longer than a century.

    Examples
    --------
    >>> parse_life("2.5"), parse_life(15), parse_life("unlimited")
    (30, 180, None)
    """
    text = "" if isinstance(value, bool) else str(value).strip()
    if text.casefold() == "unlimited":
        return None
    try:
        years = Decimal(text)
    except InvalidOperation:
        years = Decimal("NaN")
    if not years.is_finite():
        raise ShelfLifeError(f"The shelf life '{value}' is not a number of years: write a number, or unlimited.")
    if not 0 < years <= LONGEST_LIFE_YEARS:
        raise ShelfLifeError(
            f"The shelf life of {value} years must be above 0 and at most {LONGEST_LIFE_YEARS}: "
            "write unlimited if the part has no limit."
        )
    months = years * MONTHS_IN_A_YEAR
    if months != months.to_integral_value():
        raise ShelfLifeError(
            f"The shelf life of {value} years is no whole number of months: write whole or half years, such as 2.5."
        )
    return int(months)


def life_of(value: str | int | float | Decimal | None, material: str) -> int | None:
    """Return the shelf life in months of an item of ``material``, None when it has no limit.

    Parameters
    ----------
    value : years, the word ``unlimited``, or None
    material : as the item states it

    Raises
    ------
    ShelfLifeError
        If the life is left blank although the material names an elastomer, or it cannot be read.
    """
    if value is None or not str(value).strip():
        if is_elastomer(material):
            raise ShelfLifeError(
                f"The shelf life is blank although the material '{material}' names an elastomer: "
                "write the years of the rule you follow, or the word unlimited."
            )
        return None
    return parse_life(value)


def last_use(cure: Cure | None, life_months: int | None, printed: date | None) -> date | None:
    """Return the last day of use: the earlier of the printed one and cure plus life; None when neither limits it.

    Parameters
    ----------
    cure : cure date, None when not stated
    life_months : shelf life, None for unlimited
    printed : last use printed on the packet

    Examples
    --------
    >>> last_use(parse_cure("4Q20", date(2026, 3, 4)), 36, None)
    datetime.date(2023, 12, 31)
    """
    limits = [] if printed is None else [printed]
    if cure is not None and life_months is not None:
        limits.append(after_months(cure.starts_on, life_months) - DAY)
    return min(limits, default=None)


def kit_last_use(pieces: Iterable[tuple[str, date | None]]) -> tuple[str, date] | None:
    """Return which piece of a packed kit dies first, and on which day; None when none of them has a last day.

    ``pieces`` are pairs of a name (part number, lot) and a last-use date. Equal days go to the name that sorts first.

    Parameters
    ----------
    pieces : what each piece is called, and its last use
    """
    dying = [(on, name) for name, on in pieces if on is not None]
    if not dying:
        return None
    on, name = min(dying)
    return name, on


def oldest_cure_quarter(
    latest_build: date,
    life_months: int | None,
    minimum: MinimumLife | None = None,
    received_on: date | None = None,
) -> Cure | None:
    """Return the oldest quarter of cure that still serves, None when the life has no limit.

    Parameters
    ----------
    latest_build : the last build day that the pieces are bought for
    life_months : shelf life of the item
    minimum : life that must be left on ``received_on``; the stricter of the two limits counts
    received_on : day on which the lot comes in

    Raises
    ------
    ShelfLifeError
        If not even what was cured on the day of receipt has the minimum life.
    """
    if life_months is None:
        return None
    cure = quarter_of(after_months(latest_build, -life_months - 2 * MONTHS_IN_A_QUARTER))
    while (after_months(cure.starts_on, life_months) - DAY) < latest_build:
        cure = next_quarter(cure)
    if minimum is None or received_on is None:
        return cure
    newest = max(quarter_of(received_on), cure, key=lambda one: one.on)
    while not has_minimum_life(cure, life_months, None, received_on, minimum):
        if cure == newest:
            raise ShelfLifeError(
                f"A minimum of {_minimum_shown(minimum)} at receipt cannot be met by a shelf life of "
                f"{life_months} months: lower the minimum, or correct the shelf life."
            )
        cure = next_quarter(cure)
    return cure


def parse_minimum_life(text: str) -> MinimumLife:
    """Read the life that must be left at receipt: ``75 %`` of the shelf life, or ``24 m`` for months.

    Parameters
    ----------
    text : such as ``24 months`` or ``75 %``

    Raises
    ------
    ShelfLifeError
        If it is neither, or not between 1 and 100 per cent, or not a month or more.
    """
    found = re.fullmatch(r"([0-9]{1,4})\s*(%|m)", text.strip().casefold())
    if not found:
        raise ShelfLifeError(
            f"The minimum life at receipt '{text}' cannot be read: write per cent such as 75 %, or months such as 24 m."
        )
    number, unit = found.groups()
    amount = int(number)
    if unit == "m":
        if not 1 <= amount <= LONGEST_LIFE_YEARS * MONTHS_IN_A_YEAR:
            raise ShelfLifeError(
                f"The minimum life at receipt '{text}' must be 1 to {LONGEST_LIFE_YEARS * MONTHS_IN_A_YEAR} months."
            )
        return MinimumLife(months=amount)
    if not 1 <= amount <= 100:
        raise ShelfLifeError(f"The minimum life at receipt '{text}' must lie between 1 % and 100 %.")
    return MinimumLife(percent=amount)


def has_minimum_life(
    cure: Cure | None, life_months: int | None, printed: date | None, received_on: date, minimum: MinimumLife
) -> bool:
    """Tell whether a lot that comes in on ``received_on`` has the life left that is asked for.

    Months are counted from the day of receipt; per cent are days left, that day included, of the days of the whole life
    (cure to its end; without a cure date the shelf life that ends on the printed day). A lot with a limited life and no
    date fails, as does a printed day whose whole life is not known when per cent are asked for.

    Parameters
    ----------
    cure : cure date, None when not stated
    life_months : shelf life, None for unlimited
    printed : last use printed on the packet
    received_on : day on which the lot came in
    minimum : the life that is asked for at receipt
    """
    end = last_use(cure, life_months, printed)
    if end is None:
        return life_months is None
    if minimum.months is not None and end < after_months(received_on, minimum.months) - DAY:
        return False
    if minimum.percent is None:
        return True
    whole = _whole_days(cure, life_months, end)
    return whole is not None and 100 * ((end - received_on).days + 1) >= minimum.percent * whole


def _whole_days(cure: Cure | None, life_months: int | None, end: date) -> int | None:
    """Count the days of a lot's whole life, None when it is not known where it begins."""
    if cure is not None:
        whole_end = end if life_months is None else after_months(cure.starts_on, life_months) - DAY
        return (whole_end - cure.starts_on).days + 1
    if life_months is None:
        return None
    return (end + DAY - after_months(end + DAY, -life_months)).days


def _minimum_shown(minimum: MinimumLife) -> str:
    percent = [] if minimum.percent is None else [f"{minimum.percent} %"]
    months = [] if minimum.months is None else [f"{minimum.months} months"]
    return " and ".join(percent + months)

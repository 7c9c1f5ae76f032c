"""What packs bring beyond the need, and whether it will be used while it may be, at the pace of the past year."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Min, Sum
from django.utils import timezone

from bom.questions.bids.left_over import OverAfterPacks, left_over
from kits.catalog.amounts import Amount
from kits.catalog.days.words import words_for_day
from kits.catalog.models import Item
from kits.planning.words.states import plural
from kits.stock.models import Movement
from kits.stock.words import PostingKind

MONTHS, DAYS_IN_MONTH = 12, 30.4375


@dataclass(frozen=True, slots=True)
class Pace:
    """What was used of a part: millionths in so many months of the ledger, and how long it lives."""

    used: int
    months: int
    life_months: int | None
    unit: str


def paces(part_numbers: Collection[str], today: date) -> dict[str, Pace]:
    """How fast parts were used in the past year, or since the ledger began; four statements."""
    start = today - timedelta(days=365)
    began = Movement.objects.filter(posting__kind=PostingKind.CONSUME).aggregate(Min("posting__at"))["posting__at__min"]
    months = MONTHS
    if began is not None and (first := timezone.localtime(began).date()) > start:
        months = max(1, round((today - first).days / DAYS_IN_MONTH))
    used: dict[str, int] = {}
    since = timezone.make_aware(datetime.combine(start, time()))
    moves = Movement.objects.filter(balance__lot__item__part_number__in=part_numbers, posting__at__gte=since).order_by()
    for kind in ("posting__kind", "posting__reverses__kind"):
        rows = moves.filter(**{kind: PostingKind.CONSUME}).values_list("balance__lot__item__part_number")
        for part_number, quantity in rows.annotate(Sum("quantity")):
            used[part_number] = used.get(part_number, 0) - quantity
    items = Item.objects.filter(part_number__in=part_numbers)
    return {
        number: Pace(max(0, used.get(number, 0)), months, life, unit)
        for number, life, unit in items.values_list("part_number", "shelf_life_months", "stock_unit")
    }


def over_of(pace: Pace, quantity: int, arrives_on: date | None, need_on: date | None, today: date) -> OverAfterPacks:
    """What is left over of a purchase, set against its life; one whose day is not known counts from today."""
    return left_over(quantity, pace.used, pace.months, arrives_on or today, need_on, pace.life_months)


def over_says(pace: Pace, over: OverAfterPacks, today: date) -> str:
    """That in a few words; empty where nothing is left over."""
    if not over.quantity:
        return ""
    amount = Amount.of(over.quantity, pace.unit).text
    return ", ".join(filter(None, (f"{amount} over", lasting_says(pace, over, today))))


def lasting_says(pace: Pace, over: OverAfterPacks, today: date) -> str:
    """Whether what is over will be used while it may be; empty where it lives for ever and nobody knows the pace."""
    if not over.quantity:
        return ""
    if over.last_use_on is None:
        return "" if over.used_up_on is None else f"used by {_month(over.used_up_on)}"
    until = words_for_day(over.last_use_on, today)
    if not pace.used:
        return f"none used in {plural(pace.months, 'month')}, expires after {until}"
    if over.dies:
        return f"{Amount.of(over.dies, pace.unit).text} of them not used by {until}"
    return f"used by {_month(over.used_up_on)}, before {until}"


def _month(day: date | None) -> str:
    return "" if day is None else f"{day:%b %Y}"

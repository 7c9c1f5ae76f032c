"""Reads of quotes: their versions, what changed from one to the next, and which jobs wait for their go-ahead."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kits.catalog.queries import read_settings
from kits.schedule.models import Job
from kits.service.models import GoAhead, Quote, QuoteLine, WorkHours
from kits.service.words import QuoteFor

TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line that differs between two versions, in millionths and cents; 0 on one side where it is new or gone."""

    says: str
    unit: str
    before: int
    after: int
    price_before: Decimal | None
    price_after: Decimal | None


def quotes_of(job: Job) -> list[Quote]:
    """Return the quotes of a job with lines and go-aheads, the latest version first; three statements."""
    rows = Quote.objects.filter(job=job).select_related("by")
    return list(rows.prefetch_related("lines__item", "go_aheads__by", "go_aheads__taken_back_by"))


def all_hours() -> list[WorkHours]:
    """Return all hours that are written down; one statement."""
    return list(WorkHours.objects.select_related("item").order_by("item__folded", "folded"))


def standing_go_ahead(quote: Quote) -> GoAhead | None:
    """Return the go-ahead that stands for a quote read with its go-aheads."""
    return next((one for one in quote.go_aheads.all() if one.taken_back_at is None), None)


def changed_lines(
    before: Sequence[QuoteLine] | None, after: Mapping[tuple[str, str], tuple[str, str, int, Decimal | None]]
) -> list[LineChange]:
    """Return what differs between the lines of a stored version and later ones, in the order of the later."""
    then = lines_by_name(before or ())
    found = []
    for name in dict.fromkeys((*after, *then)):
        _, _, quantity_before, price_before = then.get(name, ("", "", 0, None))
        says, unit, quantity, price = after.get(name, (*then.get(name, ("", ""))[:2], 0, None))
        if (quantity_before, price_before) != (quantity, price):
            found.append(LineChange(says, unit, quantity_before, quantity, price_before, price))
    return found


def lines_by_name(lines: Sequence[QuoteLine]) -> dict[tuple[str, str], tuple[str, str, int, Decimal | None]]:
    """Stored lines by what they are for and about: words, unit, quantity and price."""
    return {
        (line.what_for, line.item.part_number if line.item else line.says): (
            line.says,
            line.unit,
            line.quantity,
            line.price,
        )
        for line in lines
    }


def share_percent(total: Decimal, new_price: Decimal | None) -> Decimal | None:
    """Return which share of the price of a new pump a total is, with one decimal."""
    return None if not new_price else (total * 100 / new_price).quantize(TENTH)


def go_ahead_open(job: Job, needs: Callable[[], Mapping[str, int] | None] | None = None) -> str:
    """Return why a job waits for its go-ahead, empty where it does not, or the shop asks for none.

    ``needs`` tells what the job needs now, in millionths by part number: more of a part than was agreed to is told.
    """
    if not read_settings().quotes_need_go_ahead:
        return ""
    latest = Quote.objects.filter(job=job).order_by("-version").first()
    if latest is None:
        return "no quote has been made, and the customer has not given the go-ahead"
    if not latest.go_aheads.filter(taken_back_at__isnull=True).exists():
        return f"version {latest.version} of its quote waits for the customer's go-ahead"
    parts = needs() if needs else None
    if not parts:
        return ""
    agreed: dict[str, int] = {}
    lines = latest.lines.exclude(what_for=QuoteFor.HOURS).values_list("item__part_number", "quantity")
    for part, quantity in lines:
        agreed[part] = agreed.get(part, 0) + quantity
    more = sorted(part for part, quantity in parts.items() if quantity > agreed.get(part, 0))
    if more:
        named = ", ".join(more[:4])
        return f"more is needed than version {latest.version} of its quote says ({named}): the customer knows of less"
    return ""


def agreed_jobs() -> frozenset[str] | None:
    """Return the jobs that have a go-ahead for the latest version of their quote, by number; three statements.

    None where the shop asks for no go-ahead.
    """
    if not read_settings().quotes_need_go_ahead:
        return None
    latest = dict(Quote.objects.order_by("version").values_list("job_id", "pk"))
    standing = GoAhead.objects.filter(quote__in=latest.values(), taken_back_at__isnull=True)
    return frozenset(standing.values_list("quote__job__job", flat=True))

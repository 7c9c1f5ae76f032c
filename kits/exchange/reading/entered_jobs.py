"""Jobs entered in a form: laid out as rows of the sheet Schedule, so that they are checked like any other list."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import bom.values
from bom.structure.calendar import ShopCalendar
from kits.catalog.folding import fold
from kits.catalog.options import parse_options
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.reading.pasted import write_rows
from kits.schedule.models import Job

NUMBERED = re.compile(r"(.*?)([0-9]{1,12})")
FIRST_NUMBER = "J-1"


@dataclass(frozen=True, slots=True)
class EnteredJobs:
    """What was entered: equal jobs, one for each serial number, or one job of several pumps without any.

    ``a_day`` is how many of them are built a day, 0 for all on the first; ``use_kits`` is yes, no or empty for as the
    scope says.
    """

    first: str
    pump: str
    scope: str
    build_on: date
    serials: Sequence[str]
    quantity: int
    a_day: int
    strip_on: date | None
    batch: str
    priority: int
    option: str
    cleanliness: str
    use_kits: str
    customer: str


def next_number() -> str:
    """The number of the next job: one more than the highest of those that are numbered as the newest is."""
    newest = next((found for job in Job.objects.order_by("-pk")[:50] if (found := NUMBERED.fullmatch(job.job))), None)
    if newest is None:
        return FIRST_NUMBER
    alike = Job.objects.filter(folded__startswith=fold(newest[1])).values_list("job", flat=True)
    highest = max(
        (found for job in alike if (found := NUMBERED.fullmatch(job)) and fold(found[1]) == fold(newest[1])),
        key=lambda found: int(found[2]),
    )
    return numbers_from(highest[0], 2)[1]


def numbers_from(first: str, count: int) -> list[str]:
    """So many numbers, counted on from the first; one that ends in no figure is followed by -2, -3 and so on."""
    found = NUMBERED.fullmatch(first)
    if found is None:
        return [first, *(f"{first}-{place}" for place in range(2, count + 1))]
    return [f"{found[1]}{int(found[2]) + place:0{len(found[2])}d}" for place in range(count)]


def build_days(first: date, count: int, a_day: int, calendar: ShopCalendar) -> list[date]:
    """The day of each of so many jobs: the first day as it was entered, then working day by working day."""
    return [calendar.forward(first, place // a_day) if a_day and place >= a_day else first for place in range(count)]


def jobs_of(entered: EnteredJobs, calendar: ShopCalendar) -> tuple[bom.values.Job, ...]:
    """The jobs as the plan takes them, to be tried before they are stored."""
    serials = entered.serials or ("",)
    days = build_days(entered.build_on, len(serials), entered.a_day, calendar)
    stripped = build_days(entered.strip_on, len(serials), entered.a_day, calendar) if entered.strip_on else days
    return tuple(
        bom.values.Job(
            job=number,
            pump=entered.pump,
            scope=entered.scope,
            build_on=day,
            quantity=entered.quantity,
            batch=entered.batch,
            priority=entered.priority,
            options=parse_options(entered.option),
            cleanliness=entered.cleanliness,
            use_kits={"yes": True, "no": False}.get(entered.use_kits),
            serial=serial,
            customer=entered.customer,
            strip_on=strip_on if entered.strip_on else None,
        )
        for number, serial, day, strip_on in zip(
            numbers_from(entered.first, len(serials)), serials, days, stripped, strict=True
        )
    )


def entered_file(entered: EnteredJobs, calendar: ShopCalendar) -> SheetFile:
    """The jobs as the text file of the sheet Schedule."""
    rows = [
        {
            "job": job.job,
            "pump": job.pump,
            "scope": job.scope,
            "build_date": job.build_on.isoformat(),
            "quantity": str(job.quantity),
            "batch": job.batch,
            "priority": str(job.priority),
            "option": entered.option,
            "cleanliness": job.cleanliness,
            "use_kits": entered.use_kits,
            "serial": job.serial,
            "customer": job.customer,
            "strip_date": job.strip_on.isoformat() if job.strip_on else "",
        }
        for job in jobs_of(entered, calendar)
    ]
    return write_rows(SCHEDULE, [list(rows[0]), *(list(row.values()) for row in rows)])


def taken_numbers(numbers: Iterable[str]) -> list[str]:
    """Those of some job numbers that a job has already; one statement."""
    folded = {fold(number): number for number in numbers}
    return sorted(folded[found] for found in Job.objects.filter(folded__in=folded).values_list("folded", flat=True))

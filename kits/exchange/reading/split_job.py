"""A job of several pumps as one job for each: laid out as rows of the sheet Schedule, and checked as any list is."""

from __future__ import annotations

from collections.abc import Sequence

from kits.catalog.folding import fold
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.reading.pasted import write_rows
from kits.schedule.models import Job

LONGEST_NUMBER = 100


def proposed_numbers(job: Job) -> list[str]:
    """Its own number for the first pump, and numbers that nobody has for the others; one statement."""
    taken = set(Job.objects.filter(folded__startswith=job.folded).values_list("folded", flat=True))
    numbers, place = [job.job], 1
    while len(numbers) < job.quantity:
        place += 1
        number = f"{job.job[: LONGEST_NUMBER - 5]}-{place}"
        if fold(number) not in taken and number not in numbers:
            numbers.append(number)
    return numbers


def split_file(job: Job, pumps: Sequence[tuple[str, str]]) -> SheetFile:
    """One row for each pump, by the number of its job and its serial number."""
    rows = [
        {
            "job": number,
            "pump": job.pump.part_number,
            "scope": job.scope,
            "build_date": job.build_on.isoformat(),
            "quantity": "1",
            "batch": job.batch.name if job.batch else "",
            "priority": str(job.priority),
            "option": job.option,
            "cleanliness": job.cleanliness,
            "use_kits": {True: "yes", False: "no", None: ""}[job.use_kits],
            "serial": serial,
            "customer": job.customer,
            "strip_date": job.strip_on.isoformat() if job.strip_on else "",
            "stage": job.stage,
            "held_because": job.held_because,
        }
        for number, serial in pumps
    ]
    return write_rows(SCHEDULE, [list(rows[0]), *(list(row.values()) for row in rows)])

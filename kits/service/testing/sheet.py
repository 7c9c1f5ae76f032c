"""The test sheet of a job: what is to be read off against which limit, and what was read off before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from kits.catalog.models import ScopeSection
from kits.people.names import name_of
from kits.schedule.models import Job
from kits.service.models import Gauge, GaugeReading, PastStrip, PumpLimit, PumpTest
from kits.service.testing.judging import limit_says, plain
from kits.service.testing.queries import gauges, limits_of, pumps_passed, tests_of
from kits.service.words import Checked

SHOWN = Decimal("0.001")
"""How exactly a reading is shown that was told in another unit."""


@dataclass(frozen=True, slots=True)
class LimitShown:
    """One thing to be read off."""

    check_of: str
    what: str
    limit: str
    how: str
    unit: str


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One thing that was read off; ``typed`` stands beside it where it was typed in another unit."""

    what: str
    value: str
    limit: str
    how: str
    typed: str
    within: bool


@dataclass(frozen=True, slots=True)
class TestRow:
    """A test that was written down."""

    __test__ = False  # no test of the program

    pk: int
    at: datetime
    by: str
    strip: int
    pump_number: int
    passed: bool
    says: str
    gauge: str
    gauge_due_on: date | None
    tested_with: str
    readings: tuple[ReadRow, ...]


@dataclass(frozen=True, slots=True)
class TestSheet:
    """Everything that stands on the test sheet of a job; ``waiting`` are its pumps that have not passed yet."""

    __test__ = False

    job: Job
    as_of: date
    strip: int
    limits: tuple[LimitShown, ...]
    gauges: tuple[Gauge, ...]
    scopes: tuple[str, ...]
    waiting: tuple[int, ...]
    tests: tuple[TestRow, ...]
    strips: tuple[PastStrip, ...]

    @property
    def next_strip(self) -> int:
        """Which strip would follow a test that is not passed."""
        return self.strip + 1

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever writes a test down."""
        limits = [(row.check_of, row.limit) for row in self.limits]
        return self.job.stage, self.strip, limits, [test.pk for test in self.tests]


def sheet_of_tests(job: Job, today: date) -> TestSheet:
    """The test sheet of a job; eight statements."""
    strips = tuple(PastStrip.objects.filter(job=job).select_related("test"))
    built = job.stage == "built"
    passed = pumps_passed(job) if built and job.quantity > 1 else set()
    return TestSheet(
        job=job,
        as_of=today,
        strip=len(strips) + 1,
        limits=tuple(_limit_row(limit) for limit in limits_of(job.pump)),
        gauges=tuple(gauges()),
        scopes=tuple(dict.fromkeys(ScopeSection.objects.filter(pump=job.pump).values_list("scope", flat=True))),
        waiting=tuple(number for number in range(1, job.quantity + 1) if number not in passed) if built else (),
        tests=tuple(row_of_test(test) for test in tests_of(job)),
        strips=strips,
    )


def row_of_test(test: PumpTest) -> TestRow:
    """A test as it is read."""
    return TestRow(
        pk=test.pk,
        at=test.at,
        by=name_of(test.by),
        strip=test.strip,
        pump_number=test.pump_number,
        passed=test.passed,
        says=test.says,
        gauge=test.gauge.gauge if test.gauge else "",
        gauge_due_on=test.gauge_due_on,
        tested_with=test.tested_with,
        readings=tuple(_read_row(reading) for reading in test.readings.all()),
    )


def _limit_row(limit: PumpLimit) -> LimitShown:
    what = Checked(limit.check_of).label
    return LimitShown(limit.check_of, what, limit_says(limit), limit.how, limit.unit)


def _read_row(reading: GaugeReading) -> ReadRow:
    value = f"{plain(reading.value.quantize(SHOWN))} {reading.unit}"
    limit = PumpLimit(at_least=reading.at_least, at_most=reading.at_most, unit=reading.unit)
    own_unit = any(letter.isalpha() for letter in reading.typed)
    typed = reading.typed if own_unit and reading.typed != value else ""
    return ReadRow(Checked(reading.check_of).label, value, limit_says(limit), reading.how, typed, reading.within)

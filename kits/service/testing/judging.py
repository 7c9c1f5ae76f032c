"""What was read off a pump, set against the shop's limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kits.catalog.days.words import in_full
from kits.service.errors import ServiceRefusal
from kits.service.measures import read_measure
from kits.service.models import Gauge, PumpLimit
from kits.service.words import Checked


@dataclass(frozen=True, slots=True)
class TestSaid:
    """What is said of the test of one pump of a job: readings as typed, by what they are of."""

    __test__ = False  # no test of the program

    readings: Mapping[str, str]
    gauge: int | None = None
    pump_number: int = 1
    tested_with: str = ""
    says: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One reading in the unit of its limit, and whether it is within."""

    limit: PumpLimit
    typed: str
    value: Decimal
    within: bool

    @property
    def says(self) -> str:
        """The reading and its limit in words."""
        what = Checked(self.limit.check_of).label.lower()
        return f"{what} {plain(self.value)} {self.limit.unit}, {limit_says(self.limit)}"


def plain(number: Decimal) -> str:
    """A number without needless zeros."""
    return f"{number.normalize():f}"


def limit_says(limit: PumpLimit) -> str:
    """A limit in words."""
    least, most = limit.at_least, limit.at_most
    if least is not None and most is not None:
        return f"{plain(least)} to {plain(most)} {limit.unit}"
    if least is not None:
        return f"at least {plain(least)} {limit.unit}"
    assert most is not None, "the table holds it"
    return f"at most {plain(most)} {limit.unit}"


def judge_readings(limits: Sequence[PumpLimit], readings: Mapping[str, str]) -> tuple[Judged, ...]:
    """Return what was read, each against its limit, in the order of the limits; blank ones are left out."""
    found = []
    for limit in limits:
        typed = readings.get(limit.check_of, "").strip()
        if typed:
            value = read_measure(Checked(limit.check_of), typed, limit.unit)
            low = limit.at_least is not None and value < limit.at_least
            high = limit.at_most is not None and value > limit.at_most
            found.append(Judged(limit, typed, value, not low and not high))
    return tuple(found)


def missing_readings(limits: Sequence[PumpLimit], judged: Sequence[Judged]) -> list[str]:
    """What nobody has read off yet."""
    read = {one.limit.check_of for one in judged}
    return [Checked(limit.check_of).label.lower() for limit in limits if limit.check_of not in read]


def refuse_gauge(gauge: Gauge | None, on: date) -> None:
    """Refuse a gauge whose calibration has ended, and a reading off no gauge."""
    if gauge is None:
        raise ServiceRefusal("No gauge is named: choose the one that was read, so that its calibration is on record.")
    if gauge.due_on < on:
        raise ServiceRefusal(
            f"Gauge {gauge} was calibrated to {in_full(gauge.due_on)} only: read the test off another gauge, "
            "or have it calibrated and enter its new day."
        )

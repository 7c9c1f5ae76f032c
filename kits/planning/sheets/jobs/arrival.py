"""The arrival of a job as its page shows it: the plate beside the job, the gate, photos, what the signs suggest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from bom.plan import Plan
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.people.models import User
from kits.people.names import name_of
from kits.planning.opening.gate import OpeningSheet, opening_shown
from kits.schedule.models import Job
from kits.schedule.stages import OPENED, TO_BUILD
from kits.service.models import Arrival, Waiver
from kits.service.queries import (
    PhotoRow,
    Suggestion,
    arrival_of,
    fluid_names,
    is_signed_for,
    photos_of,
    signs_known,
    suggestions,
)


@dataclass(frozen=True, slots=True)
class PlateRow:
    """One thing that the plate says, set against the job: ``mark`` is the state it has, ``says`` the same in words."""

    what: str
    plate: str
    job: str
    mark: str
    says: str


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature of the lead, standing or taken back."""

    pk: int
    about: str
    why: str
    by: str
    at: datetime
    back: str


@dataclass(frozen=True, slots=True)
class ArrivalSheet:
    """Everything on the page of an arrival. ``agreed`` says whether the scope that was agreed is the job's own."""

    job: Job
    arrival: Arrival | None
    agreed: bool
    signed_for: bool
    plate: tuple[PlateRow, ...]
    opening: OpeningSheet
    photos: tuple[PhotoRow, ...]
    suggested: tuple[Suggestion, ...]
    fluids: tuple[str, ...]
    signs: tuple[str, ...]
    signatures: tuple[Signed, ...]

    @property
    def shows(self) -> tuple[str, str]:
        """What the form was filled in on: the last writing, and the scope of the job."""
        return (self.arrival.at.isoformat() if self.arrival else "", self.job.scope)

    @property
    def may_write(self) -> bool:
        """Whether anything may still be written of it."""
        return self.job.stage in TO_BUILD

    @property
    def is_opened(self) -> bool:
        """Whether the pump is open already."""
        return self.job.stage in OPENED

    @property
    def takes_serial(self) -> str:
        """The serial of the plate, where the job names another or none and is for one pump."""
        read = self.arrival.serial if self.arrival else ""
        return read if self.job.quantity == 1 and fold(read) != fold(self.job.serial) else ""


def arrival_sheet(plan: Plan, job: Job, person: User) -> ArrivalSheet:
    """The page of the arrival of a job; at most eighteen statements."""
    arrival = arrival_of(job)
    stored = arrival.signs if arrival else ()
    return ArrivalSheet(
        job=job,
        arrival=arrival,
        agreed=arrival is not None and fold(arrival.agreed_scope) == fold(job.scope),
        signed_for=is_signed_for(job),
        plate=plate_rows(job, arrival) if arrival else (),
        opening=opening_shown(plan, job, person),
        photos=tuple(photos_of(job, where="")),
        suggested=tuple(suggestions(job, stored)),
        fluids=tuple(fluid_names()),
        signs=tuple(dict.fromkeys((*signs_known(), *stored))),
        signatures=tuple(signatures_of(job)),
    )


def plate_rows(job: Job, arrival: Arrival) -> tuple[PlateRow, ...]:
    """What the plate says beside what the job says; one statement."""
    is_model = Item.objects.by_any_number(arrival.model).filter(pk=job.pump_id).exists()
    if not job.serial:
        serial = ("waiting", "the job names none")
    else:
        agrees = fold(arrival.serial) == fold(job.serial)
        serial = ("ready", "agree") if agrees else ("short", "differ")
    unread = ("late", "not readable")
    model = ("ready", "agree") if is_model else ("short", "differ")
    return (
        PlateRow("Serial", arrival.serial, job.serial, *(serial if arrival.serial else unread)),
        PlateRow("Model", arrival.model, job.pump.part_number, *(model if arrival.model else unread)),
    )


def signatures_of(job: Job) -> list[Signed]:
    """What was signed for on a job, the latest first; one statement."""
    rows = Waiver.objects.filter(job=job).select_related("by", "back_by").order_by("-pk")
    return [
        Signed(
            row.pk,
            row.about,
            row.why,
            name_of(row.by),
            row.at,
            f"taken back by {name_of(row.back_by)}: {row.back_because}" if row.back_at else "",
        )
        for row in rows
    ]

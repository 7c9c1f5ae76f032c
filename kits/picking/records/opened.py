"""What one strip of a pump opened and what followed from its report, worked out as for a stripped pump."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bom.errors import BomError
from bom.plan import Plan, plan
from bom.reading import Inspections, Reading
from bom.values import Finding
from kits.picking.records.serial_history import FoundThere
from kits.planning.queries import kept_beside, reading_of
from kits.schedule.models import Finding as StoredFinding
from kits.schedule.words import Stage
from kits.service.models import PastFinding

WITH_GROUP = "renewed with its group"


@dataclass(frozen=True, slots=True)
class StripOpened:
    """How many of each assembly a strip opened, those inside others too, and the positions that were looked at."""

    counts: Mapping[str, int]
    inspections: Inspections


def strip_opened(now: Plan, name: str, findings: Sequence[StoredFinding | PastFinding]) -> StripOpened | None:
    """What the strip of this name opened by the lists of today; None where these know it no more."""

    def work() -> StripOpened | None:
        job = next((job for job in now.shop.jobs if job.job == name), None)
        if job is None:
            return None
        named = tuple(
            Finding(name, one.finding, one.section.part_number if one.section else "", one.found_on, one.note)
            for one in findings
        )
        verdicts = tuple(one for one in now.shop.verdicts if one.job == name)
        alone = replace(
            now.shop,
            jobs=(replace(job, stage=Stage.STRIPPED.value),),
            needs=(),
            lots=(),
            orders=(),
            issues=(),
            verdicts=verdicts,
            findings=named,
            stamp="",
        )
        try:
            reading = Reading(plan(alone, reading_of(now).lists.compiled))
        except BomError:
            return None
        asker, counts = reading.jobs[name], dict[str, int]()
        for opening in reading.opened_by(asker):
            counts[opening.part_number] = counts.get(opening.part_number, 0) + opening.count
        return StripOpened(counts, reading.inspections_of(asker))

    return kept_beside(now, f"strip opened:{name}", work)


def with_what_followed(found: Sequence[FoundThere], opened: StripOpened, blank: FoundThere) -> Iterator[FoundThere]:
    """The rows of a strip report, and besides what a group or a named finding renewed whatever was seen on it.

    ``blank`` is a row of the strip without a position.
    """
    positions = opened.inspections.positions
    told = set()
    for row in found:
        place = opened.inspections.place_of(row.where, row.part_number)
        if place is None:
            place = opened.inspections.place_of(f"pump 1 / {row.where}", row.part_number)
        if place is None:
            yield row
            continue
        told.add(place)
        yield replace(row, along=WITH_GROUP) if positions[place].with_group else row
    for place, position in enumerate(positions):
        if place not in told and (position.with_group or position.because):
            along = WITH_GROUP if position.with_group else f"renewed, because of {position.because}"
            where = position.where.removeprefix("pump 1 / ")
            yield replace(blank, where=where, part_number=position.part_number, along=along)

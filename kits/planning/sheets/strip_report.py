"""The strip report of a job as it is written: every position that is looked at, by the opened section it is in."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby

from bom.demand.positions import fold_where, positions_of
from bom.demand.requirements import covered_by_kits
from bom.demand.strip_report import places_of
from kits.planning.lists.plan_reading import PlanReading
from kits.planning.words.item_names import ItemName
from kits.schedule.models import Verdict


@dataclass(frozen=True, slots=True)
class StripRow:
    """One position: ``where`` in full, ``spot`` inside its section. ``because`` says why it is renewed anyhow."""

    key: str
    where: str
    spot: str
    part_number: str
    what: str
    verdict: str
    found: str
    measured: str
    because: str


@dataclass(frozen=True, slots=True)
class StripSection:
    """The positions of one opened section of one pump."""

    key: str
    name: str
    rows: tuple[StripRow, ...]

    @property
    def unseen(self) -> int:
        """How many positions have no verdict and are not renewed anyhow."""
        return sum(not row.verdict and not row.because for row in self.rows)


def strip_sections(
    reading: PlanReading, asker: int, verdicts: Iterable[Verdict], names: Mapping[str, ItemName]
) -> tuple[StripSection, ...]:
    """The positions of a job that asks for parts, in the order of its sections."""
    demand, structure, number = reading.plan.demand, reading.structure, reading.askers[asker].recipe
    job = reading.askers[asker].job
    assert job is not None, "other needs are not stripped"
    recipe = demand.explosion.recipes[number]
    covered = covered_by_kits(demand.explosion, number)
    positions = positions_of(structure, demand.conditions, number, recipe, covered)
    places = places_of(structure, positions, job.quantity)
    said = {places.get((fold_where(one.where), one.item.part_number)): one for one in verdicts}
    report = demand.reports.get(job.job)
    renewed = {p.where: why for p, why in (*report.because, *report.along)} if report else {}
    rows = []
    for place, position in enumerate(positions):
        part, one = structure.lines[position.line].child, said.get(place)
        steps = position.where.split(" / ")
        row = StripRow(
            key=_key(position.where, part),
            where=one.where if one else position.where,
            spot=" / ".join(steps[2:]),
            part_number=part,
            what=names[part].what,
            verdict=one.verdict if one else "",
            found=one.found if one else "",
            measured=one.measured if one else "",
            because=renewed.get(position.where, ""),
        )
        rows.append((" / ".join(steps[:2]), row))
    return tuple(
        StripSection(_key(name), name, tuple(row for _, row in group))
        for name, group in groupby(rows, lambda row: row[0])
    )


def _key(*names: str) -> str:
    return hashlib.blake2s("\n".join(names).encode(), digest_size=6).hexdigest()

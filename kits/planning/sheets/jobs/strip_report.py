"""The strip report of a job as it is written: every position that is looked at, by the opened section it is in."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import groupby

from bom.reading import Inspections
from kits.planning.words.item_names import ItemName
from kits.schedule.models import Verdict

VERDICT_SAYS = {
    "renew": "renewed",
    "missing": "missing, replaced",
    "keep": "good, goes back in",
    "rework": "out for rework",
    "not_as_listed": "not as listed: plan again",
    "": "still to be looked at",
}
GOOD_BUT = "good, but "
WITH_GROUP = "its group is renewed"
SAID_LAST = (VERDICT_SAYS["rework"], VERDICT_SAYS["not_as_listed"], VERDICT_SAYS["keep"], VERDICT_SAYS[""])


@dataclass(frozen=True, slots=True)
class StripRow:
    """One position: ``where`` in full, ``spot`` inside its section.

    ``because`` says why it is renewed whatever was found on it, ``with_group`` that its group pulled it along.
    """

    key: str
    where: str
    spot: str
    part_number: str
    what: str
    verdict: str
    found: str
    measured: str
    because: str
    with_group: bool

    @property
    def says(self) -> str:
        """What was decided on it."""
        if self.with_group:
            return f"{GOOD_BUT if self.verdict == 'keep' else ''}renewed with its group"
        return f"renewed: {self.because}" if self.because else VERDICT_SAYS[self.verdict]


Spot = tuple[int, tuple[str, ...]]
"""The turn of a structure line, and the opened assemblies down to it."""


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


@dataclass(frozen=True, slots=True)
class StripSheet:
    """The strip report of a job: by section, and by the lines of its structure. ``unplaced`` are no positions of it."""

    sections: tuple[StripSection, ...] = ()
    by_spot: Mapping[Spot, tuple[StripRow, ...]] = field(default_factory=dict)
    unplaced: tuple[Verdict, ...] = ()

    @property
    def unseen(self) -> int:
        """How many positions nobody has looked at yet."""
        return sum(section.unseen for section in self.sections)


def strip_sheet(inspections: Inspections, verdicts: Iterable[Verdict], names: Mapping[str, ItemName]) -> StripSheet:
    """The positions of a job that asks for parts, in the order of its sections."""
    said: dict[int | None, Verdict] = {}
    unplaced = []
    for one in verdicts:
        place = inspections.place_of(one.where, one.item.part_number)
        if place is None:
            unplaced.append(one)
        said[place] = one
    by_spot: dict[Spot, list[StripRow]] = defaultdict(list)
    rows = []
    for place, position in enumerate(inspections.positions):
        part, told = position.part_number, said.get(place)
        steps = position.where.split(" / ")
        row = StripRow(
            key=_key(position.where, part),
            where=told.where if told else position.where,
            spot=" / ".join(steps[2:]),
            part_number=part,
            what=names[part].what,
            verdict=told.verdict if told else "",
            found=told.found if told else "",
            measured=told.measured if told else "",
            because=WITH_GROUP if position.with_group else position.because,
            with_group=position.with_group,
        )
        rows.append((" / ".join(steps[:2]), row))
        by_spot[position.turn, position.inside].append(row)
    return StripSheet(
        sections=tuple(
            StripSection(_key(name), name, tuple(row for _, row in group))
            for name, group in groupby(rows, lambda row: row[0])
        ),
        by_spot={spot: tuple(found) for spot, found in by_spot.items()},
        unplaced=tuple(unplaced),
    )


def found_says(rows: Iterable[StripRow]) -> str:
    """What was found on the positions of one line: how many of each kind, and in which words; empty while unseen."""
    rows = tuple(rows)
    if not any(row.verdict or row.with_group for row in rows):
        return ""
    counts: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        counts[row.says].append(row.found.strip())
    told = []
    for says in sorted(counts, key=lambda says: SAID_LAST.index(says) if says in SAID_LAST else -1):
        words = ", ".join(dict.fromkeys(filter(None, counts[says])))
        many = f"{len(counts[says])} × " if len(rows) > 1 else ""
        told.append(f"{many}{says}{f' ({words})' if words else ''}")
    return "; ".join(told)


def _key(*names: str) -> str:
    return hashlib.blake2s("\n".join(names).encode(), digest_size=6).hexdigest()

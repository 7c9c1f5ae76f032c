"""The strip report of a job as it is written: every position that is looked at, by the opened section it is in."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import groupby

from bom.reading import Inspections
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import in_words
from kits.schedule.looks import is_alone
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
    ``goes_with`` names the positions that stand or fall together with it, ``pulled_by`` those of them that are renewed;
    ``alone`` says that it was taken out of its group.
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
    alone: bool = False
    goes_with: str = ""
    pulled_by: str = ""

    @property
    def is_renewed(self) -> bool:
        """Whether a new piece goes in, as far as anybody knows."""
        return self.verdict in ("renew", "missing") or bool(self.because)

    @property
    def is_unseen(self) -> bool:
        """Whether it has no verdict and is not renewed anyhow."""
        return not self.verdict and not self.because

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
        """How many positions are still to be looked at."""
        return sum(row.is_unseen for row in self.rows)


@dataclass(frozen=True, slots=True)
class StripSheet:
    """The strip report of a job: by section, and by the lines of its structure. ``unplaced`` are no positions of it.

    ``by_place`` has the rows by the full place of the position and its part.
    """

    sections: tuple[StripSection, ...] = ()
    by_spot: Mapping[Spot, tuple[StripRow, ...]] = field(default_factory=dict)
    unplaced: tuple[Verdict, ...] = ()
    by_place: Mapping[tuple[str, str], StripRow] = field(default_factory=dict)

    @property
    def unseen(self) -> int:
        """How many positions nobody has looked at yet."""
        return sum(section.unseen for section in self.sections)

    def position(self, key: str) -> tuple[StripSection, StripRow] | tuple[None, None]:
        """The position of this key with its section; nothing where the job has none such."""
        found = ((section, row) for section in self.sections for row in section.rows if row.key == key)
        return next(found, (None, None))


def strip_sheet(inspections: Inspections, verdicts: Iterable[Verdict], names: Mapping[str, ItemName]) -> StripSheet:
    """The positions of a job that asks for parts, in the order of its sections."""
    said: dict[int | None, Verdict] = {}
    unplaced = []
    positions = inspections.positions
    for one in verdicts:
        place = inspections.place_of(one.where, one.item.part_number)
        if place is None:
            unplaced.append(one)
        said[place] = one
    by_spot: dict[Spot, list[StripRow]] = defaultdict(list)
    by_place = {}
    rows = []
    for place, position in enumerate(positions):
        part, told = position.part_number, said.get(place)
        renewed = [other for other in position.others if _pulls(said.get(other))]
        steps = position.where.split(" / ")
        row = StripRow(
            key=position_key(position.where, part),
            where=told.where if told else position.where,
            spot=" / ".join(steps[2:]),
            part_number=part,
            what=names[part].what,
            verdict=told.verdict if told else "",
            found=told.found if told else "",
            measured=told.measured if told else "",
            because=WITH_GROUP if position.with_group else position.because,
            with_group=position.with_group,
            alone=told is not None and is_alone(told),
            goes_with=_named([positions[other].where for other in position.others], steps),
            pulled_by=_named([positions[other].where for other in renewed], steps),
        )
        rows.append((" / ".join(steps[:2]), row))
        by_spot[position.turn, position.inside].append(row)
        by_place[position.where, part] = row
    return StripSheet(
        sections=tuple(
            StripSection(position_key(name), name, tuple(row for _, row in group))
            for name, group in groupby(rows, lambda row: row[0])
        ),
        by_spot={spot: tuple(found) for spot, found in by_spot.items()},
        unplaced=tuple(unplaced),
        by_place=by_place,
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


def position_key(*names: str) -> str:
    """The key of a position by its place and part, or of a section by its name, as forms and addresses carry it."""
    return hashlib.blake2s("\n".join(names).encode(), digest_size=6).hexdigest()


def _pulls(told: Verdict | None) -> bool:
    return told is not None and told.verdict in ("renew", "missing") and not is_alone(told)


def _named(places: list[str], steps: list[str]) -> str:
    """Places of the same section by their way inside it, others from their section on."""
    inside = " / ".join(steps[:2]) + " / "
    return in_words([place.removeprefix(inside).removeprefix(f"{steps[0]} / ") for place in places], longest=3)

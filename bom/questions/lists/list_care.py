"""Past rebuilds against the lists of today: what they took beyond them, and what their kits left over each time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from bom.demand.requirements import Demand, gather_demand
from bom.errors import BomError
from bom.questions.bag_check import InBag, check_bags
from bom.structure.arrays import Structure
from bom.values import ONE, Job, Shop

LEAST_PUMPS = 5
"""So many rebuilt pumps have to speak of a list before a change of it is proposed."""

Group = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PastRebuild:
    """A finished job with what was used up in it."""

    job: str
    used: tuple[InBag, ...]


@dataclass(frozen=True, slots=True)
class Witness:
    """One past job that a proposal leans on. ``shows`` is what it took besides or left over, whole in each pump or kit.

    ``pumps`` is how many pumps it rebuilt.
    """

    job: str
    pumps: int
    shows: int


@dataclass(frozen=True, slots=True)
class CareProposal:
    """A list that past rebuilds speak against.

    ``of`` is the pump of a part that is taken besides, or the kit that leaves one over; ``scope`` is empty for a kit.
    ``each`` is the least that any witness shows, in whole pieces for one pump, or one kit.
    """

    of: str
    scope: str
    part_number: str
    each: int
    witnesses: tuple[Witness, ...]

    @property
    def pumps(self) -> int:
        """How many pumps were rebuilt."""
        return sum(one.pumps for one in self.witnesses)

    @property
    def showing(self) -> int:
        """How many of them show it."""
        return sum(one.pumps for one in self.witnesses if one.shows)


@dataclass(frozen=True, slots=True)
class OffList:
    """One past job against the lists of today: whole pieces beyond them in each pump, and left over in each kit."""

    job: Job
    extra: Mapping[str, int]
    left: Mapping[str, Mapping[str, int]]


def off_lists(
    structure: Structure,
    shop: Shop,
    past: Sequence[PastRebuild],
    stand_ins: Mapping[str, frozenset[str]],
) -> tuple[OffList, ...]:
    """Set what past jobs used up against what their pumps would need by the lists of today.

    Parameters
    ----------
    structure : the compiled catalog of the shop
    shop : everything that is known
    past : finished jobs with what they used up
    stand_ins : the parts that each part may stand in for; what stood in for a missing one was not taken besides

    Returns
    -------
    tuple of OffList
        A job that the lists of today know no more is left out.
    """
    jobs = {job.job: job for job in shop.jobs}
    groups: dict[Group, list[PastRebuild]] = defaultdict(list)
    for one in past:
        if one.job in jobs:
            groups[jobs[one.job].pump, jobs[one.job].scope].append(one)
    found: list[OffList] = []
    for some in groups.values():
        try:
            found += _read(structure, shop, [jobs[one.job] for one in some], some, stand_ins)
        except BomError:
            for one in some:
                try:
                    found += _read(structure, shop, [jobs[one.job]], [one], stand_ins)
                except BomError:
                    continue
    return tuple(sorted(found, key=lambda one: one.job.job))


def taken_besides(rows: Iterable[OffList]) -> tuple[CareProposal, ...]:
    """Parts that more than half of the pumps of a scope took beyond their list, by pump, scope and part.

    Parameters
    ----------
    rows : past jobs against the lists of today
    """
    groups: dict[Group, list[OffList]] = defaultdict(list)
    for row in rows:
        groups[row.job.pump, row.job.scope].append(row)
    found = []
    for (pump, scope), some in sorted(groups.items()):
        for part in sorted({part for row in some for part in row.extra}):
            shown = tuple(Witness(row.job.job, row.job.quantity, row.extra.get(part, 0)) for row in some)
            proposal = CareProposal(pump, scope, part, _least(shown), shown)
            if proposal.pumps >= LEAST_PUMPS and 2 * proposal.showing > proposal.pumps:
                found.append(proposal)
    return tuple(found)


def always_left_over(rows: Iterable[OffList]) -> tuple[CareProposal, ...]:
    """Pieces that were left over of every kit of a number, by kit and part.

    Parameters
    ----------
    rows : past jobs against the lists of today
    """
    by_kit: dict[str, list[OffList]] = defaultdict(list)
    for row in rows:
        for kit in row.left:
            by_kit[kit].append(row)
    found = []
    for kit, some in sorted(by_kit.items()):
        for part in sorted(set.intersection(*(set(row.left[kit]) for row in some))):
            shown = tuple(Witness(row.job.job, row.job.quantity, row.left[kit][part]) for row in some)
            proposal = CareProposal(kit, "", part, _least(shown), shown)
            if proposal.pumps >= LEAST_PUMPS:
                found.append(proposal)
    return tuple(found)


def _least(shown: Sequence[Witness]) -> int:
    return min((one.shows for one in shown if one.shows), default=0)


def _read(
    structure: Structure,
    shop: Shop,
    jobs: Sequence[Job],
    past: Sequence[PastRebuild],
    stand_ins: Mapping[str, frozenset[str]],
) -> Iterator[OffList]:
    """Jobs of the past as if they were built today, so that a list that was changed since speaks for itself."""
    names = {job.job for job in jobs}
    bare = replace(
        shop,
        jobs=tuple(_as_of(job, shop.as_of) for job in jobs),
        needs=(),
        lots=(),
        orders=(),
        issues=(),
        verdicts=tuple(one for one in shop.verdicts if one.job in names),
        findings=tuple(one for one in shop.findings if one.job in names),
        stamp="",
    )
    used = {one.job: [InBag(bag.part_number, bag.quantity) for bag in one.used] for one in past}
    checks, demand = check_bags(structure, bare, used), gather_demand(structure, bare)
    countable = {item.part_number for item in structure.items if item.countable}
    for job in jobs:
        check = checks[job.job]
        spared = {part for part in check.beyond if stand_ins.get(part, frozenset()) & check.missing.keys()}
        extra = {
            part: quantity // (ONE * job.quantity)
            for part, quantity in check.beyond.items()
            if part in countable and part not in spared and quantity >= ONE * job.quantity
        }
        kits = {bag.part_number for bag in used[job.job]}
        yield OffList(job, extra, {kit: left for kit, left in _left(demand, job.job).items() if kit in kits})


def _as_of(job: Job, on: date) -> Job:
    return replace(job, stage="stripped", build_on=on)


def _left(demand: Demand, job: str) -> dict[str, dict[str, int]]:
    """Whole pieces that each kit of a job leaves over, by kit and part; a kit that leaves none has an empty row."""
    number = next(asker.recipe for asker in demand.askers if asker.name == job)
    rows, items = demand.requirements.kits, demand.structure.items
    counts: dict[int, int] = defaultdict(int)
    left: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for row in np.flatnonzero(rows.recipe == number).tolist():
        kit = int(rows.kit[row])
        counts[kit] += int(rows.count[row])
        for place in np.flatnonzero((rows.part_row == row) & (rows.surplus > 0)).tolist():
            left[kit][int(rows.part_item[place])] += int(rows.surplus[place])
    return {
        items[kit].part_number: {
            items[part].part_number: quantity // (ONE * count)
            for part, quantity in left[kit].items()
            if quantity >= ONE * count and items[part].countable
        }
        for kit, count in counts.items()
        if count
    }

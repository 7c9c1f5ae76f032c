"""What a job was given, set against what its pump needs: what is missing, what is beyond it, what nobody looked at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from bom.demand.kit_cover import opened_contents
from bom.demand.positions import Position, positions_of
from bom.demand.requirements import Demand, covered_by_kits, gather_demand
from bom.plan import Plan
from bom.structure.arrays import Structure
from bom.values import ASKING_STAGES, ONE, Issue, Shop

Quantities = dict[str, int]
"""Millionths by part number."""

_DONE = ("built", "tested", "shipped")
_NEVER_NEEDED = {"cancelled": ("issued", "bagged", "reserved"), **dict.fromkeys(_DONE, ("reserved",))}
"""What a job holds that it cannot need at its stage; a job that is held may go on."""


@dataclass(frozen=True, slots=True)
class BagCheck:
    """One job against what it was given, in millionths by part number.

    ``missing`` is surely needed and was not given; a kit stands here as long as none of its pieces were given instead.
    ``beyond`` was given beyond what is sure and beyond what the ``unseen`` positions, which have no verdict, may take.
    """

    missing: Quantities
    beyond: Quantities
    unseen: tuple[Position, ...]


@dataclass(frozen=True, slots=True)
class Beyond:
    """Millionths that a job holds beyond its need. ``lot`` and ``place`` are known of what is set aside on the shelf.

    ``state``: reserved, bagged, issued.
    """

    job: str
    part_number: str
    state: str
    quantity: int
    lot: str = ""
    place: str = ""


def check_bags(structure: Structure, shop: Shop, given: Mapping[str, Mapping[str, int]]) -> dict[str, BagCheck]:
    """Set what jobs were given against what their pumps need.

    Parameters
    ----------
    structure : the compiled catalog of the shop
    given : millionths by part number, for each job to be checked; it stands for all that the shop says was issued

    Returns
    -------
    dict of BagCheck
        For those of the jobs that ask for parts.

    Raises
    ------
    ShopError
        As :func:`bom.demand.requirements.gather_demand` does.
    """
    jobs = tuple(job for job in shop.jobs if job.job in given and job.stage in ASKING_STAGES)
    if not jobs:
        return {}
    names = {job.job for job in jobs}
    bare = replace(
        shop,
        jobs=jobs,
        needs=(),
        lots=(),
        orders=(),
        issues=(),
        verdicts=tuple(one for one in shop.verdicts if one.job in names),
        findings=tuple(one for one in shop.findings if one.job in names),
    )
    issues = tuple(
        Issue(job, part, "", quantity, "issued")
        for job, parts in given.items()
        for part, quantity in parts.items()
        if job in names and quantity > 0
    )
    without, with_given = gather_demand(structure, bare), gather_demand(structure, replace(bare, issues=issues))
    return {
        asker.name: _Bag(without, with_given, asker.name).check(given[asker.name])
        for asker in with_given.askers
        if asker.job
    }


def held_beyond_need(plan: Plan) -> tuple[Beyond, ...]:
    """What jobs hold that they do not need as they are planned: given to them, in their bags or set aside for them.

    A job that was given up holds all of it beyond its need, one that is built or left the shop what is set aside.
    """
    structure, shop = plan.demand.structure, plan.shop
    stages = {job.job: job.stage for job in shop.jobs}
    issued: dict[str, Quantities] = defaultdict(lambda: defaultdict(int))
    for issue in shop.issues:
        if issue.state in ("issued", "returned"):
            issued[issue.job][issue.part_number] += issue.quantity if issue.state == "issued" else -issue.quantity
    found = check_bags(structure, shop, {issue.job: issued[issue.job] for issue in shop.issues})
    rows = [
        Beyond(issue.job, issue.part_number, issue.state, issue.quantity, issue.lot, issue.place)
        for issue in shop.issues
        if issue.state in _NEVER_NEEDED.get(stages[issue.job], ())
    ]
    for job, check in found.items():
        rows += [Beyond(job, part, "issued", quantity) for part, quantity in check.beyond.items()]
    rows += _set_aside(plan, found)
    return tuple(sorted(rows, key=lambda row: (row.job, row.part_number, row.state, row.lot, row.place)))


def _set_aside(plan: Plan, found: Mapping[str, BagCheck]) -> Iterator[Beyond]:
    """What the plan left undrawn of what is set aside for a job, less what its unseen positions may take."""
    structure = plan.demand.structure
    for (number, item), asides in plan.supplies.set_aside.items():
        job, part = plan.demand.askers[number].name, structure.items[item].part_number
        if job not in found:
            continue
        may_take = _open_quantity(structure, found[job].unseen).get(item, 0)
        for aside in asides:
            kept = min(aside.left, may_take)
            may_take -= kept
            if aside.left > kept:
                lot = plan.shop.lots[aside.lot_place] if aside.lot_place >= 0 else None
                yield Beyond(
                    job,
                    part,
                    "reserved" if lot else "bagged",
                    aside.left - kept,
                    lot.lot if lot else "",
                    lot.place if lot else "",
                )


class _Bag:
    """One job, with and without what it was given."""

    def __init__(self, without: Demand, with_given: Demand, job: str) -> None:
        self.structure, self.without, self.with_given = with_given.structure, without, with_given
        self.before, self.after = _number(without, job), _number(with_given, job)
        self.unseen = _unseen(with_given, self.after, job)

    def check(self, given: Mapping[str, int]) -> BagCheck:
        """What is missing and what is beyond the need."""
        names = self.structure.items
        missing, beyond = self._missing(), self._beyond(given)
        return BagCheck(
            {names[item].part_number: missing[item] for item in sorted(missing, key=self._rank)},
            {names[item].part_number: beyond[item] for item in sorted(beyond, key=self._rank)},
            self.unseen,
        )

    def _rank(self, item: int) -> int:
        return int(self.structure.name_rank[item])

    def _missing(self) -> dict[int, int]:
        """What is asked for still; a kit of which some pieces were given loose stands as the pieces that it is for."""
        found = _asked(self.with_given, self.after)
        untouched = _covered(self.without, self.before)
        for (kit, assembly), (count, covered) in _covered(self.with_given, self.after).items():
            whole, covered_whole = untouched[kit, assembly]
            if sum(covered.values()) * whole == sum(covered_whole.values()) * count:
                continue
            found[kit] -= count * ONE
            for part, quantity in covered.items():
                found[part] = found.get(part, 0) + quantity
        return {item: quantity for item, quantity in found.items() if quantity > 0}

    def _beyond(self, given: Mapping[str, int]) -> dict[int, int]:
        """What is left of the given pieces, kits opened, once the sure needs and the open positions are served.

        A kit is beyond the need where the job asks for no such kit and none of its pieces serves.
        """
        index = self.structure.index
        kits = {index[part]: quantity for part, quantity in given.items() if self.structure.is_kit[index[part]]}
        left: dict[int, int] = defaultdict(int)
        inside = {kit: self._inside(kit) for kit in kits}
        for kit, quantity in kits.items():
            for part, each in inside[kit].items():
                left[part] += quantity // ONE * each
        loose = {index[part]: quantity for part, quantity in given.items() if index[part] not in kits}
        for item, quantity in loose.items():
            left[item] += quantity
        before, after = _pieces(self.without, self.before), _pieces(self.with_given, self.after)
        may_take = _open_quantity(self.structure, self.unseen)
        for item in left:
            left[item] -= before.get(item, 0) - after.get(item, 0)
            left[item] -= min(left[item], may_take.get(item, 0))
        beyond: dict[int, int] = {}
        whole = _covered(self.without, self.before)
        for kit in sorted(kits, key=self._rank):
            asked_for = sum(count for (one, _), (count, _) in whole.items() if one == kit)
            idle = min((left[part] // each for part, each in inside[kit].items()), default=0)
            idle = min(idle, kits[kit] // ONE - asked_for)
            if idle > 0:
                beyond[kit] = idle * ONE
                for part, each in inside[kit].items():
                    left[part] -= idle * each
        # What a kit leaves over may serve in the place of a loose piece; that the loose piece was asked for stays true.
        asked = _asked(self.without, self.before)
        beyond |= {item: min(left[item], quantity - asked.get(item, 0)) for item, quantity in loose.items()}
        return {item: quantity for item, quantity in beyond.items() if quantity > 0}

    def _inside(self, kit: int) -> dict[int, int]:
        _, parts, amounts = opened_contents(
            self.structure, self.with_given.conditions, np.array([kit]), np.array([self.after])
        )
        return dict(zip(parts.tolist(), amounts.tolist(), strict=True))


def _number(demand: Demand, job: str) -> int:
    """The recipe of a job."""
    return next(asker.recipe for asker in demand.askers if asker.name == job and asker.job)


def _unseen(demand: Demand, number: int, job: str) -> tuple[Position, ...]:
    report = demand.reports.get(job)
    if report is not None:
        return report.open
    recipe = demand.explosion.recipes[number]
    covered = covered_by_kits(demand.explosion, number)
    return tuple(positions_of(demand.structure, demand.conditions, number, recipe, covered))


def _open_quantity(structure: Structure, positions: tuple[Position, ...]) -> dict[int, int]:
    found: dict[int, int] = defaultdict(int)
    for position in positions:
        found[int(structure.child[position.line])] += position.quantity
    return dict(found)


def _asked(demand: Demand, number: int) -> dict[int, int]:
    """What a recipe asks for, loose and as kits."""
    recipe, item, quantity = demand.requirements.loose
    mine = recipe == number
    return dict(zip(item[mine].tolist(), quantity[mine].tolist(), strict=True))


def _covered(demand: Demand, number: int) -> dict[tuple[int, int], tuple[int, dict[int, int]]]:
    """The kits that a recipe asks for, by kit and assembly: how many, and the sure needs that each part covers."""
    rows = demand.requirements.kits
    found: dict[tuple[int, int], tuple[int, dict[int, int]]] = {}
    for row in np.flatnonzero(rows.recipe == number).tolist():
        parts = np.flatnonzero((rows.part_row == row) & (rows.covered > 0))
        covered = dict(zip(rows.part_item[parts].tolist(), rows.covered[parts].tolist(), strict=True))
        found[int(rows.kit[row]), int(rows.assembly[row])] = (int(rows.count[row]), covered)
    return found


def _pieces(demand: Demand, number: int) -> dict[int, int]:
    """The sure needs of a recipe part by part, whatever kit brings them."""
    found: dict[int, int] = defaultdict(int, _asked(demand, number))
    for (kit, _), (count, covered) in _covered(demand, number).items():
        found[kit] -= count * ONE
        for part, quantity in covered.items():
            found[part] += quantity
    return dict(found)

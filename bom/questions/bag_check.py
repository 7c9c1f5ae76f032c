"""What a job was given, set against what its pump needs: what is missing, what is beyond it, what nobody looked at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bom.demand.kit_cover import inside_one, inside_one_opened
from bom.demand.positions import Position, positions_of
from bom.demand.requirements import Demand, gather_demand
from bom.plan import Plan
from bom.structure.arrays import Structure
from bom.values import ASKING_STAGES, ONE, Issue, Shop

Quantities = dict[str, int]
"""Millionths by part number."""

Contents = tuple[tuple[str, int], ...]
"""What is recorded of one kit: part numbers and millionths."""

_DONE = ("built", "tested", "shipped")
_NEVER_NEEDED = {"cancelled": ("issued", "bagged", "reserved"), **dict.fromkeys(_DONE, ("reserved",))}
"""What a job holds that it cannot need at its stage; a job that is held may go on."""


@dataclass(frozen=True, slots=True)
class InBag:
    """Millionths of a part that a job was given. ``contents`` is what one kit of them really holds, where it is known.

    Without contents a kit holds what its list says.
    """

    part_number: str
    quantity: int
    contents: Contents | None = None


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


def check_bags(structure: Structure, shop: Shop, given: Mapping[str, Sequence[InBag]]) -> dict[str, BagCheck]:
    """Set what jobs were given against what their pumps need.

    Parameters
    ----------
    structure : the compiled catalog of the shop
    shop : everything that is known
    given : what lies in the bag of each job to be checked; it stands for all that the shop says was issued

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
        Issue(job, one.part_number, "", one.quantity, "issued")
        for job, bag in given.items()
        for one in bag
        if job in names and one.quantity > 0
    )
    without, with_given = gather_demand(structure, bare), gather_demand(structure, replace(bare, issues=issues))
    return {
        asker.name: _Bag(without, with_given, asker.name, given[asker.name]).check()
        for asker in with_given.askers
        if asker.job
    }


def held_beyond_need(
    plan: Plan, recorded: Mapping[tuple[str, str], Contents], jobs: Collection[str] | None = None
) -> tuple[Beyond, ...]:
    """What jobs hold that they do not need as they are planned: given to them, in their bags or set aside for them.

    A job that was given up holds all of it beyond its need, one that is built or left the shop what is set aside.
    ``recorded`` is what kits really hold, by part number and lot.

    Parameters
    ----------
    plan : the finished plan
    recorded : what kits really hold, by part number and lot
    jobs : numbers of the jobs to look at; all of them where it is None
    """
    structure, shop = plan.demand.structure, plan.shop
    stages = {job.job: job.stage for job in shop.jobs if jobs is None or job.job in jobs}
    given = [issue for issue in shop.issues if issue.job in stages]
    held: dict[str, dict[tuple[str, str], int]] = defaultdict(lambda: defaultdict(int))
    bagged: dict[tuple[str, str], int] = defaultdict(int)
    for issue in given:
        sign = {"issued": 1, "bagged": 1, "returned": -1}.get(issue.state, 0)
        held[issue.job][issue.part_number, issue.lot] += sign * issue.quantity
        bagged[issue.job, issue.part_number] += issue.quantity if issue.state == "bagged" else 0
    bags = {
        job: [InBag(part, count, recorded.get((part, lot))) for (part, lot), count in lots.items() if count > 0]
        for job, lots in held.items()
    }
    found = check_bags(structure, shop, bags)
    rows = [
        Beyond(issue.job, issue.part_number, issue.state, issue.quantity, issue.lot, issue.place)
        for issue in given
        if issue.state in _NEVER_NEEDED.get(stages[issue.job], ())
    ]
    for job, check in found.items():
        for part, quantity in check.beyond.items():
            # What still lies in the storeroom is the easier to put back.
            in_bag = min(quantity, bagged[job, part])
            split = (("bagged", in_bag), ("issued", quantity - in_bag))
            rows += [Beyond(job, part, state, count) for state, count in split if count]
    rows += _set_aside(plan, found)
    return tuple(sorted(rows, key=lambda row: (row.job, row.part_number, row.state, row.lot, row.place)))


def _set_aside(plan: Plan, found: Mapping[str, BagCheck]) -> Iterator[Beyond]:
    """What the plan left undrawn of what is reserved for a job, less what its unseen positions may take."""
    structure = plan.demand.structure
    for (number, item), asides in plan.supplies.set_aside.items():
        job, part = plan.demand.askers[number].name, structure.items[item].part_number
        if job not in found:
            continue
        may_take = _open_quantity(structure, found[job].unseen).get(item, 0)
        for aside in (one for one in asides if one.lot_place >= 0):
            kept = min(aside.left, may_take)
            may_take -= kept
            if aside.left > kept:
                lot = plan.shop.lots[aside.lot_place]
                yield Beyond(job, part, "reserved", aside.left - kept, lot.lot, lot.place)


class _Bag:
    """One job, with and without what it was given."""

    def __init__(self, without: Demand, with_given: Demand, job: str, given: Sequence[InBag]) -> None:
        self.structure, self.without, self.with_given = with_given.structure, without, with_given
        self.before, self.after = _number(without, job), _number(with_given, job)
        self.unseen = _unseen(with_given, self.after, job)
        self.kits: dict[int, int] = defaultdict(int)
        self.loose: dict[int, int] = defaultdict(int)
        self.left: dict[int, int] = defaultdict(int)
        self.lacking: dict[int, int] = defaultdict(int)
        for one in given:
            self._put_in(self.structure.index[one.part_number], one)
        before, after = _pieces(without, self.before), _pieces(with_given, self.after)
        for item in before:
            self.left[item] -= before[item] - after.get(item, 0)

    def _put_in(self, item: int, one: InBag) -> None:
        """Kits count as opened, with what they really hold; ``lacking`` is what they are without of their list."""
        if not self.structure.is_kit[item]:
            self.loose[item] += one.quantity
            self.left[item] += one.quantity
            return
        kits = one.quantity // ONE
        self.kits[item] += kits
        for part, each in self._inside(item).items():
            self.left[part] += kits * each
        if one.contents is not None:
            held = {self.structure.index[part]: each for part, each in one.contents if part in self.structure.index}
            for part, each in self._listed(item).items():
                if each > held.get(part, 0):
                    self.lacking[part] += kits * (each - held.get(part, 0))

    def check(self) -> BagCheck:
        """What is missing and what is beyond the need."""
        return BagCheck(self._by_number(self._missing()), self._by_number(self._beyond()), self.unseen)

    def _by_number(self, found: Mapping[int, int]) -> Quantities:
        ranked = sorted(found, key=lambda item: int(self.structure.name_rank[item]))
        return {self.structure.items[item].part_number: found[item] for item in ranked if found[item] > 0}

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
        for part, quantity in self.lacking.items():
            found[part] = found.get(part, 0) + max(0, quantity - self.left[part])
        return found

    def _beyond(self) -> dict[int, int]:
        """What is left of the given pieces once the sure needs, kits that lack a piece and open positions are served.

        A kit is beyond the need where the job asks for no such kit and none of its pieces serves.
        """
        may_take = _open_quantity(self.structure, self.unseen)
        left = {
            item: max(0, quantity - self.lacking[item] - may_take.get(item, 0)) for item, quantity in self.left.items()
        }
        beyond: dict[int, int] = {}
        rows = _covered(self.without, self.before)
        for kit in sorted(self.kits, key=lambda item: int(self.structure.name_rank[item])):
            inside = self._inside(kit)
            asked_for = sum(count for (one, _), (count, _) in rows.items() if one == kit)
            idle = min((left[part] // each for part, each in inside.items()), default=0)
            idle = min(idle, self.kits[kit] - asked_for)
            if idle > 0:
                beyond[kit] = idle * ONE
                for part, each in inside.items():
                    left[part] -= idle * each
        # What a kit leaves over may serve in the place of a loose piece; that the loose piece was asked for stays true.
        asked = _asked(self.without, self.before)
        return beyond | {item: min(left[item], quantity - asked.get(item, 0)) for item, quantity in self.loose.items()}

    def _inside(self, kit: int) -> dict[int, int]:
        """What lies in one kit, kits inside it opened, by its list."""
        return inside_one_opened(self.structure, self.with_given.conditions, kit, self.after)

    def _listed(self, kit: int) -> dict[int, int]:
        """What one kit holds by its list, kits inside it closed."""
        return inside_one(self.structure, self.with_given.conditions, kit, self.after)


def _number(demand: Demand, job: str) -> int:
    """The recipe of a job."""
    return next(asker.recipe for asker in demand.askers if asker.name == job and asker.job)


def _unseen(demand: Demand, number: int, job: str) -> tuple[Position, ...]:
    report = demand.reports.get(job)
    if report is not None:
        return report.open
    recipe = demand.explosion.recipes[number]
    covered = demand.explosion.covered_in(number)
    return tuple(positions_of(demand.structure, demand.conditions, number, recipe, covered))


def _open_quantity(structure: Structure, positions: tuple[Position, ...]) -> dict[int, int]:
    found: dict[int, int] = defaultdict(int)
    for position in positions:
        found[int(structure.child[position.line])] += position.quantity
    return dict(found)


def _asked(demand: Demand, number: int) -> dict[int, int]:
    """What a recipe asks for, loose and as kits."""
    mine = demand.requirements.loose.take(demand.requirements.loose.recipe == number)
    return dict(zip(mine.item.tolist(), mine.quantity.tolist(), strict=True))


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

"""How sure were we: the wear that was to be expected of jobs before they were opened, set against what was found.

What is expected of a job is what the plan would say of it had nobody looked: with the lists, and the rates learned from
other jobs. A cover is worked out by the rule of the plan (`bom.wear.planned`), over the jobs of one list.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bom.demand.requirements import gather_demand
from bom.plan import Plan
from bom.structure.tables import Floats
from bom.values import ONE
from bom.wear.planned import after_spares

TINY = 1e-12
"""Two chances that differ by less are the same."""


@dataclass(frozen=True, slots=True)
class WearBefore:
    """What may be found worn of one part in one job: ``events`` are count, chance and weight in pieces of each kind.

    ``how_sure_percent`` is how sure the shop wants to be of the part, ``spares`` the pieces that the job's kits bring.
    """

    part_number: str
    how_sure_percent: float
    spares: int
    events: tuple[tuple[int, float, int], ...]

    @property
    def positions(self) -> int:
        """How many pieces are looked at."""
        return sum(count * weight for count, _, weight in self.events)


@dataclass(frozen=True, slots=True)
class CoverList:
    """One list: the pieces that cover a part's wear in some jobs, and what was found of them beyond their spares.

    ``chance`` is how sure the list was to be enough: at least as sure as the shop wants to be, as a rule more, because
    pieces are whole.
    """

    positions: int
    expected: float
    planned: int
    chance: float
    found: int

    @property
    def enough(self) -> bool:
        """Whether it was."""
        return self.found <= self.planned


def expected_wear(plan: Plan, jobs: Collection[str]) -> dict[str, tuple[WearBefore, ...]]:
    """Work out what may be found worn in jobs, as if nobody had looked at them yet; only parts counted in pieces.

    Parameters
    ----------
    plan : a plan in which the jobs still ask for parts
    jobs : their names
    """
    shop, structure, wanted = plan.shop, plan.demand.structure, frozenset(jobs)
    reported = {verdict.job for verdict in shop.verdicts}
    unseen = replace(
        shop,
        jobs=tuple(job for job in shop.jobs if job.job in wanted or job.job in reported),
        needs=(),
        issues=(),
        verdicts=tuple(verdict for verdict in shop.verdicts if verdict.job not in wanted),
        findings=tuple(finding for finding in shop.findings if finding.job not in wanted),
    )
    demand = gather_demand(structure, unseen)
    found: dict[str, list[WearBefore]] = {job: [] for job in wanted}
    for item, of_jobs in demand.wear.items():
        if not structure.countable[item]:
            continue
        held = structure.items[item]
        for one in of_jobs:
            name = demand.askers[one.job].name
            if name in wanted:
                events = tuple((chance.count, float(chance.p), chance.weight) for chance in one.chances)
                found[name].append(WearBefore(held.part_number, float(held.how_sure_percent), one.spares, events))
    return {job: tuple(sorted(rows, key=lambda row: row.part_number)) for job, rows in found.items()}


def found_worn(plan: Plan, jobs: Collection[str]) -> dict[str, Mapping[str, int]]:
    """How many pieces of each part the strip reports of jobs renewed; jobs with positions not looked at are left out.

    Parameters
    ----------
    plan : the finished plan
    jobs : names of jobs
    """
    shop, structure, wanted = plan.shop, plan.demand.structure, frozenset(jobs)
    opened = replace(
        shop,
        jobs=tuple(replace(job, stage="stripped") for job in shop.jobs if job.job in wanted),
        needs=(),
        issues=(),
        verdicts=tuple(verdict for verdict in shop.verdicts if verdict.job in wanted),
        findings=tuple(finding for finding in shop.findings if finding.job in wanted),
    )
    found: dict[str, Mapping[str, int]] = {}
    for job, report in gather_demand(structure, opened).reports.items():
        if not report.open:
            pieces: Counter[str] = Counter()
            for position in report.sure:
                pieces[structure.lines[position.line].child] += position.quantity // ONE
            found[job] = pieces
    return found


def wear_list(rows: Sequence[tuple[WearBefore, int]]) -> CoverList:
    """Set the cover of one part over some jobs against what was found in them.

    Parameters
    ----------
    rows : what was expected of each job, and the pieces that were renewed in it

    Examples
    --------
    >>> four_balls = WearBefore("BALL", 90, 0, ((4, 0.35, 1),))
    >>> one = wear_list([(four_balls, 2)])
    >>> one.positions, one.expected, one.planned, round(one.chance, 4), one.found
    (4, 1.4, 3, 0.985, 2)
    """
    chances: Floats = np.ones(1)
    for expected, _ in rows:
        chances = np.convolve(chances, after_spares(expected.spares, expected.events))
    enough = np.minimum(np.cumsum(chances), 1.0)
    wanted = max(expected.how_sure_percent for expected, _ in rows) / 100
    planned = int(np.argmax(enough >= wanted - TINY))
    return CoverList(
        positions=sum(expected.positions for expected, _ in rows),
        expected=round(float(sum(c * p * w for one, _ in rows for c, p, w in one.events)), 9),
        planned=planned,
        chance=float(enough[planned]),
        found=sum(max(0, found - expected.spares) for expected, found in rows),
    )


def spread(lists: Iterable[CoverList]) -> tuple[float, float]:
    """How many lists were to be enough by what was said, and the standard deviation of that number.

    The lists are taken as independent: each is enough with its own chance, so that the number of those that are is a
    sum of independent events, with the sum of chance times (1 - chance) as its variance.

    Parameters
    ----------
    lists : the lists
    """
    chances = [one.chance for one in lists]
    return sum(chances), sum(chance * (1 - chance) for chance in chances) ** 0.5

"""What strip reports say: verdicts become sure needs, and teach how often each inspected line is renewed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from bom.demand.positions import Position, fold_where
from bom.structure.arrays import Structure
from bom.values import Verdict

NEW_PIECE = ("renew", "missing")
"""Verdicts that make a position sure, and its group with it."""
ENTERED_RATE_COUNTS_AS = 10
PUMPS_BEFORE_LEARNING = 5


@dataclass(frozen=True, slots=True)
class Report:
    """The positions of one job after its verdicts.

    ``sure`` are renewed, ``open`` have no verdict yet. ``seen`` are line and pump of every verdict, ``inspected`` and
    ``found`` the lines of what was looked at and of what was found worn, one entry a position. ``unplaced`` are
    verdicts on places that the job does not have. Of the ``sure`` ones ``because`` are renewed by a finding that was
    named, ``along`` because they stand or fall together with one of those; each with the name of the finding. Others
    are renewed ``with_group``: only because another position of their group is, whatever they were found to be.
    """

    sure: tuple[Position, ...]
    open: tuple[Position, ...]
    seen: tuple[tuple[int, int], ...]
    inspected: tuple[int, ...]
    found: tuple[int, ...]
    rework: tuple[tuple[str, str], ...] = ()
    plan_again: tuple[tuple[str, str], ...] = ()
    unplaced: tuple[Verdict, ...] = ()
    because: tuple[tuple[Position, str], ...] = ()
    along: tuple[tuple[Position, str], ...] = ()
    with_group: tuple[Position, ...] = ()


@dataclass(frozen=True)
class LearnedRates:
    """Counts by structure line over all strip reports, and the chance that follows from them.

    ``pumps`` with a verdict on the line, positions ``inspected``, and of these ``found`` worn.
    """

    pumps: Mapping[int, int]
    inspected: Mapping[int, int]
    found: Mapping[int, int]

    @classmethod
    def of(cls, reports: Mapping[str, Report]) -> LearnedRates:
        """Count what strip reports saw.

        Parameters
        ----------
        reports : by the number of the job
        """
        pumps = dict.fromkeys((line, job, pump) for job, report in reports.items() for line, pump in report.seen)
        return cls(
            pumps=Counter(line for line, _, _ in pumps),
            inspected=Counter(line for report in reports.values() for line in report.inspected),
            found=Counter(line for report in reports.values() for line in report.found),
        )

    def learned(self) -> list[int]:
        """The lines whose chance no longer is the entered one."""
        return [line for line, pumps in self.pumps.items() if pumps >= PUMPS_BEFORE_LEARNING]

    def chance(self, structure: Structure, line: int) -> Fraction | None:
        """Chance that one position of this line is renewed; None when nothing is known.

        An entered rate counts as ten observations; below five pumps it stands as entered.

        Parameters
        ----------
        structure : the compiled catalog
        line : its number in the structure
        """
        entered = structure.lines[line].renewals_per_100
        if self.pumps.get(line, 0) < PUMPS_BEFORE_LEARNING:
            return None if entered is None else entered / 100
        inspected, found = self.inspected.get(line, 0), self.found.get(line, 0)
        if entered is None and not inspected:
            return None
        if entered is None:
            return Fraction(found, inspected)
        prior = Fraction(ENTERED_RATE_COUNTS_AS)
        return (prior * entered / 100 + found) / (prior + inspected)


def read_report(
    structure: Structure,
    positions: Sequence[Position],
    verdicts: Sequence[Verdict],
    pumps: int,
    named: Mapping[int, str] | None = None,
) -> Report:
    """Set the verdicts of one job against its positions; one renewed or missing in a group renews the group.

    A named finding is stronger than "not yet looked at": it renews positions without a verdict, and those of their
    groups without one. A verdict stands.

    Parameters
    ----------
    structure : the compiled catalog
    positions : every inspected position of the job
    verdicts : the job's verdicts, in any order
    pumps : number of pumps of the job (with one, places may leave out ``pump 1``)
    named : the positions (numbers) that a named finding renews, with its name
    """
    places = places_of(structure, positions, pumps)
    given: dict[int, Verdict] = {}
    unplaced = []
    for verdict in verdicts:
        number = places.get((fold_where(verdict.where), verdict.part_number))
        if number is None:
            unplaced.append(verdict)
        else:
            given[number] = verdict
    drags = _groups_that_renew(positions, given)
    because = {number: name for number, name in (named or {}).items() if number not in given}
    along = _groups_renewed(positions, because)
    sure, left_open, inspected, found, with_group = [], [], [], [], []
    for number, position in enumerate(positions):
        report = given.get(number)
        said = report.verdict if report else ""
        follows = position.group in drags and (report is None or report.with_group is not False)
        told = report is None and (number in because or position.group in along)
        dragged = follows and said in ("", "keep")
        went_along = said == "renew" and _went_along(number, positions, given)
        if said in NEW_PIECE or dragged or told:
            sure.append(position)
        elif report is None:
            left_open.append(position)
        if said in ("renew", "keep", "rework"):
            inspected.append(position.line)
        if said == "rework" or (said == "renew" and not went_along):
            found.append(position.line)
        if dragged or went_along:
            with_group.append(position)
    words = [((positions[number].where, verdict.part_number), verdict.verdict) for number, verdict in given.items()]
    return Report(
        tuple(sure),
        tuple(left_open),
        tuple((positions[number].line, positions[number].pump) for number in given),
        tuple(inspected),
        tuple(found),
        rework=tuple(where for where, said in words if said == "rework"),
        plan_again=tuple(where for where, said in words if said == "not_as_listed"),
        unplaced=tuple(unplaced),
        because=tuple((positions[number], name) for number, name in because.items()),
        along=tuple(
            (position, along[position.group])
            for number, position in enumerate(positions)
            if position.group in along and number not in given and number not in because
        ),
        with_group=tuple(with_group),
    )


def places_of(structure: Structure, positions: Sequence[Position], pumps: int) -> dict[tuple[str, str], int]:
    """Position numbers by folded place and part; with one pump also by the place without it.

    Parameters
    ----------
    structure : the compiled catalog
    positions : every inspected position of the job
    pumps : number of pumps of the job
    """
    places = {(fold_where(p.where), structure.lines[p.line].child): number for number, p in enumerate(positions)}
    if pumps == 1:
        for (where, part), number in tuple(places.items()):
            _, _, inside = where.partition("/")
            places.setdefault((inside, part), number)
    return places


def _groups_that_renew(
    positions: Sequence[Position], given: Mapping[int, Verdict]
) -> dict[tuple[object, ...] | None, list[int]]:
    drags: dict[tuple[object, ...] | None, list[int]] = defaultdict(list)
    for number, verdict in given.items():
        group = positions[number].group
        if group is not None and verdict.verdict in NEW_PIECE and verdict.with_group is not False:
            drags[group].append(number)
    return dict(drags)


def _groups_renewed(positions: Sequence[Position], because: Mapping[int, str]) -> dict[tuple[object, ...] | None, str]:
    """The groups in which a named finding renews a position, with its name."""
    return {
        positions[number].group: name
        for number, name in reversed(list(because.items()))
        if positions[number].group is not None
    }


def _went_along(number: int, positions: Sequence[Position], given: Mapping[int, Verdict]) -> bool:
    """Whether a renewal was not found worn but went along with another one of its group."""
    verdict, group = given[number], positions[number].group
    if verdict.with_group is not True or verdict.found.strip() or group is None:
        return False
    return any(
        other != number and positions[other].group == group and report.verdict in NEW_PIECE
        for other, report in given.items()
    )

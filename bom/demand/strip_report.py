"""What strip reports say: verdicts become sure needs, and teach how often each inspected line is renewed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from bom.demand.positions import Position, fold_where
from bom.structure.arrays import Structure
from bom.values import Verdict

NEW_PIECE = ("renew", "missing")
"""Verdicts that make a position sure, and its group with it."""
LOOKED_AT = ("renew", "keep", "rework")
"""Verdicts by which a position counts as inspected."""
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
    given, unplaced = _placed(structure, positions, verdicts, pumps)
    numbers = range(len(positions))
    said = {number: verdict.verdict for number, verdict in given.items()}
    because = {number: name for number, name in (named or {}).items() if number not in given}
    renewed = _groups_renewed(positions, because)
    along = {n: renewed[positions[n].group] for n in numbers if n not in given and positions[n].group in renewed}
    dragged = _dragged(positions, given)
    went_along = {n for n, word in said.items() if word == "renew" and _went_along(n, positions, given)}
    sure = {n for n, word in said.items() if word in NEW_PIECE} | dragged | because.keys() | along.keys()
    inspected = [n for n in numbers if said.get(n) in LOOKED_AT]
    return Report(
        sure=tuple(positions[n] for n in numbers if n in sure),
        open=tuple(positions[n] for n in numbers if n not in sure and n not in said),
        seen=tuple((positions[n].line, positions[n].pump) for n in given),
        inspected=tuple(positions[n].line for n in inspected),
        found=tuple(positions[n].line for n in inspected if said[n] != "keep" and n not in went_along),
        rework=_places_said(positions, given, "rework"),
        plan_again=_places_said(positions, given, "not_as_listed"),
        unplaced=unplaced,
        because=tuple((positions[n], name) for n, name in because.items()),
        along=tuple((positions[n], name) for n, name in along.items() if n not in because),
        with_group=tuple(positions[n] for n in numbers if n in dragged or n in went_along),
    )


def _placed(
    structure: Structure, positions: Sequence[Position], verdicts: Sequence[Verdict], pumps: int
) -> tuple[dict[int, Verdict], tuple[Verdict, ...]]:
    """The verdict of each position, the last one of several, and those on places that the job does not have."""
    places = places_of(structure, positions, pumps)
    given: dict[int, Verdict] = {}
    unplaced = []
    for verdict in verdicts:
        number = places.get((fold_where(verdict.where), verdict.part_number))
        if number is None:
            unplaced.append(verdict)
        else:
            given[number] = verdict
    return given, tuple(unplaced)


def _dragged(positions: Sequence[Position], given: Mapping[int, Verdict]) -> set[int]:
    """Positions that are renewed only because another one of their group is."""
    groups = _groups_that_renew(positions, given)
    return {
        number
        for number, position in enumerate(positions)
        if position.group in groups
        and ((report := given.get(number)) is None or (report.verdict == "keep" and report.with_group is not False))
    }


def _places_said(positions: Sequence[Position], given: Mapping[int, Verdict], word: str) -> tuple[tuple[str, str], ...]:
    """Place and part of the positions with one verdict."""
    return tuple((positions[n].where, report.part_number) for n, report in given.items() if report.verdict == word)


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


def _groups_that_renew(positions: Sequence[Position], given: Mapping[int, Verdict]) -> set[tuple[object, ...] | None]:
    """The groups in which a verdict renews a position, and with it the others."""
    return {
        group
        for number, report in given.items()
        if (group := positions[number].group) is not None
        and report.verdict in NEW_PIECE
        and report.with_group is not False
    }


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

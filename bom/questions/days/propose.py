"""Propose build days: most jobs on time by weight, then the fewest days late, then the fewest jobs moved.

An integer program (HiGHS through ``scipy.optimize.milp``). For each job and each build day it may have, a variable says
whether it is built *by* then, so that a limit on parts, or on the pumps of a day, is a sum over few of them. It is
solved twice: for the greatest weight on time, then, with that held, for the fewest weighted days late. Parts are
limited as `parts_in_time` says. What it finds is planned like any other schedule, and proposed only if the plan says
that it does better than the days typed.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from bom.plan import Plan, plan
from bom.questions.days.outcome import Days, DaysOutcome, outcome
from bom.questions.days.parts_in_time import PartsInTime, PartsLimit, parts_in_time
from bom.questions.integer_program import IntegerProgram, Solution, Terms, unit_of
from bom.questions.what_if import changed
from bom.structure.arrays import as_date

EARLIER_AT_MOST = 10
"""No job is proposed more than so many working days before its day."""
LATER_THAN_PARTS = 10
"""So many working days after its parts are here, and after its turn in order, each job may wait for a free bench."""
FAR = 500
"""So many working days after its parts are here, no day is looked for any more."""
HALF = 0.5
SLACK = 1e-6


@dataclass(frozen=True, slots=True)
class Move:
    """A job on another day: its day as typed, the one proposed, and what comes of both.

    ``built_on`` is when it can be built as typed, None when unknown; days late are working days.
    """

    job: str
    weight: int
    build_on: date
    proposed_on: date
    built_on: date | None
    days_late: int
    proposed_days_late: int


@dataclass(frozen=True, slots=True)
class DayProposal:
    """What is proposed, beside what comes of the days typed.

    Attributes
    ----------
    moves : the jobs to be moved, by proposed day; none when nothing better was found
    typed : what comes of the days typed
    proposed : what comes of the days proposed; the same where nothing is
    bound : no choice of days on which every job has its parts has a greater weight on time, as far as it is known
    proved_least_late : with this weight on time, no such choice has fewer weighted days late
    no_better : days were found, planned, and came out no better than those typed
    left : jobs that keep their day, with the reason
    """

    moves: tuple[Move, ...]
    typed: DaysOutcome
    proposed: DaysOutcome
    bound: int
    proved_least_late: bool
    no_better: bool
    left: tuple[tuple[str, str], ...]

    @property
    def gap(self) -> int:
        """By how much the weight on time of a better choice could be greater, at most."""
        return self.bound - self.proposed.weight_on_time

    @property
    def says(self) -> str:
        """The verdict in words; it is about days on which every job has its parts.

        >>> DayProposal((), DaysOutcome({}), DaysOutcome({}), 4, False, False, ()).says
        'not proved best: a better choice could have up to 4 more on time, by weight'
        """
        if self.gap > 0:
            return f"not proved best: a better choice could have up to {self.gap} more on time, by weight"
        if not self.proved_least_late:
            return "proved best for jobs on time; a better choice could have fewer days late"
        return "proved best"


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A job that may be moved: its days by number, in order; the last is "later than all others".

    ``in_turn`` is the day that it would have if all chose in the order of the schedule, None when there is none.
    """

    asker: int
    pumps: int
    weight: int
    promised: int
    typed: int
    days: tuple[int, ...]
    in_turn: int | None

    def late(self, place: int) -> int:
        """Working days late on the day of a place."""
        return max(0, self.days[place] - self.promised)

    def places_by(self, day: int) -> int:
        """How many of its days lie on or before a day."""
        return bisect_right(self.days, day)


def _ignore(says: str) -> None:
    """Tell nobody."""


def propose_days(
    before: Plan,
    weights: Mapping[str, int],
    *,
    pumps_a_day: int | None = None,
    promised: Mapping[str, date] | None = None,
    time_limit: float = 10.0,
    tell: Callable[[str], object] = _ignore,
) -> DayProposal:
    """Propose build days for the jobs of a plan; never such as do worse than those typed.

    A pump that is being built keeps its day, and so does a job that lacks something of which nobody knows when it
    comes. No pump is built before its strip day, none that is still expected before the day typed, and nothing that
    is moved before parts picked today can be at the bench.

    Parameters
    ----------
    before : the plan of the days typed
    weights : whole weight of each job, 1 or more, by name
    pumps_a_day : how many pumps can be built in a day, None when nothing limits it
    promised : the promised day of jobs, by name; without one, the day typed is promised
    time_limit : seconds for the solver, all in all
    tell : hears in words what is done now
    """
    tell("Counting what the shelf and the orders give to whom")
    promises = {asker.name: as_date(asker.build_day) for asker in before.demand.askers if asker.job}
    promises |= {name: on for name, on in (promised or {}).items() if name in promises}
    typed = outcome(before, promises, weights, pumps_a_day)
    board = _Board(before, promises, weights, pumps_a_day, typed)
    tell(f"Choosing days, {time_limit:.0f} seconds at most")
    answer = board.solve(time_limit)
    best, moves, tried = typed, dict[str, date](), 0
    for tried, asked in enumerate(filter(None, map(board.named, answer.choices)), start=1):
        tell(f"Planning the shop with the days found, choice {tried}")
        found = outcome(plan(changed(before.shop, move=asked), before.demand.structure), promises, weights, pumps_a_day)
        if found.rank > best.rank:
            best, moves = found, asked
            break
    kept = sum(job.weight for name, job in best.jobs.items() if name not in board.movable and not job.days_late)
    bound = max(answer.bound + kept, best.weight_on_time)
    rows = [_move(name, on, weights, before, typed, best) for name, on in moves.items()]
    return DayProposal(
        moves=tuple(sorted(rows, key=lambda move: (move.proposed_on, move.job))),
        typed=typed,
        proposed=best,
        bound=bound,
        proved_least_late=answer.proved_for(best.weighted_days_late - board.late_for_certain(best)),
        no_better=bool(tried) and not moves,
        left=tuple(sorted(board.left.items())),
    )


def _move(name: str, on: date, weights: Mapping[str, int], before: Plan, typed: DaysOutcome, best: DaysOutcome) -> Move:
    return Move(
        job=name,
        weight=weights[name],
        build_on=next(as_date(asker.build_day) for asker in before.demand.askers if asker.name == name),
        proposed_on=on,
        built_on=typed.jobs[name].built_on,
        days_late=typed.jobs[name].days_late,
        proposed_days_late=best.jobs[name].days_late,
    )


@dataclass(frozen=True, slots=True)
class _Answer:
    """Choices of days, the best one first, by asker number; only the days of jobs that are moved.

    ``bound`` is that of the weight on time, ``least_late`` that of the weighted days late; None when it is not known.
    """

    choices: tuple[Mapping[int, int], ...]
    bound: int
    least_late: int | None

    def proved_for(self, weighted_days_late: int) -> bool:
        """Whether no choice with this weight on time is less late."""
        return self.least_late is not None and weighted_days_late <= self.least_late


class _Board:
    """The jobs that may be moved, the days that they may have, and the limits on both."""

    def __init__(
        self,
        before: Plan,
        promises: Mapping[str, date],
        weights: Mapping[str, int],
        pumps_a_day: int | None,
        typed: DaysOutcome,
    ) -> None:
        self.days, self.pumps_a_day = Days(before), pumps_a_day
        self.staging = before.shop.staging_days
        askers = before.demand.askers
        self.names = {number: asker.name for number, asker in enumerate(askers) if asker.job}
        self.left: dict[str, str] = {}
        moved = set(self.names)
        for number, asker in enumerate(askers):
            if asker.job and asker.job.stage == "building":
                moved.remove(number)
                self.left[asker.name] = "being built"
            elif asker.job and typed.jobs[asker.name].built_on is None:
                moved.remove(number)
                self.left[asker.name] = "nobody knows when its parts come"
        parts = parts_in_time(before, moved)
        self.movable = frozenset(self.names[number] for number in moved)
        self.candidates: dict[int, _Candidate] = {}
        self.load = _Load(parts.limits, pumps_a_day)
        for number, asker in enumerate(askers):
            if asker.job and number not in moved:
                built_on = typed.jobs[asker.name].built_on or asker.job.build_on
                self.load.keep(max(0, self.days.number(built_on)), asker.job.quantity)
        for number in sorted(moved, key=lambda one: (askers[one].build_day, askers[one].priority, askers[one].name)):
            self._add(before, parts, number, promises, weights)

    def _add(
        self,
        before: Plan,
        parts: PartsInTime,
        number: int,
        promises: Mapping[str, date],
        weights: Mapping[str, int],
    ) -> None:
        asker = before.demand.askers[number]
        job = asker.job
        if job is None:
            return
        day = self.days.number
        typed = max(0, day(job.build_on))
        promised = day(promises[asker.name])
        first = max(typed - EARLIER_AT_MOST, self.staging)
        if job.stage == "expected" and job.strip_on is None:
            first = max(first, typed)
        if job.stage in ("expected", "here") and job.strip_on is not None:
            first = max(first, day(job.strip_on))
        first = min(first, typed)
        last = max(typed, parts.served_by.get(number, 0))
        pumps = min(job.quantity, self.pumps_a_day or job.quantity)
        in_turn = self.load.first_fit(number, pumps, max(typed, first), last + FAR)
        if self.pumps_a_day:
            last = max(last, in_turn or 0) + LATER_THAN_PARTS
            wanted = set(range(first, last + 1))
        else:
            wanted = {typed, promised, *(day for turn in self.load.turns(number) for day in turn)}
        real = sorted({typed, *(one for one in wanted if first <= one <= max(last, in_turn or 0))})
        self.candidates[number] = _Candidate(
            number, pumps, weights[asker.name], promised, typed, (*real, real[-1] + 1), in_turn
        )
        if in_turn is not None:
            self.load.put(number, pumps, in_turn)

    def named(self, choice: Mapping[int, int]) -> dict[str, date]:
        """The same by the names of jobs, with days of the calendar."""
        return {self.names[asker]: self.days.day(day) for asker, day in choice.items()}

    def late_for_certain(self, found: DaysOutcome) -> int:
        """Weighted days late of the jobs that are not moved."""
        return sum(job.weight * job.days_late for name, job in found.jobs.items() if name not in self.movable)

    def solve(self, time_limit: float) -> _Answer:
        """Choose the days."""
        if not self.candidates:
            return _Answer((), 0, 0)
        in_turn = {one.asker: one.in_turn for one in self.candidates.values() if one.in_turn is not None}
        choices = [self._completed(in_turn)]
        candidates = list(self.candidates.values())
        bound = sum(one.weight for one in candidates if one.days[0] <= one.promised)
        program = _Program(candidates, self.load)
        generous = program if program.is_exact else _Program(candidates, self.load, generous=True)
        least_late = None
        each = time_limit / (2 if program.is_exact else 4)
        first = program.most_on_time(each)
        most = first if program.is_exact else generous.most_on_time(each)
        if math.isfinite(most.bound):
            bound = min(bound, math.floor(most.bound + SLACK))
        if first.values is not None:
            on_time = program.weight_on_time(first.values)
            second = program.least_late(on_time, each)
            found = (answer.values for answer in (first, second) if answer.values is not None)
            choices += [self._completed(program.read(values)) for values in found]
            least = second if program.is_exact else generous.least_late(on_time, each)
            if least.proved and least.values is not None and on_time >= bound:
                least_late = generous.weighted_days_late(least.values)
        choices.sort(key=self._rank)
        return _Answer(tuple(self._moves(choice) for choice in choices), bound, least_late)

    def _rank(self, choice: Mapping[int, int]) -> tuple[int, int]:
        """The order of choices from good to bad."""
        late = {asker: day - self.candidates[asker].promised for asker, day in choice.items()}
        on_time = sum(self.candidates[asker].weight for asker, days in late.items() if days <= 0)
        return -on_time, sum(self.candidates[asker].weight * max(0, days) for asker, days in late.items())

    def _moves(self, choice: Mapping[int, int]) -> dict[int, int]:
        return {asker: day for asker, day in choice.items() if day != self.candidates[asker].typed}

    def _completed(self, choice: Mapping[int, int]) -> dict[int, int]:
        """The same, who has no day on the first one that is free, and each as near to the day typed as it can be."""
        self.load.clear()
        found = dict(choice)
        for asker, day in choice.items():
            self.load.put(asker, self.candidates[asker].pumps, day)
        left = (one for one in self.candidates.values() if one.asker not in found)
        for one in sorted(left, key=lambda one: (-one.weight, one.promised, one.asker)):
            free = self.load.first_fit(one.asker, one.pumps, one.days[0], one.days[-1] + FAR)
            if free is not None:
                found[one.asker] = free
                self.load.put(one.asker, one.pumps, free)
        for asker, day in found.items():
            found[asker] = self._nearest(self.candidates[asker], day)
        return found

    def _nearest(self, one: _Candidate, day: int) -> int:
        """Put a job from its day on the nearest to the day typed on which it is no later, and return that."""
        if day == one.typed:
            return day
        self.load.put(one.asker, one.pumps, day, back=True)
        nearer = (other for other in one.days[:-1] if abs(other - one.typed) < abs(day - one.typed))
        late = max(0, day - one.promised)
        fits = (
            other
            for other in sorted(nearer, key=lambda other: abs(other - one.typed))
            if other - one.promised <= late and self.load.fits(one.asker, one.pumps, other)
        )
        nearest = next(fits, day)
        self.load.put(one.asker, one.pumps, nearest)
        return nearest


class _Load:
    """What jobs take of each limit, and of the pumps of each day, as they are put on days."""

    def __init__(self, limits: Sequence[PartsLimit], pumps_a_day: int | None) -> None:
        self.limits, self.pumps_a_day = limits, pumps_a_day
        self.of: dict[int, list[tuple[int, int, int, int]]] = defaultdict(list)
        for place, limit in enumerate(limits):
            for asker, quantity, until in limit.takes:
                self.of[asker].append((place, quantity, limit.first, until))
        self.kept: dict[int, int] = defaultdict(int)
        self.clear()

    def clear(self) -> None:
        """Take everything off again that was put on a day."""
        self.taken = [0] * len(self.limits)
        self.built = defaultdict(int, self.kept)

    def keep(self, day: int, pumps: int) -> None:
        """Pumps that are built on a day whatever is chosen."""
        self.kept[day] += pumps
        self.built[day] += pumps

    def turns(self, asker: int) -> Iterable[tuple[int, int, int]]:
        """The days at which a limit begins or ends for a job."""
        return ((first - 1, first, until + 1) for _, _, first, until in self.of[asker])

    def fits(self, asker: int, pumps: int, day: int) -> bool:
        """Whether a job can be put on a day."""
        if self.pumps_a_day and self.built[day] and self.built[day] + pumps > self.pumps_a_day:
            return False
        taken: dict[int, int] = defaultdict(int)
        for place, quantity, first, until in self.of[asker]:
            if first <= day <= until:
                taken[place] += quantity
        return all(self.taken[place] + more <= self.limits[place].held for place, more in taken.items())

    def first_fit(self, asker: int, pumps: int, start: int, stop: int) -> int | None:
        """The first day from ``start`` to ``stop`` on which a job can be put."""
        return next((day for day in range(start, stop + 1) if self.fits(asker, pumps, day)), None)

    def put(self, asker: int, pumps: int, day: int, *, back: bool = False) -> None:
        """Put a job on a day, or take it off."""
        sign = -1 if back else 1
        self.built[day] += sign * pumps
        for place, quantity, first, until in self.of[asker]:
            if first <= day <= until:
                self.taken[place] += sign * quantity


class _Program:
    """The integer program: for each job and place in its days, whether it is built by then.

    Where quantities are too unlike for the solver (``is_exact`` is False) it is strict, and what it finds holds; a
    ``generous`` one finds a bound that holds.
    """

    def __init__(self, candidates: Sequence[_Candidate], load: _Load, *, generous: bool = False) -> None:
        self.candidates, self.is_exact = candidates, True
        self.program = IntegerProgram()
        self.by = {one.asker: [self.program.variable(1) for _ in one.days[:-1]] for one in candidates}
        self.of = {one.asker: one for one in candidates}
        for variables in self.by.values():
            for sooner, later in itertools.pairwise(variables):
                self.program.at_least([(later, 1), (sooner, -1)], 0)
        for limit in load.limits:
            unit = unit_of([quantity for _, quantity, _ in limit.takes], [limit.held], generous)
            self.is_exact &= unit.is_exact
            terms = [
                term
                for asker, quantity, until in limit.takes
                for term in self._between(asker, limit.first, until, unit.asked(quantity))
            ]
            self.program.at_most(terms, unit.held(limit.held))
        if load.pumps_a_day:
            self._limit_days(load.pumps_a_day, load.kept)

    def _limit_days(self, pumps_a_day: int, kept: Mapping[int, int]) -> None:
        on_day: dict[int, list[tuple[int, float]]] = defaultdict(list)
        most: dict[int, int] = defaultdict(int)
        for one in self.candidates:
            for day in one.days[:-1]:
                on_day[day] += self._between(one.asker, day, day, one.pumps)
                most[day] += one.pumps
        for day, terms in on_day.items():
            free = max(0, pumps_a_day - kept.get(day, 0))
            if most[day] > free:
                self.program.at_most(terms, free)

    def _between(self, asker: int, first: int, until: int, each: int) -> list[tuple[int, float]]:
        """Terms for ``each`` if a job is built on a day from ``first`` to ``until``; "later than all" is none."""
        variables, one = self.by[asker], self.of[asker]
        last, before = (min(one.places_by(day), len(variables)) for day in (until, first - 1))
        if last <= before:
            return []
        terms: list[tuple[int, float]] = [(variables[last - 1], each)]
        return terms if not before else [*terms, (variables[before - 1], -each)]

    def _on_time(self) -> Terms:
        for one in self.candidates:
            place = min(one.places_by(one.promised), len(self.by[one.asker]))
            if place:
                yield self.by[one.asker][place - 1], one.weight

    def most_on_time(self, time_limit: float) -> Solution:
        """The greatest weight on time."""
        self.program.gain_by(self._on_time())
        return self.program.solve(time_limit)

    def weight_on_time(self, values: NDArray[np.float64]) -> int:
        """What the jobs on time weigh."""
        return round(float(sum(values[variable] * weight for variable, weight in self._on_time())))

    def least_late(self, on_time: int, time_limit: float) -> Solution:
        """With this weight on time, the fewest weighted days late, then the fewest moves."""
        self.program.at_least(self._on_time(), on_time)
        one_day = len(self.candidates) + 1
        gains: list[tuple[int, float]] = []
        for one in self.candidates:
            costs = [one.weight * one.late(place) * one_day + (day != one.typed) for place, day in enumerate(one.days)]
            gains += [
                (variable, later - cost)
                for variable, cost, later in zip(self.by[one.asker], costs, costs[1:], strict=False)
            ]
        self.program.gain_by(gains)
        return self.program.solve(time_limit)

    def read(self, values: NDArray[np.float64]) -> dict[int, int]:
        """The day of each job that has one."""
        found = {}
        for one in self.candidates:
            place = next((n for n, variable in enumerate(self.by[one.asker]) if values[variable] > HALF), None)
            if place is not None:
                found[one.asker] = one.days[place]
        return found

    def weighted_days_late(self, values: NDArray[np.float64]) -> int:
        """Weighted days late; a job without a day counts as late as the day after its last one."""
        chosen = self.read(values)
        return sum(one.weight * max(0, chosen.get(one.asker, one.days[-1]) - one.promised) for one in self.candidates)

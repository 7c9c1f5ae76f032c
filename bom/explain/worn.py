"""Wear explained: positions, chances with what they were learned from, spares, and the cover at each build day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from bom.answers.shelf_chance import shelf_chance
from bom.demand.askers import Asker
from bom.demand.chances import Chance, JobWear
from bom.demand.positions import Position, positions_of
from bom.demand.strip_report import ENTERED_RATE_COUNTS_AS, PUMPS_BEFORE_LEARNING
from bom.explain.served import ServedPieces
from bom.explain.shelf import why_left_for_wear
from bom.explain.tree import Fact, Rule, Unit, Why, added, day_of, given, pieces, whole
from bom.plan import Plan
from bom.structure.tables import Floats
from bom.values import ONE
from bom.wear.planned import after_spares

Group = tuple[Position, ...]


class PositionGroups:
    """The positions that may be found worn, by kind of job and item: each kind is looked through once for all items."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._of_recipe: dict[int, dict[int, list[Group]]] = {}

    def of(self, asker: Asker, item: int) -> Sequence[Group]:
        """The positions of a job with the item among them, those that stand or fall together side by side.

        Parameters
        ----------
        asker : a job or other need of the plan
        item : number of the item
        """
        if asker.recipe not in self._of_recipe:
            self._of_recipe[asker.recipe] = self._by_item(asker)
        return self._of_recipe[asker.recipe].get(item, ())

    def _by_item(self, asker: Asker) -> dict[int, list[Group]]:
        demand = self._plan.demand
        report = demand.reports.get(asker.name)
        if report is not None:
            listed: Sequence[Position] = report.open
        else:
            recipe = demand.explosion.recipes[asker.recipe]
            covered = demand.explosion.covered_in(asker.recipe)
            listed = positions_of(demand.structure, demand.conditions, asker.recipe, recipe, covered)
        together: dict[tuple[object, ...], list[Position]] = defaultdict(list)
        for number, position in enumerate(listed):
            together[position.group or (number,)].append(position)
        found: dict[int, list[Group]] = defaultdict(list)
        for members in together.values():
            for item in dict.fromkeys(int(demand.structure.child[position.line]) for position in members):
                found[item].append(tuple(members))
        return dict(found)


class Worn:
    """What may be found worn of one item, job by job."""

    def __init__(self, plan: Plan, item: int, groups: PositionGroups | None = None) -> None:
        self.plan, self.item = plan, item
        self._groups = groups or PositionGroups(plan)
        self.jobs: tuple[JobWear, ...] = plan.demand.wear.get(item, ())
        self.cover = plan.netting.covers.get(item)
        self.countable = bool(plan.demand.structure.countable[item])
        self.unit = ONE if self.countable else 1
        self._rates: dict[int, Why] = {}
        self._of_recipe: dict[int, tuple[Why, ...]] = {}

    def positions(self) -> Why:
        """The positions still to be looked at, job by job."""
        parts = (added("job", self._positions(job), job=self._job(job)) for job in self.jobs)
        return added("positions", parts)

    def spares(self) -> Why:
        """The spares that kits bring, or that were issued beyond the need, job by job."""
        parts = (self._spares(job) for job in self.jobs if job.spares)
        return added("spares", parts)

    def expected(self) -> Why:
        """How many are likely to be found worn, spares not yet taken off."""
        parts = tuple(self._expected(job) for job in self.jobs)
        value = self.cover.expected if self.cover else 0.0
        return Why("expected", value, Unit.EXPECTED, Rule.SUM, parts)

    def planned(self) -> Why:
        """What is planned for wear, build day by build day; beside it the rounding that published tables use."""
        if self.cover is None:
            return added("planned wear", ())
        shown = self._covers() if self.countable else self._measured()
        planned = [quantity for quantity in self.cover.planned if quantity]
        whole_plan = added("planned wear", shown)
        if not self.countable or not planned:
            return whole_plan
        return replace(whole_plan, beside=(self.published(),))

    def published(self) -> Why:
        """Expected pieces rounded half up, as tables of "quantity per 100 overhauls" do."""
        parts = tuple(self._expected(job) for job in self.jobs)
        total = sum((part.value for part in parts if isinstance(part.value, Fraction)), Fraction(0))
        return Why("published rounding", int(total + Fraction(1, 2)), Unit.COUNT, Rule.HALF_UP, parts)

    def enough(self) -> Why:
        """The chance that what the sure pieces leave on the shelf is enough for all that may be found worn."""
        says, jobs = "chance that the shelf is enough", tuple(self._askers(self.jobs))
        found = shelf_chance(self.plan, self.item)
        if found is None or found.chance is None:
            return Why(says, None, Unit.CHANCE, Rule.ENOUGH, (whole("left for wear", 0), *jobs))
        if found.sure_lacks:
            served = ServedPieces.of_item(self.plan, self.item, wear=False)
            lacking = [
                whole("not from the shelf", lacks, **served.facts(number))
                for number in served.numbers
                if (lacks := served.not_from_shelf(number))
            ]
            return Why(says, found.chance, Unit.CHANCE, Rule.SURE_FIRST, tuple(lacking), beside=jobs)
        left = why_left_for_wear(self.plan, self.item, found.build_day)
        return Why(says, found.chance, Unit.CHANCE, Rule.ENOUGH, (left, *jobs))

    def _askers(self, jobs: Sequence[JobWear]) -> Iterator[Why]:
        """Each job's chances with the spares that serve it first."""
        for job in jobs:
            spares = (self._spares(job),) if job.spares else ()
            places = sum(chance.count for chance in job.chances)
            facts: tuple[tuple[str, Fact], ...] = (("job", self._job(job)),)
            yield Why("may be found worn", places, Unit.COUNT, facts=facts, beside=(*self._chances(job), *spares))

    def _covers(self) -> Iterator[Why]:
        """For each build day what is planned for it: its cover less that of the day before."""
        assert self.cover is not None
        sure = self.plan.demand.structure.items[self.item].how_sure_percent / 100
        total, before = np.ones(1), 0
        by_day: dict[int, list[JobWear]] = defaultdict(list)
        for job in self.jobs:
            by_day[job.day].append(job)
        for on, step in zip(self.cover.days, self.cover.planned, strict=True):
            for job in by_day[on]:
                total = np.convolve(total, _distribution(job))
            count = before + step // ONE
            reached = np.cumsum(total)
            parts = [
                given("how sure", sure, Unit.CHANCE),
                given("chance that it is enough", _chance(reached, count), Unit.CHANCE),
                given("chance that one fewer is enough", _chance(reached, count - 1), Unit.CHANCE),
                given("the day before", before, Unit.COUNT),
            ]
            facts: tuple[tuple[str, Fact], ...] = (("build_on", day_of(on)),)
            beside = tuple(self._askers(by_day[on]))
            cover = Why("cover", count * ONE, Unit.PIECES, Rule.COVER, tuple(parts), (), False, beside)
            earlier = (whole("cover of the day before", before * ONE).taken_off(),) if before else ()
            yield Why("planned for a day", step, Unit.PIECES, Rule.SUM, (cover, *earlier), facts)
            before = count

    def _measured(self) -> Iterator[Why]:
        """A measured item is planned by what is expected beyond the spares, rounded on each build day."""
        assert self.cover is not None
        for on, planned in zip(self.cover.days, self.cover.planned, strict=True):
            parts = []
            for job in (job for job in self.jobs if job.day == on):
                expected = self._expected(job, ONE)
                spares = (self._spares(job).taken_off(),) if job.spares else ()
                left = max(Fraction(0), sum((_value(part) for part in (expected, *spares)), Fraction(0)))
                parts.append(
                    Why(
                        "beyond the spares",
                        left,
                        Unit.PIECES,
                        Rule.NOT_BELOW_ZERO,
                        (expected, *spares),
                        (("job", self._job(job)),),
                    )
                )
            yield pieces("planned for a day", planned, Rule.ROUNDED, parts, build_on=day_of(on))

    def _positions(self, job: JobWear) -> Iterator[Why]:
        for chance, reason in zip(job.chances, self._reasons(job), strict=True):
            parts = (given("places", chance.count, Unit.COUNT), whole("in one place", chance.weight * self.unit))
            value = chance.count * chance.weight * self.unit
            yield Why("positions", value, Unit.PIECES, Rule.PRODUCT, parts, beside=(reason,))

    def _expected(self, job: JobWear, scale: int = 1) -> Why:
        """Places times pieces times chance; in stock units, or in millionths."""
        parts = []
        for chance, reason in zip(job.chances, self._reasons(job), strict=True):
            weight = Fraction(chance.weight * self.unit * scale, ONE)
            factors = (given("places", chance.count, Unit.COUNT), given("in one place", weight, Unit.EXPECTED), reason)
            parts.append(
                Why("expected of these", chance.count * weight * chance.p, Unit.EXPECTED, Rule.PRODUCT, factors)
            )
        total = sum((_value(part) for part in parts), Fraction(0))
        return Why("job", total, Unit.EXPECTED, Rule.SUM, tuple(parts), (("job", self._job(job)),))

    def _chances(self, job: JobWear) -> Iterator[Why]:
        for chance, reason in zip(job.chances, self._reasons(job), strict=True):
            facts = (("places", chance.count), ("pieces", chance.weight))
            yield Why("chance", chance.p, Unit.CHANCE, Rule.FIRST, (reason,), facts)

    def _spares(self, job: JobWear) -> Why:
        """Spares out of kits, kit by kit, and what was issued beyond the need."""
        kits, items = self.plan.demand.requirements.kits, self.plan.demand.structure.items
        rows = np.flatnonzero(kits.recipe == self.plan.demand.askers[job.job].recipe)
        brought = [
            whole("spare in the kits", int(kits.spare[place]), kit=items[kits.kit[kits.part_row[place]]].part_number)
            for place in np.flatnonzero(np.isin(kits.part_row, rows) & (kits.part_item == self.item)).tolist()
            if kits.spare[place]
        ]
        value = job.spares * self.unit
        beyond = value - sum(int(part.value) for part in brought if isinstance(part.value, int))
        if beyond > 0:
            brought.append(whole("issued beyond the need", beyond))
        return pieces("spares", value, Rule.SUM if beyond >= 0 else Rule.SHARE, brought, job=self._job(job))

    def _reasons(self, job: JobWear) -> tuple[Why, ...]:
        """For each kind of chance of a job, the rates behind it."""
        asker = self.plan.demand.askers[job.job]
        if asker.recipe not in self._of_recipe:
            self._of_recipe[asker.recipe] = tuple(self._behind(asker, job.chances))
        return self._of_recipe[asker.recipe]

    def _behind(self, asker: Asker, chances: Sequence[Chance]) -> Iterator[Why]:
        groups = self._groups.of(asker, self.item)
        for chance in chances:
            members = next((group for group in groups if self._matches(group, chance)), ())
            yield self._together(members, chance)

    def _matches(self, group: Group, chance: Chance) -> bool:
        child, structure = self.plan.demand.structure.child, self.plan.demand.structure
        weight = sum(p.quantity for p in group if child[p.line] == self.item)
        good = Fraction(1)
        for position in group:
            good *= 1 - (self.plan.demand.rates.chance(structure, position.line) or Fraction(0))
        return weight == chance.weight * self.unit and 1 - good == chance.p

    def _together(self, members: Group, chance: Chance) -> Why:
        """The chance of a lone position, or that any of a group is found worn, which renews them all."""
        if len(members) == 1:
            return self.rate(members[0].line)
        parts = tuple(self.rate(position.line) for position in members)
        label = str(members[0].group[0]) if members and members[0].group else ""
        return Why("chance of the group", chance.p, Unit.CHANCE, Rule.TOGETHER, parts, (("together", label),))

    def rate(self, line: int) -> Why:
        """The chance of one position of a line: as entered, or learned from strip reports.

        Parameters
        ----------
        line : its number in the structure
        """
        if line not in self._rates:
            self._rates[line] = self._rate(line)
        return self._rates[line]

    def _rate(self, line: int) -> Why:
        demand = self.plan.demand
        entered = demand.structure.lines[line].renewals_per_100
        counts = demand.rates
        pumps, inspected, found = (
            counts.pumps.get(line, 0),
            counts.inspected.get(line, 0),
            counts.found.get(line, 0),
        )
        held = demand.structure.lines[line]
        facts = (("in", held.parent), ("position", held.position or held.child), ("item", held.child), ("pumps", pumps))
        seen = (given("found worn", found, Unit.COUNT), given("inspected", inspected, Unit.COUNT))
        chance = counts.chance(demand.structure, line)
        if chance is None:
            return Why("no rate known", Fraction(0), Unit.CHANCE, facts=facts, beside=seen)
        if pumps < PUMPS_BEFORE_LEARNING:
            parts = (given("entered per 100", Fraction(entered or 0), Unit.EXPECTED),)
            return Why("rate entered", chance, Unit.CHANCE, Rule.PER_HUNDRED, parts, facts, beside=seen)
        prior = (
            ()
            if entered is None
            else (
                given("entered per 100", Fraction(entered), Unit.EXPECTED),
                given("the rate entered counts as", ENTERED_RATE_COUNTS_AS, Unit.COUNT),
            )
        )
        return Why("rate learned", chance, Unit.CHANCE, Rule.LEARNED, (*seen, *prior), facts)

    def _job(self, job: JobWear) -> str:
        return self.plan.demand.askers[job.job].name


def _distribution(job: JobWear) -> Floats:
    return after_spares(job.spares, [(c.count, float(c.p), c.weight) for c in job.chances])


def _chance(reached: Floats, count: int) -> float:
    return 0.0 if count < 0 else float(reached[min(count, reached.size - 1)])


def _value(part: Why) -> Fraction:
    value = part.value if isinstance(part.value, int | Fraction) else 0
    return Fraction(-value if part.less else value)

"""What a change of the schedule does: a shop with a few jobs changed, and two plans set side by side.

Both functions are pure. The second plan is a whole plan of its own, so whatever one job gains and another loses by it
is found by the same rules as every other figure.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any, Generic, TypeVar

from bom.answers.rows import Row, chase_rows, everything, expedite_rows, pack_rows
from bom.buying.leads import NEVER
from bom.errors import Fault, ShopError
from bom.plan import Plan
from bom.status.jobs import STATUS, JobAnswer
from bom.structure.arrays import as_date
from bom.values import ASKING_STAGES, ONE, Job, Options, Shop

State = TypeVar("State")
CENT = Decimal("0.01")
PRIORITIES = range(1, 10)
DONE_TO_A_JOB = {
    "build_on": "moved",
    "stage": "left out",
    "priority": "put elsewhere",
    "scope": "cut",
    "quantity": "counted anew",
    "options": "fitted otherwise",
    "pump": "given another pump",
}
"""What is said to be done to a job, by the column that is changed."""
NAMED_AT_MOST = 2
"""So many winners, and so many losers, are named in the sentence; more are counted."""


@dataclass(frozen=True, slots=True)
class JobState:
    """What one plan says of a job, or of another need (``is_job`` False; its ``build_on`` is the day it is needed).

    ``scope`` is empty for another need. ``days_late`` are working days, None when an arrival is unknown.
    """

    is_job: bool
    build_on: date
    priority: int
    scope: str
    status: str
    parts_on: date | None
    days_late: int | None
    blocking_part: str | None
    order_by: date | None
    leans_on_overdue: bool

    def rank(self) -> tuple[int, int, bool]:
        """The order from good to bad: status, working days late (unknown is worst), leaning on an overdue order."""
        return STATUS.index(self.status), NEVER if self.days_late is None else self.days_late, self.leans_on_overdue


@dataclass(frozen=True, slots=True)
class PurchaseState:
    """A row of the purchase list. Quantities in millionths of the stock unit, prices in the shop's money.

    ``price`` is the total of the row, None when no offer gives one; ``sure_price`` is what the sure shortage alone
    would come to in whole packs.
    """

    short: int
    short_wear: int
    top_up: int
    net: int
    packs: int
    order_quantity: int
    supplier: str | None
    price: Decimal | None
    sure_price: Decimal | None
    need_on: date | None
    order_by: date | None
    here_on: date | None
    wear_advice: str | None
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HurryState:
    """An order line that sure pieces wait for beyond their need date; ``quantity`` (millionths) is what they draw."""

    part_number: str
    quantity: int
    promised: date
    need_on: date
    days_late: int
    bought_today_on: date | None
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChaseState:
    """An order line that should have come; ``quantity`` is what is open (millionths), ``jobs`` lean on it."""

    part_number: str
    quantity: int
    promised: date
    days_late: int
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PackState:
    """Kits to pack, or assemblies to make, in millionths, by the earliest day that asks for one."""

    quantity: int
    need_on: date
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change(Generic[State]):
    """Something that is not the same in both plans; None where a plan does not have it."""

    name: str
    before: State | None
    after: State | None

    @property
    def kind(self) -> str:
        """``appears``, ``vanishes`` or ``changes``."""
        return "appears" if self.before is None else "vanishes" if self.after is None else "changes"


@dataclass(frozen=True, slots=True)
class ChangedJob(Change[JobState]):
    """A job, or another need, that is not the same in both plans."""

    @property
    def effect(self) -> str:
        """``better`` or ``worse`` by status, days late and leaning on an overdue order; else ``other``.

        ``added`` and ``removed`` stand for what only one of the plans has.
        """
        if self.before is None or self.after is None:
            return "added" if self.before is None else "removed"
        before, after = self.before.rank(), self.after.rank()
        return "better" if after < before else "worse" if after > before else "other"

    @property
    def is_moved(self) -> bool:
        """Whether it is to be built on another day."""
        return self.before is not None and self.after is not None and self.before.build_on != self.after.build_on


@dataclass(frozen=True, slots=True)
class Money:
    """The purchase list of one plan: the sure shortages, what wear and safety stock add, and rows without a price."""

    sure: Decimal
    beyond_sure: Decimal
    unpriced: int


@dataclass(frozen=True, slots=True)
class Differences:
    """What differs between two plans; every list is sorted by name, and what is the same in both is not in it.

    ``changes`` holds the jobs and other needs, ``purchases`` the purchase list by part number, ``expedite`` and
    ``chase`` order lines (named as ``PO-1 line 2``), ``pack`` kits and made assemblies. ``says`` is one sentence.
    """

    changes: tuple[ChangedJob, ...]
    purchases: tuple[Change[PurchaseState], ...]
    expedite: tuple[Change[HurryState], ...]
    chase: tuple[Change[ChaseState], ...]
    pack: tuple[Change[PackState], ...]
    before: Money
    after: Money
    says: str

    @property
    def winners(self) -> tuple[ChangedJob, ...]:
        """Jobs and other needs that are better off."""
        return self._with_effect("better")

    @property
    def losers(self) -> tuple[ChangedJob, ...]:
        """Jobs and other needs that are worse off."""
        return self._with_effect("worse")

    @property
    def added(self) -> tuple[ChangedJob, ...]:
        """What only the second plan has."""
        return self._with_effect("added")

    @property
    def removed(self) -> tuple[ChangedJob, ...]:
        """What only the first plan has."""
        return self._with_effect("removed")

    @property
    def moved(self) -> tuple[ChangedJob, ...]:
        """What is to be built on another day; it may stand among the winners or losers as well."""
        return tuple(change for change in self.changes if change.is_moved)

    def _with_effect(self, effect: str) -> tuple[ChangedJob, ...]:
        return tuple(change for change in self.changes if change.effect == effect)


def compare(before: Plan, after: Plan) -> Differences:
    """Set two plans side by side.

    Parameters
    ----------
    before, after : plans of the same shop, as a rule on the same day; they need not have the same jobs or catalog
    """
    changes = tuple(ChangedJob(name, *pair) for name, *pair in _different(_job_states(before), _job_states(after)))
    bought, rebought = _purchases(before), _purchases(after)
    purchases = tuple(Change(name, *pair) for name, *pair in _different(bought, rebought))
    expedite, chase = _changes(_hurried, before, after), _changes(_chased, before, after)
    pack = _changes(_packed, before, after)
    first, second = _money(bought), _money(rebought)
    says = "Nothing changes: every job, every line to buy and every order stays as it is."
    if changes or purchases or expedite or chase or pack:
        says = _say(changes, len(purchases), first, second)
    return Differences(changes, purchases, expedite, chase, pack, first, second, says)


def changed(
    shop: Shop,
    *,
    move: Mapping[str, date] | None = None,
    drop: Collection[str] = (),
    reprioritise: Mapping[str, int] | None = None,
    scope: Mapping[str, str] | None = None,
    quantity: Mapping[str, int] | None = None,
    options: Mapping[str, Options] | None = None,
    pump: Mapping[str, str] | None = None,
) -> Shop:
    """The same shop with some of its jobs changed, for the second plan of a comparison.

    Parameters
    ----------
    shop : everything that is known
    move : new build dates, by job; a strip date that would then lie after the build is moved to it
    drop : jobs that are given up: what is reserved for them is free again, what lies in their bags or was issued is not
    reprioritise : new priorities from 1 (first) to 9, by job
    scope : new scopes of the job's pump, by job
    quantity : how many pumps instead, by job
    options : all answers of the job's own instead of those that it gives, by job
    pump : another pump, by job; the scope has to be one of that pump's

    Raises
    ------
    ShopError
        With every job that is not planned, every priority, quantity, pump and scope that is not known.
    """
    asked: dict[str, Mapping[str, Any]] = {
        "build_on": move or {},
        "stage": dict.fromkeys(drop, "cancelled"),
        "priority": reprioritise or {},
        "scope": scope or {},
        "quantity": quantity or {},
        "options": options or {},
        "pump": pump or {},
    }
    jobs = {job.job: job for job in shop.jobs if job.stage in ASKING_STAGES}
    faults = [*_unknown_jobs(jobs, [(done, asked[column]) for column, done in DONE_TO_A_JOB.items()])]
    after = {name: _changed_job(job, asked) for name, job in jobs.items()}
    faults += _unknown_values(shop, [after[name] for name in sorted(after) if after[name] != jobs[name]])
    if faults:
        raise ShopError(tuple(faults))
    given_up = frozenset(drop)
    return replace(
        shop,
        jobs=tuple(after.get(job.job, job) for job in shop.jobs),
        issues=tuple(issue for issue in shop.issues if issue.state != "reserved" or issue.job not in given_up),
    )


def _changed_job(job: Job, asked: Mapping[str, Mapping[str, Any]]) -> Job:
    """One job after the change. A dropped job stays as cancelled, so that its strip report still teaches the rates."""
    made = replace(job, **{column: by_job[job.job] for column, by_job in asked.items() if job.job in by_job})
    if made.strip_on and job.job in asked["build_on"]:
        return replace(made, strip_on=min(made.strip_on, made.build_on))
    return made


def _unknown_jobs(jobs: Collection[str], asked: Iterable[tuple[str, Iterable[str]]]) -> Iterator[Fault]:
    for done, names in asked:
        for name in sorted(set(names) - set(jobs)):
            says = (
                f"No job {name} is planned, so it cannot be {done}; name one of {', '.join(sorted(jobs))}."
                if jobs
                else f"No job {name} is planned, so it cannot be {done}; no job asks for parts now."
            )
            yield Fault("Schedule", (name,), "job", says)


def _unknown_values(shop: Shop, jobs: Iterable[Job]) -> Iterator[Fault]:
    pumps = {item.part_number for item in shop.catalog.items if item.kind == "pump"}
    for job in jobs:
        if job.priority not in PRIORITIES:
            remedy = "give a whole number from 1, which goes first, to 9"
            says = f"Priority {job.priority} of job {job.job} is not known; {remedy}."
            yield Fault("Schedule", (job.job,), "priority", says)
        if job.quantity < 1:
            says = f"Job {job.job} cannot rebuild {job.quantity} pumps; give a whole number from 1 on."
            yield Fault("Schedule", (job.job,), "quantity", says)
        if job.pump not in pumps:
            says = f"No pump {job.pump} is known for job {job.job}; known are: {', '.join(sorted(pumps))}."
            yield Fault("Schedule", (job.job,), "pump", says)
            continue
        known = sorted({row.scope for row in shop.catalog.scopes if row.pump == job.pump})
        if job.scope not in known:
            says = f"{job.pump} has no scope '{job.scope}' for job {job.job}; known for it: {', '.join(known)}."
            yield Fault("Schedule", (job.job,), "scope", says)


def _different(
    before: Mapping[str, State], after: Mapping[str, State]
) -> Iterator[tuple[str, State | None, State | None]]:
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        if old != new:
            yield name, old, new


def _changes(states: Callable[[Plan], Mapping[str, State]], before: Plan, after: Plan) -> tuple[Change[State], ...]:
    return tuple(Change(name, *pair) for name, *pair in _different(states(before), states(after)))


def _job_states(plan: Plan) -> dict[str, JobState]:
    return {
        asker.name: _job_state(plan, place, answer)
        for place, (asker, answer) in enumerate(zip(plan.demand.askers, plan.answers, strict=True))
    }


def _job_state(plan: Plan, place: int, answer: JobAnswer) -> JobState:
    asker, items = plan.demand.askers[place], plan.demand.structure.items
    return JobState(
        is_job=asker.job is not None,
        build_on=as_date(asker.build_day),
        priority=asker.priority,
        scope=asker.job.scope if asker.job else "",
        status=answer.status,
        parts_on=_day(answer.parts_on),
        days_late=answer.days_late,
        blocking_part=None if answer.blocking_item is None else items[answer.blocking_item].part_number,
        order_by=_day(answer.order_by),
        leans_on_overdue=answer.leans_on_overdue,
    )


def _purchases(plan: Plan) -> dict[str, PurchaseState]:
    found = {}
    for row in plan.buy:
        sure = row.purchase
        if row.short and row.net != row.short:
            sure = plan.book.choose(row.item, row.short, row.need_on)
        found[plan.demand.structure.items[row.item].part_number] = PurchaseState(
            short=row.short,
            short_wear=row.short_wear,
            top_up=row.top_up,
            net=row.net,
            packs=row.purchase.packs,
            order_quantity=row.purchase.order_quantity,
            supplier=row.purchase.supplier,
            price=row.purchase.price,
            sure_price=sure.price if row.short else Decimal(0),
            need_on=_day(row.need_on),
            order_by=_day(row.order_by),
            here_on=_day(row.purchase.arrives_on),
            wear_advice=row.wear_advice,
            jobs=tuple(sorted(plan.demand.askers[job].name for job in row.jobs)),
        )
    return found


def _money(purchases: Mapping[str, PurchaseState]) -> Money:
    sure, beyond, unpriced = Decimal(0), Decimal(0), 0
    for row in purchases.values():
        if row.price is None or row.sure_price is None:
            unpriced += 1
        else:
            sure += row.sure_price
            beyond += row.price - row.sure_price
    return Money(sure.quantize(CENT), beyond.quantize(CENT), unpriced)


def _hurried(plan: Plan) -> dict[str, HurryState]:
    return {
        _line_name(row): HurryState(
            part_number=row["part_number"],
            quantity=_millionths(row["quantity"]),
            promised=date.fromisoformat(row["promised"]),
            need_on=date.fromisoformat(row["need_on"]),
            days_late=row["days_late"],
            bought_today_on=date.fromisoformat(row["bought_today_on"]) if row["bought_today_on"] else None,
            jobs=tuple(row["jobs"]),
        )
        for row in expedite_rows(plan, everything(plan))
    }


def _chased(plan: Plan) -> dict[str, ChaseState]:
    return {
        _line_name(row): ChaseState(
            part_number=row["part_number"],
            quantity=_millionths(row["quantity"]),
            promised=date.fromisoformat(row["promised"]),
            days_late=row["days_late"],
            jobs=tuple(row["jobs"]),
        )
        for row in chase_rows(plan)
    }


def _packed(plan: Plan) -> dict[str, PackState]:
    return {
        row["kit"]: PackState(
            quantity=_millionths(row["quantity"]),
            need_on=date.fromisoformat(row["need_on"]),
            jobs=tuple(row["jobs"]),
        )
        for row in pack_rows(plan, everything(plan))
    }


def _line_name(row: Row) -> str:
    return f"{row['order']} line {row['line']}"


def _millionths(quantity: int | float) -> int:
    return round(quantity * ONE)


def _day(day: int | None) -> date | None:
    return None if day is None or day >= NEVER else as_date(day)


def _say(changes: tuple[ChangedJob, ...], purchases: int, before: Money, after: Money) -> str:
    winners = [change for change in changes if change.effect == "better"]
    losers = [change for change in changes if change.effect == "worse"]
    told = [*_say_some(winners, "gain"), *_say_some(losers, "lose")]
    clauses = [" and ".join(filter(None, (", ".join(told[:-1]), *told[-1:]))) or "no job gains or loses"]
    for effect, done in (("removed", "left out"), ("added", "added")):
        names = [change.name for change in changes if change.effect == effect]
        if names:
            who = names[0] if len(names) == 1 else f"{len(names)} jobs"
            clauses.append(f"{who} {'is' if len(names) == 1 else 'are'} {done}")
    lines = "1 line to buy changes" if purchases == 1 else f"{purchases} lines to buy change"
    if not purchases:
        lines = "what is to buy stays the same"
    elif before.sure or after.sure:
        old = "as before" if before.sure == after.sure else f"{before.sure} before"
        lines += f", and the sure ones come to {after.sure}, {old}"
    sentence = "; ".join([*clauses, lines]) + "."
    return sentence[0].upper() + sentence[1:]


def _say_some(changes: list[ChangedJob], verb: str) -> Iterator[str]:
    if len(changes) > NAMED_AT_MOST:
        yield f"{len(changes)} jobs {verb}"
        return
    for change in changes:
        yield f"{change.name} {verb}s ({_say_states(change)})"


def _say_states(change: ChangedJob) -> str:
    before, after = change.before, change.after
    if before is None or after is None:
        return change.effect
    if before.status != after.status:
        return f"{before.status} before, now {after.status}"
    if before.days_late != after.days_late:
        return f"{_say_late(before)} before, now {_say_late(after)}"
    return "now depends on an overdue order" if after.leans_on_overdue else "no longer depends on an overdue order"


def _say_late(state: JobState) -> str:
    if state.days_late is None:
        return f"{state.status}, day unknown"
    return f"{state.days_late} day{'' if state.days_late == 1 else 's'} late" if state.days_late else "in time"

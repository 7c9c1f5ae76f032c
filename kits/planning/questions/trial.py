"""Try a change: one job built on another day, in another turn, as another rebuild or not at all; before, after."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from bom.plan import Plan, plan
from bom.questions.what_if import (
    Change,
    ChangedJob,
    ChaseState,
    Differences,
    HurryState,
    Money,
    PackState,
    PurchaseState,
    changed,
    compare,
)
from bom.reading import Asker, Reading
from bom.values import ASKING_STAGES, Job, Options
from kits.catalog.days.words import words_for_day
from kits.catalog.folding import fold
from kits.catalog.options import options_text, parse_options
from kits.planning.lists.beyond_need import beyond_words
from kits.planning.lists.buy_lists import ForWhom, money
from kits.planning.queries import plan_now, reading_of
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import State, in_words, job_state
from kits.schedule.models import Job as ScheduledJob

EFFECT_SAYS = {
    "better": "gains",
    "worse": "loses",
    "other": "as good as before",
    "added": "added",
    "removed": "given up",
}
ORDER = ("better", "worse", "removed", "added", "other")


@dataclass(frozen=True, slots=True)
class TrialJob:
    """A job that can be changed: as it is planned now, and every pump with the scopes that it knows."""

    job: str
    pump: str
    batch: str
    build_on: date
    priority: int
    scope: str
    quantity: int
    option: str
    options: Options
    pumps: Mapping[str, tuple[str, ...]]

    @property
    def scopes(self) -> tuple[str, ...]:
        """The scopes of its own pump."""
        return self.pumps.get(self.pump, ())


@dataclass(frozen=True, slots=True)
class Trial:
    """A change to be tried; what is None or empty stays as it is."""

    job: str
    move_to: date | None = None
    priority: int | None = None
    scope: str = ""
    quantity: int | None = None
    option: str | None = None
    pump: str = ""
    drop: bool = False

    @property
    def changes_something(self) -> bool:
        """Whether there is anything to try."""
        return self != Trial(self.job)


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison for a job."""

    build_on: date
    state: State


@dataclass(frozen=True, slots=True)
class JobDifference:
    """A job, or another need, before and after; a side is None where it has none."""

    asker: ForWhom
    effect: str
    says: str
    before: Side | None
    after: Side | None
    moved: bool


@dataclass(frozen=True, slots=True)
class BuySide:
    """What is to buy of a part on one side."""

    says: str
    price: Decimal | None
    order_by: date | None
    for_whom: str


@dataclass(frozen=True, slots=True)
class BuyDifference:
    """A part whose line to buy appears, vanishes or changes."""

    part_number: str
    what: str
    leads_to: str
    before: BuySide | None
    after: BuySide | None


@dataclass(frozen=True, slots=True)
class OtherDifference:
    """An order to call about, or a kit to pack, before and after in words; empty where there is none."""

    what: str
    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class TrialSheet:
    """Two plans side by side; ``more_jobs`` and ``more_buys`` count rows that are left out."""

    says: str
    jobs: tuple[JobDifference, ...]
    winners: int
    losers: int
    buys: tuple[BuyDifference, ...]
    before: Money
    after: Money
    others: tuple[OtherDifference, ...]
    goes_back: tuple[str, ...] = ()
    more_jobs: int = 0
    more_buys: int = 0


class TrialBoard:
    """The plan of this moment, on which changes are tried."""

    def __init__(self) -> None:
        self.plan = plan_now()
        self.as_of = self.plan.shop.as_of
        self.calendar = self.plan.calendar

    def jobs(self, batch: str = "") -> tuple[TrialJob, ...]:
        """The jobs that can be changed, all of them or those of a batch."""
        return tuple(jobs_to_change(self.plan, batch))

    def find(self, number: str) -> TrialJob | None:
        """A job that can be changed, by number, however it is spelled."""
        wanted = fold(number)
        found = next((job for job in jobs_to_change(self.plan) if fold(job.job) == wanted), None)
        spelled = ScheduledJob.objects.filter(folded=wanted).values_list("option", flat=True).first()
        return replace(found, option=spelled or "") if found else None

    def show(self, trial: Trial) -> TrialSheet:
        """Both plans side by side; seven statements."""
        return try_change(self.plan, trial)

    def try_jobs(self, jobs: Iterable[Job]) -> TrialSheet:
        """Both plans side by side where the second has jobs that are not on the schedule yet."""
        return try_new_jobs(self.plan, jobs)

    def try_closed(self, *, close: Iterable[date] = (), reopen: Iterable[date] = ()) -> TrialSheet:
        """Both plans side by side where in the second the shop is closed on more days, or on fewer."""
        return try_holidays(self.plan, {*self.plan.shop.holidays, *close} - set(reopen))

    def planned(self, numbers: Iterable[str]) -> tuple[Job, ...]:
        """Jobs as they are planned now, by number."""
        wanted = set(numbers)
        return tuple(job for job in self.plan.shop.jobs if job.job in wanted)

    def scopes_of(self, jobs: Iterable[Job]) -> tuple[str, ...]:
        """The scopes that all pumps of some jobs know, in the order of the first."""
        known = reading_of(self.plan).lists.scopes_by_pump
        first, *others = [known.get(pump, ()) for pump in dict.fromkeys(job.pump for job in jobs)]
        return tuple(scope for scope in first if all(scope in other for other in others))

    def try_changed(self, jobs: Iterable[Job]) -> TrialSheet:
        """Both plans side by side where the second has these jobs in place of those of their numbers."""
        return try_changed_jobs(self.plan, jobs)


def jobs_to_change(of: Plan, batch: str = "") -> Iterator[TrialJob]:
    """The jobs that ask for parts, all of them or those of a batch, in the order in which they are built."""
    wanted = [
        job for job in of.shop.jobs if job.stage in ASKING_STAGES and (not batch or fold(job.batch) == fold(batch))
    ]
    pumps = reading_of(of).lists.scopes_by_pump
    return (trial_job(job, pumps) for job in sorted(wanted, key=lambda job: (job.build_on, job.priority, job.job)))


def trial_job(job: Job, pumps: Mapping[str, tuple[str, ...]]) -> TrialJob:
    """A job with every pump and its scopes."""
    return TrialJob(
        job=job.job,
        pump=job.pump,
        batch=job.batch,
        build_on=job.build_on,
        priority=job.priority,
        scope=job.scope,
        quantity=job.quantity,
        option=options_text(job.options),
        options=job.options,
        pumps=pumps,
    )


def try_change(before: Plan, trial: Trial) -> TrialSheet:
    """Plan anew with the change, and set both plans side by side; one statement."""
    shop = changed(
        before.shop,
        move={trial.job: trial.move_to} if trial.move_to else {},
        drop=(trial.job,) if trial.drop else (),
        reprioritise={trial.job: trial.priority} if trial.priority is not None else {},
        scope={trial.job: trial.scope} if trial.scope else {},
        quantity={trial.job: trial.quantity} if trial.quantity is not None else {},
        options={trial.job: parse_options(trial.option)} if trial.option is not None else {},
        pump={trial.job: trial.pump} if trial.pump else {},
    )
    after = plan(shop, reading_of(before).lists.compiled, before)
    return replace(side_by_side(before, after), goes_back=tuple(goes_back(before, after, trial.job)))


def try_new_jobs(before: Plan, jobs: Iterable[Job]) -> TrialSheet:
    """Plan anew with jobs that are not on the schedule yet, and set both plans side by side; one statement."""
    shop = replace(before.shop, jobs=(*before.shop.jobs, *jobs))
    return side_by_side(before, plan(shop, reading_of(before).lists.compiled, before))


def try_changed_jobs(before: Plan, jobs: Iterable[Job]) -> TrialSheet:
    """Plan anew with several jobs changed, each known by its number, and set both plans side by side; one statement."""
    changed_jobs = {job.job: job for job in jobs}
    shop = replace(before.shop, jobs=tuple(changed_jobs.get(job.job, job) for job in before.shop.jobs))
    return side_by_side(before, plan(shop, reading_of(before).lists.compiled, before))


def try_holidays(before: Plan, holidays: Iterable[date]) -> TrialSheet:
    """Plan anew with the shop closed on other days, and set both plans side by side; one statement."""
    shop = replace(before.shop, holidays=tuple(sorted(holidays)))
    return side_by_side(before, plan(shop, reading_of(before).lists.compiled, before))


def goes_back(before: Plan, after: Plan, job: str) -> list[str]:
    """What a job holds that it needs no more after the change, in words; six statements."""
    held = beyond_words(before, {job}).get(job, ())
    return [says for says in beyond_words(after, {job}).get(job, ()) if says not in held]


def side_by_side(before: Plan, after: Plan) -> TrialSheet:
    """Two plans of the same shop, what differs only; one statement for the names."""
    found = compare(before, after)
    names = item_names([change.name for change in found.purchases] + [change.name for change in found.pack])
    return TrialSheet(
        says=found.says,
        jobs=tuple(job_differences(found, Reading(before), Reading(after))),
        winners=len(found.winners),
        losers=len(found.losers),
        buys=tuple(buy_difference(change, names[change.name]) for change in found.purchases),
        before=found.before,
        after=found.after,
        others=tuple(other_differences(found, names, before.shop.as_of)),
    )


def job_differences(found: Differences, before: Reading, after: Reading) -> Iterator[JobDifference]:
    """The jobs that differ: who gains first, then who loses, then the rest."""
    first, second = ({asker.name: asker for asker in reading.askers} for reading in (before, after))
    for change in sorted(found.changes, key=lambda change: (ORDER.index(change.effect), change.name)):
        yield JobDifference(
            asker=ForWhom(change.name, is_job=is_job(change)),
            effect=change.effect,
            says=EFFECT_SAYS[change.effect],
            before=side(before, first.get(change.name), change.before.build_on if change.before else None),
            after=side(after, second.get(change.name), change.after.build_on if change.after else None),
            moved=change.is_moved,
        )


def is_job(change: ChangedJob) -> bool:
    """Whether it is a job, not another need."""
    return any(state.is_job for state in (change.before, change.after) if state)


def side(reading: Reading, asker: Asker | None, build_on: date | None) -> Side | None:
    """One side, in the words of the grid."""
    return None if asker is None or build_on is None else Side(build_on, job_state(reading, asker))


def buy_difference(change: Change[PurchaseState], name: ItemName) -> BuyDifference:
    """One part to buy."""
    return BuyDifference(
        name.part_number, name.what, name.leads_to, buy_side(change.before, name), buy_side(change.after, name)
    )


def buy_side(state: PurchaseState | None, name: ItemName) -> BuySide | None:
    """One side of it."""
    if state is None:
        return None
    short = [f"{name.amount(state.short).text} short"] if state.short else []
    short += [f"{name.amount(state.short_wear).text} for wear"] if state.short_wear else []
    short += [f"{name.amount(state.top_up).text} to top up"] if state.top_up and not state.short_wear else []
    return BuySide(
        says=f"{', '.join(short)}: order {name.amount(state.order_quantity).text}",
        price=money(state.price),
        order_by=state.order_by,
        for_whom=for_says(state.jobs) if state.short else "",
    )


def other_differences(found: Differences, names: Mapping[str, ItemName], as_of: date) -> Iterator[OtherDifference]:
    """Orders to hurry or to chase, and kits to pack."""
    for hurry in found.expedite:
        yield OtherDifference(
            "to expedite", hurry.name, hurry_says(hurry.before, as_of), hurry_says(hurry.after, as_of)
        )
    for chase in found.chase:
        yield OtherDifference("to chase", chase.name, chase_says(chase.before), chase_says(chase.after))
    for pack in found.pack:
        name = names[pack.name]
        before, after = pack_says(pack.before, name, as_of), pack_says(pack.after, name, as_of)
        yield OtherDifference("to pack", pack.name, before, after)


def hurry_says(state: HurryState | None, as_of: date) -> str:
    """An order that comes late."""
    if state is None:
        return ""
    return f"{state.part_number}, needed {words_for_day(state.need_on, as_of)}, {for_says(state.jobs)}"


def chase_says(state: ChaseState | None) -> str:
    """An order that is overdue."""
    return "" if state is None else f"{state.part_number}, {for_says(state.jobs)}"


def pack_says(state: PackState | None, name: ItemName, as_of: date) -> str:
    """Kits to pack."""
    if state is None:
        return ""
    return f"{name.amount(state.quantity).text} by {words_for_day(state.need_on, as_of)}, {for_says(state.jobs)}"


def for_says(jobs: Iterable[str]) -> str:
    """Whom it is for."""
    named = in_words(list(jobs))
    return f"for {named}" if named else "for nobody"

"""Why a job was told something else than before: what is on record of it, of its blocking part and of its orders."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from django.db.models import Q, Sum

from bom.plan import Plan
from kits.catalog.days.words import words_for_day
from kits.catalog.fields import quantity_text
from kits.people.models import User
from kits.people.names import name_of
from kits.planning.queries import reading_of
from kits.planning.weeks.answers import Answers, JobAnswer
from kits.planning.words.states import in_words
from kits.purchasing.models import OrderLine, PromiseChange, Receipt
from kits.schedule.models import Job, JobChange, Verdict
from kits.schedule.stages import OPENED
from kits.schedule.words import VerdictWord
from kits.stock.models import Lot, Movement, Suspicion
from kits.stock.words import PostingKind

LOST = {
    PostingKind.SCRAP: "scrapped",
    PostingKind.COUNT: "missing at a count",
    PostingKind.ADJUST: "taken off the books",
    PostingKind.TO_QUARANTINE: "put into quarantine",
}
FOUND_BAD = (VerdictWord.RENEW, VerdictWord.MISSING)
NOT_ON_RECORD = {
    True: "Nothing on record says why: other jobs take what it counted on, or a list brought other figures.",
    False: "Nothing on record says why: what went to other jobs goes to it now, or a list brought other figures.",
}
"""By whether it comes later."""
Told = Mapping[str, list[str]]


class Reasons:
    """What is on record between two answers, for the jobs of which something became; a fixed number of statements."""

    def __init__(self, plan: Plan, before: Answers, after: Answers, became: Mapping[str, str]) -> None:
        self._plan, self._before, self._after = plan, before, after
        self._as_of, self._within = after.as_of, (before.at, after.at)
        moved = [job for job, what in became.items() if what in ("slipped", "recovered")]
        answers = [one for job in moved for one in (before.jobs.get(job), after.jobs[job]) if one]
        self._parts = {one.blocking_part for one in answers if one.blocking_part}
        self._orders = {order for one in answers for order in one.orders}
        self._changed = self._read_changes(became)
        self._held = dict(
            Job.objects.filter(job__in=[job for job, what in became.items() if what == "held"]).values_list(
                "job", "held_because"
            )
        )
        self._opened = self._read_opened(moved)
        self._promises, self._late_orders = self._read_promises()
        self._came, self._lots, self._lost = self._read_came(), self._read_lots(), self._read_lost()

    def of(self, job: str, became: str) -> tuple[str, ...]:
        """Why it became so, the weightiest first."""
        was, now = self._before.jobs.get(job), self._after.jobs.get(job)
        said = list(self._changed.get(job, ()))
        if became == "held" and self._held.get(job):
            said.append(f"held: {self._held[job]}")
        if was and now and became in ("slipped", "recovered"):
            said += self._of_moved(was, now, later=became == "slipped", told=said)
        return tuple(dict.fromkeys(said))

    def _of_moved(self, was: JobAnswer, now: JobAnswer, *, later: bool, told: Sequence[str]) -> Iterator[str]:
        day_is_told = any("build day" in says for says in told)
        found = list(self._told(was, now, later=later, day_is_told=day_is_told))
        yield from found
        if not found and not told:
            yield NOT_ON_RECORD[later]

    def _told(self, was: JobAnswer, now: JobAnswer, *, later: bool, day_is_told: bool) -> Iterator[str]:
        if not was.asks:
            yield "taken up again"
        if was.build_on != now.build_on and not day_is_told:
            yield f"its build day was moved from {self._day(was.build_on)} to {self._day(now.build_on)} by a list"
        if was.build_on >= self._before.as_of and now.build_on < self._as_of:
            yield f"its build day, {self._day(now.build_on)}, has passed, and it is not built"
        if later and was.stage not in OPENED and now.stage in OPENED:
            found = self._opened.get(now.job)
            yield f"opened since: {found}" if found else "opened since"
        if later and now.blocking_part and now.blocking_part != was.blocking_part:
            before = f", {was.blocking_part} before" if was.blocking_part else ""
            yield f"it waits for {now.blocking_part} now{before}"
        if later and now.blocking_part == was.blocking_part and was.status == now.status == "short":
            yield f"{now.blocking_part} is still on no order"
        held_by = now if later else was
        yield from self._promises.get(held_by.blocking_part, ())
        for order in held_by.orders if later else ():
            yield from self._promises.get(order, ())
            if order not in was.orders and order in self._late_orders:
                yield self._late_orders[order]
        if later:
            for part_number, lot, last in self._lots.get(now.blocking_part, ()):
                if was.build_on <= last < max(now.build_on, self._as_of):
                    ends = "ran" if last < self._as_of else "runs"
                    yield f"lot {lot} of {part_number} {ends} out of life on {self._day(last)}"
            yield from self._lost.get(now.blocking_part, ())
            yield from self._takers(now)
        else:
            for name in (was.blocking_part, *was.orders):
                yield from self._came.get(name, ())

    def _takers(self, now: JobAnswer) -> Iterator[str]:
        """The jobs that are new or were moved forward since, and take of the part that holds this one."""
        if self._after.pk or not now.blocking_part:
            return
        needs = reading_of(self._plan).needs_of(now.blocking_part)
        takers = []
        for asker, quantity in needs.items():
            before, after = self._before.jobs.get(asker.name), self._after.jobs.get(asker.name)
            came = after is not None and (before is None or after.build_on < before.build_on)
            if came and quantity and asker.name != now.job and asker.build_on <= now.build_on:
                takers.append(asker.name)
        if takers:
            yield f"{now.blocking_part} goes to {in_words(takers)} first, new or built sooner since"

    def _read_changes(self, jobs: Iterable[str]) -> Told:
        rows = JobChange.objects.filter(job__job__in=list(jobs), at__range=self._within)
        found: dict[str, list[str]] = defaultdict(list)
        for row in rows.order_by("pk").select_related("job", "by"):
            found[row.job.job].append(f"{self._change_says(row)}{_who(row.by)}: {row.why}")
        return found

    def _change_says(self, row: JobChange) -> str:
        if row.given_up:
            return "given up"
        days = (self._day(row.build_on_before), self._day(row.build_on))
        pairs = (
            ("its build day was moved", *days),
            ("its priority was changed", str(row.priority_before), str(row.priority)),
            ("its scope was changed", row.scope_before, row.scope),
            ("its number of pumps was changed", str(row.quantity_before), str(row.quantity)),
            ("its options were changed", row.option_before or "as listed", row.option or "as listed"),
            ("its pump was changed", row.pump_before, row.pump),
        )
        said = [f"{what} from {was} to {now}" for what, was, now in pairs if was != now]
        return ", ".join(said) or "changed"

    def _read_opened(self, jobs: Iterable[str]) -> Mapping[str, str]:
        opened = [
            job
            for job in jobs
            if self._after.jobs[job].stage in OPENED and (was := self._before.jobs.get(job)) and was.stage not in OPENED
        ]
        counts: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        rows = Verdict.objects.filter(job__job__in=opened, verdict__in=FOUND_BAD).order_by("pk")
        for job, part_number in rows.values_list("job__job", "item__part_number"):
            counts[job][part_number] += 1
        return {
            job: f"{in_words([f'{count} × {part}' for part, count in parts.items()], longest=5)} to be renewed"
            for job, parts in counts.items()
        }

    def _read_promises(self) -> tuple[Told, dict[str, str]]:
        """What was said of promises by part and by order, and which of the orders were not kept."""
        rows = PromiseChange.objects.filter(at__range=self._within).order_by("pk")
        found: dict[str, list[str]] = defaultdict(list)
        for row in rows.select_related("order_line__item", "by"):
            line = row.order_line
            part, reason = line.item.part_number, f": {row.reason}" if row.reason else ""
            says = (
                f"the promise of {line.order} for {part} was moved from {self._day(row.was_on)} to "
                f"{self._day(row.promised_on)}{_who(row.by)}{reason}"
            )
            for name in {part, line.order} & (self._parts | self._orders):
                found[name].append(says)
        late = OrderLine.objects.open().filter(
            order__in=self._orders, promised_on__gte=self._before.as_of, promised_on__lt=self._as_of
        )
        broken = {
            order: f"{order} was promised for {self._day(promised_on)} and has not come"
            for order, promised_on in late.order_by("-promised_on").values_list("order", "promised_on")
        }
        return found, broken

    def _read_came(self) -> Told:
        """What came in and what was ordered, by part, and what came in by order."""
        found: dict[str, list[str]] = defaultdict(list)
        wanted = Q(order_line__item__part_number__in=self._parts) | Q(order_line__order__in=self._orders)
        rows = Receipt.objects.filter(wanted, posting__at__range=self._within).order_by("order_line__order")
        came = rows.values_list("order_line__item__part_number", "order_line__order").annotate(Sum("quantity"))
        for part_number, order, quantity in came:
            if quantity > 0:
                for name in {part_number, order} & (self._parts | self._orders):
                    found[name].append(f"{quantity_text(quantity)} × {part_number} came in with {order}")
        ordered = OrderLine.objects.filter(item__part_number__in=self._parts, entry__at__range=self._within)
        lines = ordered.order_by("pk").values_list("item__part_number", "order", "promised_on")
        for part_number, order, promised_on in lines:
            found[part_number].append(f"{part_number} was ordered, {order}, promised for {self._day(promised_on)}")
        return found

    def _read_lots(self) -> Mapping[str, list[tuple[str, str, date]]]:
        """The lots of the parts that run out some day."""
        found: dict[str, list[tuple[str, str, date]]] = defaultdict(list)
        lots = Lot.objects.filter(item__part_number__in=self._parts, balances__quantity__gt=0).select_related("item")
        for lot in lots.order_by("pk").distinct():
            if (last := lot.last_use_on) is not None:
                found[lot.item.part_number].append((lot.item.part_number, lot.lot, last))
        return found

    def _read_lost(self) -> Told:
        """What the parts lost: lots that came under suspicion, pieces scrapped or not found at a count."""
        found: dict[str, list[str]] = defaultdict(list)
        suspected = Suspicion.objects.filter(lot__item__part_number__in=self._parts, at__range=self._within)
        for row in suspected.order_by("pk").select_related("lot__item"):
            part_number = row.lot.item.part_number
            found[part_number].append(f"lot {row.lot.lot} of {part_number} came under suspicion: {row.reason}")
        moves = Movement.objects.filter(
            posting__kind__in=LOST,
            posting__at__range=self._within,
            posting__reversed_by__isnull=True,
            balance__job__isnull=True,
            balance__condition="usable",
            balance__lot__item__part_number__in=self._parts,
        ).order_by("balance__lot__item__folded", "posting__kind")
        totals = moves.values_list("balance__lot__item__part_number", "posting__kind").annotate(Sum("quantity"))
        for part_number, kind, quantity in totals:
            if quantity < 0:
                found[part_number].append(f"{quantity_text(-quantity)} × {part_number} {LOST[PostingKind(kind)]}")
        return found

    def _day(self, on: date) -> str:
        return words_for_day(on, self._as_of)


def _who(by: User | None) -> str:
    return f" by {name_of(by)}" if by else ""

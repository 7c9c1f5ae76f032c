"""A year of invented work in the demo shop, done through the same actions that people use, so that the books can be
proved on something longer than a morning.

Each Monday new jobs are taken in and what the plan asks for is ordered; each day what was promised is received,
rounds are picked (sometimes short, miscounted or taken back), pumps are built and their bags closed, bins are counted,
lots moved, dead ones thrown away. The same seed does the same work.
"""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Q

from bom.answers.rows import as_json
from bom.questions.bag_check import check_bags
from bom.values import ONE, Line
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.queries import read_calendar, read_settings
from kits.exchange.actions import load_files
from kits.exchange.files.sheet_file import SheetFile
from kits.people.models import User
from kits.picking.actions import confirm_line, give_up_round, start_round, undo_line
from kits.picking.closing.actions import (
    OpenedAgain,
    close_job,
    record_failed_test,
    record_shipment,
    record_test,
    take_step_back,
)
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.models import PickLine, PickRound
from kits.picking.queries import bag_balances
from kits.picking.rounds.line_check import Damage
from kits.picking.words import LeftGoes
from kits.planning.desk.actions import keep_expected_wear
from kits.planning.opening.gate import opening_gate
from kits.planning.queries import plan_now, reading_of
from kits.planning.weeks.actions import keep_answers
from kits.purchasing.models import OrderLine
from kits.purchasing.receiving.actions import receive_delivery
from kits.purchasing.receiving.checks import DeliveredLot
from kits.schedule.actions import move_stage, write_strip_report
from kits.schedule.looks import Look, PositionLook
from kits.schedule.models import Job
from kits.schedule.words import Stage, VerdictWord
from kits.service.models import Gauge
from kits.service.testing.judging import TestSaid
from kits.service.testing.queries import limits_of
from kits.stock.actions import count_shelf, move_stock, reverse_posting, scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Movement, Place, Posting
from kits.stock.words import Condition, PlaceKind
from kits.stock.writes import LotFacts

LONGEST_DAYS = 366
WEEKS_AHEAD = 3
STRIP_DAYS_AHEAD = 5
WAIT_DAYS = 3
AGAIN_IN_DAYS = 5
"""How long after a test that was not passed the pump is built again, in days of the calendar."""
PICK_DAYS_AHEAD = 2


@dataclass(slots=True)
class Tally:
    """What was done, by kind of work, and what was refused with its sentence."""

    done: dict[str, int] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)

    def add(self, what: str) -> None:
        """One more of it."""
        self.done[what] = self.done.get(what, 0) + 1


class YearOfWork:
    """The shop at work, day after day from the day on which its records stand."""

    def __init__(self, *, by: User, seed: int, jobs_a_week: int, tell: Callable[[str], None]) -> None:
        self.by, self.seed, self.jobs_a_week, self.tell = by, seed, jobs_a_week, tell
        self.dice = random.Random(seed)
        self.tally = Tally()
        self.kinds = list(
            Job.objects.order_by("pk").values_list("pump__part_number", "scope", "option", "cleanliness", "customer")
        )
        self.requests = 0
        gauge = Gauge.objects.order_by("-due_on").first()
        self.gauge = gauge.pk if gauge else None

    def run(self, movements: int) -> Tally:
        """Work until the ledger holds so many movements, at most for a year."""
        today = read_settings().today or date(2026, 3, 4)
        last = today + timedelta(days=LONGEST_DAYS)
        calendar = read_calendar(read_settings())
        started = Movement.objects.count()
        while today < last and (made := Movement.objects.count() - started) < movements:
            self.work_day(today)
            if today.weekday() == 0:
                self.tell(f"{today}: {made} of {movements} movements")
            today = calendar.forward(today, 1)
        self.tell(f"{today}: {Movement.objects.count() - started} movements")
        return self.tally

    def work_day(self, today: date) -> None:
        """One working day."""
        self.load("settings", [{"name": "today", "value": today.isoformat()}])
        if today.weekday() == 0 or not self.tally.done:
            self.do("answers kept", keep_answers, at=self.now(today))
            self.take_in_jobs(today)
            self.order(today)
        self.receive(today)
        self.strip(today)
        self.pick(today)
        self.send_out(today)
        self.build(today)
        self.keep_the_shelf(today)

    def take_in_jobs(self, today: date) -> None:
        """New jobs for the week that is so many weeks ahead."""
        calendar = read_calendar(read_settings())
        rows = []
        for number in range(self.jobs_a_week):
            pump, scope, option, cleanliness, customer = self.dice.choice(self.kinds)
            build_on = calendar.forward(today + timedelta(weeks=WEEKS_AHEAD), self.dice.randrange(5))
            name = f"Y{self.seed}-{today:%y%m%d}-{number + 1:02}"
            values = (name, pump, scope, build_on.isoformat(), "A year of work", option, cleanliness, customer)
            rows.append(dict(zip(JOB_COLUMNS, values, strict=True)))
        self.load("schedule", rows)

    def order(self, today: date) -> None:
        """Order what the plan asks to buy."""
        answer = as_json(plan_now())
        rows = [
            {
                "order": f"Y{self.seed}-{today:%y%m%d}",
                "line": number,
                "supplier": row["supplier"],
                "part_number": row["part_number"],
                "quantity": row["order_quantity"],
                "promised": row["earliest_arrival"] or today.isoformat(),
            }
            for number, row in enumerate(answer["buy"], 1)
            if row["supplier"] and row["order_quantity"]
        ]
        if rows:
            self.load("orders", rows)

    def receive(self, today: date) -> None:
        """Put away what was promised by today, some of it late, some in two halves."""
        due = OrderLine.objects.open().filter(promised_on__lte=today).select_related("item").order_by("pk")
        homes = {place.folded: place.pk for place in Place.objects.filter(kind=PlaceKind.BIN)}
        bins = sorted(homes.values())
        for line in due:
            if self.dice.random() < 0.1:
                continue
            half = line.quantity // (2 * ONE) * ONE
            quantity = half if half and self.dice.random() < 0.1 else line.quantity
            code = f"Y{today:%y%m%d}-{line.pk}"
            facts = LotFacts(
                cure=quarter_before(today) if dated(line.item) else "", received_on=today, certificate=f"C-{code}"
            )
            place = homes.get(line.item.home_place.casefold(), self.dice.choice(bins))
            self.do(
                "received",
                receive_delivery,
                item=line.item,
                order_line=line,
                lots=[DeliveredLot(code, facts, quantity, place)],
                asked={},
                reason="",
                short_life_reason="younger ones were not to be had",
                over_reason="",
                today=today,
                at=self.now(today),
            )

    def strip(self, today: date) -> None:
        """Open the pumps that are built in the next days; what is worn goes by the rates that the lists give."""
        through = read_calendar(read_settings()).forward(today, STRIP_DAYS_AHEAD)
        closed = Job.objects.filter(stage__in=(Stage.EXPECTED, Stage.HERE), build_on__lte=through).order_by("pk")
        jobs = list(closed)
        plan = plan_now() if jobs else None
        lists = reading_of(plan).lists if plan else None
        found = check_bags(lists.compiled, plan.shop, {job.job: () for job in jobs}) if plan and lists else {}
        for job in jobs:
            assert lists is not None, "read where there are jobs"
            looks = [self.look(one.where, lists.held(one.line).line) for one in found[job.job].unseen]
            if looks:
                gate = opening_gate(job, self.by)
                self.do("pumps stripped", write_strip_report, job=job, looks=looks, gate=gate, at=self.now(today))
            else:
                said: dict[str, Any] = {"job": job, "seen": job.stage, "stage": Stage.STRIPPED.value}
                said["gate"] = opening_gate(job, self.by)
                self.do("pumps stripped", move_stage, at=self.now(today), **said)
        keep_expected_wear()

    def look(self, where: str, line: Line) -> Look:
        """One position, worn by chance."""
        worn = self.dice.random() * 100 < float(line.renewals_per_100 or 0)
        said = PositionLook(VerdictWord.RENEW.value, "worn") if worn else PositionLook(VerdictWord.KEEP.value)
        return Look(where, line.child, PositionLook(), said)

    def pick(self, today: date) -> None:
        """A round for the jobs that are built in the next days, and one for each class of clean ones among them."""
        through = read_calendar(read_settings()).forward(today, PICK_DAYS_AHEAD)
        jobs = list(Job.objects.asking().filter(build_on__lte=through).order_by("build_on", "pk")[:12])
        for kind in sorted({job.cleanliness for job in jobs}):
            self.walk([job for job in jobs if job.cleanliness == kind], today)

    def walk(self, jobs: Sequence[Job], today: date) -> None:
        """One round."""
        made = self.do("rounds", start_round, jobs=jobs, at=self.now(today))
        if not isinstance(made, PickRound):
            return
        for line in made.lines.filter(state="open").select_related("lot__item"):
            self.pick_line(line, today)
        give_up_round(pick_round=made, by=self.by, at=self.now(today))

    def pick_line(self, line: PickLine, today: date) -> None:
        """One line, in full as a rule; now and then the bin holds less, or the line is taken back and booked again."""
        asked = {share.bag.job_id: share.asked for share in line.shares.select_related("bag")}
        luck = self.dice.random()
        said: dict[str, Any] = {"line": line, "at": self.now(today)}
        if luck < 0.02:
            nothing = dict.fromkeys(asked, 0)
            self.do("lines", confirm_line, "request_key", quantities=nothing, reason="torn bag, left", **said)
            return
        if luck < 0.03:
            goes = self.dice.choice((LeftGoes.QUARANTINE, LeftGoes.SCRAP))
            said["damage"] = Damage(ONE, goes, "nicked")
        booked = self.do("lines", confirm_line, "request_key", quantities=asked, **said)
        if booked is not None and luck > 0.99:
            self.do("lines taken back", undo_line, "request_key", reason="wrong bag", **said)
            self.do("lines", confirm_line, "request_key", quantities=asked, **said)

    def build(self, today: date) -> None:
        """Close the parts of the jobs whose build day is here; now and then something is left in the bag.

        A pump that still waits for a part after some days is put together with one from the store.
        """
        given_up_on = read_calendar(read_settings()).back(today, WAIT_DAYS)
        for job in Job.objects.asking().filter(Q(build_on=today) | Q(build_on__lte=given_up_on)).order_by("pk"):
            left = [
                LeftOver(balance.lot_id, ONE, *self.dice.choice(LEFT_WAYS))
                for balance in bag_balances(job)
                if balance.lot.item.countable and balance.quantity >= ONE and self.dice.random() < 0.05
            ]
            place = Place.objects.filter(kind=PlaceKind.BIN).order_by("pk").first()
            left = [replace(one, place_id=place.pk if place else None) for one in left]
            why = "put together with a part from a pump in the store" if left or job.build_on < today else ""
            self.do("jobs built", close_job, job=job, decisions=left, why=why, at=self.now(today))

    def send_out(self, today: date) -> None:
        """Ship what was tested, test what was built, a day after; now and then a pump leaks and is opened again."""
        for job in Job.objects.filter(stage=Stage.TESTED).order_by("pk"):
            self.do("pumps shipped", record_shipment, job=job, says="", at=self.now(today))
        for job in Job.objects.filter(stage=Stage.BUILT).order_by("pk"):
            luck = self.dice.random()
            if luck < 0.01:
                again = OpenedAgain(job.scope, job.quantity, today + timedelta(days=AGAIN_IN_DAYS))
                sheet = TestSaid({"stall": "5"}, gauge=self.gauge, says="it does not build up pressure")
                self.do("tests not passed", record_failed_test, job=job, sheet=sheet, again=again, at=self.now(today))
            elif luck < 0.02:
                said: dict[str, Any] = {"job": job, "seen": Stage.BUILT.value, "why": "it leaks at the gland"}
                self.do("jobs opened again", take_step_back, at=self.now(today), **said)
            else:
                self.test(job, today)

    def test(self, job: Job, today: date) -> None:
        """Read each pump of a job off a gauge, in the middle of every limit."""
        readings = {}
        for limit in limits_of(job.pump):
            known = [value for value in (limit.at_least, limit.at_most) if value is not None]
            readings[limit.check_of] = f"{sum(known) / len(known):f}"
        for number in range(1, job.quantity + 1):
            sheet = TestSaid(readings, gauge=self.gauge, pump_number=number, says="" if readings else "held")
            said: dict[str, Any] = {"job": job, "says": sheet.says, "sheet": sheet if readings else None}
            self.do("pumps tested", record_test, at=self.now(today), **said)
            if not readings:
                return

    def keep_the_shelf(self, today: date) -> None:
        """Count some bins, carry some lots, throw away what is dead, take a posting back that was wrong."""
        held = list(
            Balance.objects.on_shelf().filter(quantity__gt=0).select_related("lot__item", "place").order_by("pk")
        )
        for balance in self.some(held, 6):
            self.count(balance, today)
        bins = list(Place.objects.filter(kind=PlaceKind.BIN).order_by("pk"))
        for balance in self.some([row for row in held if row.condition == Condition.USABLE], 4):
            self.carry(balance, self.dice.choice(bins), today)
        for balance in held:
            last = balance.lot.last_use_on
            if last is not None and last < today:
                self.throw_away(Balance.objects.get(pk=balance.pk), last, today)

    def count(self, balance: Balance, today: date) -> None:
        """A count that agrees as a rule, and of those that do not some were of the wrong bin."""
        off = self.dice.choice((0, 0, 0, 0, -1, 1)) * ONE
        said: dict[str, Any] = {"account": on_shelf(balance), "counted": max(0, balance.quantity + off)}
        posting = self.do("counts", count_shelf, reason="daily count", at=self.now(today), **said)
        if isinstance(posting, Posting) and self.dice.random() < 0.1:
            self.do("taken back", reverse_posting, posting=posting, reason="the wrong bin", at=self.now(today))

    def carry(self, balance: Balance, place: Place, today: date) -> None:
        """All of a lot to another bin."""
        source = on_shelf(balance)
        target = OnShelf(balance.lot_id, place.pk, balance.condition, balance.packet)
        said: dict[str, Any] = {"source": source, "target": target, "quantity": balance.quantity}
        if source != target:
            self.do("moves", move_stock, reason="to its bin", at=self.now(today), **said)

    def throw_away(self, balance: Balance, last_use_on: date, today: date) -> None:
        """A lot past its last day."""
        said: dict[str, Any] = {"source": on_shelf(balance), "quantity": balance.quantity}
        if balance.quantity:
            self.do("thrown away", scrap_stock, reason=f"past its last use, {last_use_on}", at=self.now(today), **said)

    def some(self, rows: Sequence[Balance], count: int) -> list[Balance]:
        """A few of them by chance."""
        return self.dice.sample(rows, min(count, len(rows)))

    def do(self, what: str, action: Callable[..., Any], key_name: str = "key", **said: Any) -> Any:
        """Do it under a key of its own, and remember that it was done, or why not."""
        self.requests += 1
        try:
            done = action(by=self.by, **{key_name: f"year:{self.seed}:{self.requests}"}, **said)
        except Refusal as refusal:
            self.tally.refused.append(f"{what}: {refusal}")
            return None
        self.tally.add(what)
        return done

    def load(self, sheet: str, rows: Iterable[dict[str, Any]]) -> None:
        """Bring rows in as a sheet, as the command does, whoever's list it is."""
        rows, out = list(rows), io.StringIO()
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        outcome = load_files(files=[SheetFile(f"{sheet}.csv", out.getvalue().encode())], by=None, at=self.moment)
        if outcome.problems:
            raise Refusal(f"The invented {sheet} were refused: {outcome.problems[0].says}")

    def now(self, today: date) -> datetime:
        """A moment of the working day."""
        self.moment = datetime.combine(today, time(9), UTC) + timedelta(seconds=self.requests % 25_000)
        return self.moment

    moment: datetime = datetime(2026, 3, 4, 9, tzinfo=UTC)


JOB_COLUMNS = ("job", "pump", "scope", "build_date", "batch", "option", "cleanliness", "customer")
LEFT_WAYS = (
    (LeftGoes.BACK, None, ""),
    (LeftGoes.BACK, None, ""),
    (LeftGoes.QUARANTINE, None, "fell on the floor"),
    (LeftGoes.SCRAP, None, "cut while fitting"),
)


def on_shelf(balance: Balance) -> OnShelf:
    """The account of a balance of the shelf."""
    assert balance.place_id is not None
    return OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)


def dated(item: Item) -> bool:
    """Whether a lot of the item needs a cure date."""
    return item.shelf_life_months is not None


def quarter_before(today: date) -> str:
    """The quarter before the one of this day, as makers print it."""
    quarter, year = (today.month - 1) // 3, today.year
    return f"{quarter}Q{year % 100:02}" if quarter else f"4Q{(year - 1) % 100:02}"


def movements_by_kind() -> dict[str, int]:
    """How many movements each kind of posting made, the most on top."""
    rows = Movement.objects.order_by().values_list("posting__kind").annotate(made=Count("pk")).order_by("-made")
    return dict(rows)

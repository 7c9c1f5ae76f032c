"""The week's sheet on a shop in which each job has a pump and a ring of its own, at 10 EUR; worked by hand.

The week is that from Monday 9 to Sunday 15 March 2026, looked at on Monday the 16th.
"""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.db import transaction
from django.db.models import Sum

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Item, Setting
from kits.planning.models import KeptAnswers
from kits.planning.queries import plan_now
from kits.planning.weeks.actions import keep_answers
from kits.planning.weeks.week_sheet import week_sheet
from kits.purchasing.actions import change_promise
from kits.purchasing.models import OrderLine, Receipt, Supplier
from kits.schedule.models import Job, JobChange, JobStep
from kits.schedule.words import Stage
from kits.stock.ledger import Entry, OnShelf, WithJob, post, reverse
from kits.stock.models import Lot, Movement, Place, Posting
from kits.stock.queries import ledger_differences
from kits.stock.words import PostingKind
from tests.kits.exchange.books import load_sheets
from tests.kits.kept_rows import load_once, stored
from tests.kits.persons import person_of
from tests.kits.planning.test_what_changed import SHEETS
from tests.kits.web.shops import sheet_of

BUILDS = {"SAME": 10, "MOVED": 11, "PROMISE": 12, "GIVEN": 13, "HELD": 13, "DONE": 9, "CAME": 18}
"""The day of March on which each job of the week is to be built; the others much later."""


def at(day, hour=12):
    return datetime(2026, 3, day, hour, tzinfo=UTC)


def step(job, before, after, day, says="", hour=12):
    key = f"{job}{before}{after}{day}"
    JobStep.objects.create(
        job=Job.objects.get(job=job), key=key, before=before, after=after, at=at(day, hour), says=says
    )
    Job.objects.filter(job=job).update(stage=after)


def use_up(name, day, count=1):
    """Rings of a job are issued and used up in it, as the closing of its parts posts it."""
    job, item = Job.objects.get(job=f"J-{name}"), Item.objects.get(part_number=f"OR-{name}")
    lot, _ = Lot.objects.get_or_create(item=item, lot=f"W-{name}")
    shelf, issued = OnShelf(lot.pk, Place.objects.get(place="A1").pk), WithJob(lot.pk, job.pk, "issued")
    entries = ((PostingKind.COUNT, [Entry(shelf, count * ONE)]),)
    entries += ((PostingKind.ISSUE, [Entry(shelf, -count * ONE), Entry(issued, count * ONE)]),)
    entries += ((PostingKind.CONSUME, [Entry(issued, -count * ONE)]),)
    for kind, moved in entries:
        posting = post(entries=moved, kind=kind, by=None, at=at(day), key=f"{name}{kind}{day}", reason="x", job=job)
    return posting


@pytest.fixture
def planner(db):
    """The planner of a shop whose week is over; its first answers were kept on Monday morning."""
    load_once("what changed", lambda: stored(load_sheets(SHEETS)))
    planner = person_of("Planner", "pat", first_name="Pat", last_name="Planner")
    set_day(9)
    with transaction.atomic():
        mark_shop()
        Job.objects.update(build_on=date(2026, 4, 20))
        for name, day in BUILDS.items():
            Job.objects.filter(job=f"J-{name}").update(build_on=date(2026, 3, day))
        OrderLine.objects.filter(order="PO-1").update(promised_on=date(2026, 3, 12))
    keep_answers(by=planner, at=at(9, 5), key="monday")
    work_through_the_week(planner)
    set_day(16)
    return planner


def set_day(day):
    with transaction.atomic():
        mark_catalog()
        Setting.objects.filter(name="today").update(value=f"2026-03-{day:02}")


def work_through_the_week(planner):
    change_promise(
        order_line=OrderLine.objects.get(order="PO-1").pk, promised_on=date(2026, 3, 20),
        reason="their furnace is down", by=planner, at=at(11), today=date(2026, 3, 11), key="promise",
    )  # fmt: skip
    with transaction.atomic():
        mark_shop()
        rob_a_kit(planner)
        build_and_open_again()
        decide(planner)
        buy_late()


def build_and_open_again():
    """SAME on its day with a ring more than planned, MOVED a day late, CAME ahead of its day; DONE is opened again."""
    for name, day, count in (("SAME", 10, 2), ("MOVED", 12, 1), ("CAME", 13, 1)):
        use_up(name, day, count)
        step(f"J-{name}", Stage.BUILDING, Stage.BUILT, day, "the bench was taken" if name == "MOVED" else "")
    consumed = use_up("DONE", 9)
    step("J-DONE", Stage.BUILDING, Stage.BUILT, 9)
    step("J-DONE", Stage.BUILT, Stage.BUILDING, 10, "it leaks")
    reverse(posting=consumed, by=None, at=at(10), key="again", reason="opened again")


def decide(planner):
    moved = Job.objects.get(job="J-GIVEN")
    JobChange.objects.create(
        job=moved, key="moved", by=planner, at=at(12), why="the ferry sails later", build_on_before=moved.build_on,
        build_on=date(2026, 3, 20), priority_before=5, priority=5, scope_before="full", scope="full",
    )  # fmt: skip
    Job.objects.filter(pk=moved.pk).update(build_on=date(2026, 3, 20))
    Job.objects.filter(job="J-HELD").update(stage="held", held_because="no order number")


def buy_late():
    """PO-2 has not come; PO-3 came on Thursday for Tuesday; PO-4 came on its day."""
    supplier = Supplier.objects.get(supplier="Ring House")
    for order, name, day, came in (("PO-2", "SAME", 13, None), ("PO-3", "MOVED", 10, 12), ("PO-4", "DIED", 10, 10)):
        item = Item.objects.get(part_number=f"OR-{name}")
        line = OrderLine.objects.create(
            order=order, line="1", supplier=supplier, item=item, quantity=0 if came else 5 * ONE,
            received_quantity=5 * ONE if came else 0, promised_on=date(2026, 3, day),
        )  # fmt: skip
        if came:
            lot = Lot.objects.create(item=item, lot=order)
            entry = Entry(OnShelf(lot.pk, Place.objects.get(place="A1").pk), 5 * ONE)
            posting = post(entries=[entry], kind=PostingKind.RECEIVE, by=None, at=at(came), key=order)
            Receipt.objects.create(order_line=line, posting=posting, quantity=5 * ONE, off_open=5 * ONE)


def rob_a_kit(planner):
    kit = Item.objects.create(part_number="K-1", description="kit", kind="kit", stock_unit="each")
    whole, robbed = (Lot.objects.create(item=kit, lot=lot) for lot in ("P-7", "P-7/2"))
    ring = Lot.objects.create(item=Item.objects.get(part_number="OR-SAME"), lot="from P-7")
    place, job = Place.objects.get(place="A1").pk, Job.objects.get(job="J-SAME")
    post(entries=[Entry(OnShelf(whole.pk, place), ONE)], kind=PostingKind.COUNT, by=None, at=at(9), key="kit")
    moved = [
        Entry(OnShelf(whole.pk, place), -ONE),
        Entry(OnShelf(robbed.pk, place), ONE),
        Entry(WithJob(ring.pk, job.pk, "issued"), ONE),
    ]
    post(entries=moved, kind=PostingKind.ROB, by=planner, at=at(10), key="rob", reason="one was torn", job=job)


def test_the_week_by_hand(planner):
    """Six jobs were planned. SAME and MOVED were built, SAME on its day; CAME was built besides, ahead of its day."""
    sheet = week_sheet(plan_now(), date(2026, 3, 11))
    assert (sheet.week.first_on, sheet.week.last_on) == (date(2026, 3, 9), date(2026, 3, 15))
    assert (sheet.planned, sheet.built, sheet.built_of_planned, sheet.on_their_day) == (6, 3, 2, 1)
    assert sheet.says == "6 jobs were planned; 2 of them are built, 1 on its day."
    assert sheet.follows == "1 job besides, 3 broken promises, 1 piece out of kits."
    assert [(row.job, row.planned_on and row.planned_on.day, row.built_on and row.built_on.day, row.why_not)
            for row in sheet.jobs] == [
        ("J-DONE", 9, None, "built, and opened again: it leaks"),
        ("J-SAME", 10, 10, ""),
        ("J-MOVED", 11, 12, "the bench was taken"),
        ("J-PROMISE", 12, None, "waits for OR-PROMISE, here on 20 Mar"),
        ("J-GIVEN", 13, None, "moved to 20 Mar by Pat Planner: the ferry sails later"),
        ("J-HELD", 13, None, "held: no order number"),
        ("J-CAME", None, 13, ""),
    ]  # fmt: skip
    assert [(row.order, row.part_number, row.promised_on.day, row.became) for row in sheet.promises] == [
        ("PO-3", "OR-MOVED", 10, "came on 12 Mar, 2 working days late"),
        ("PO-1", "OR-PROMISE", 12, "moved to 20 Mar: their furnace is down"),
        ("PO-2", "OR-SAME", 13, "5 still to come"),
    ]
    (piece,) = sheet.robbed
    assert (piece.part_number, piece.quantity.text, piece.kit, piece.kit_lot) == ("OR-SAME", "1", "K-1", "P-7")
    assert (piece.job, piece.by, piece.reason) == ("J-SAME", "Pat Planner", "one was torn")


def test_parts_cost_what_was_planned_and_what_the_ledger_says_was_used(planner):
    """A ring at 10 was planned for each; SAME took two. What was reversed in DONE counts for nothing."""
    sheet = week_sheet(plan_now(), date(2026, 3, 9))
    costs = {row.job: (row.planned and row.planned.sum, row.used and row.used.sum) for row in sheet.jobs}
    assert costs["J-SAME"] == (Decimal("10.00"), Decimal("20.00"))
    assert costs["J-MOVED"] == costs["J-CAME"] == (Decimal("10.00"), Decimal("10.00"))
    assert costs["J-DONE"] == (Decimal("10.00"), None)
    assert (sheet.planned_cost.sum, sheet.used_cost.sum, sheet.unplanned) == (Decimal("30.00"), Decimal("40.00"), 0)
    consumed = Movement.objects.filter(posting__kind="consume", posting__reversed_by=None).aggregate(n=Sum("quantity"))
    assert sheet.used_cost.sum == -10 * Decimal(consumed["n"]) / ONE


def test_what_a_job_has_already_counts_to_what_its_parts_are_planned_to_cost(planner):
    """PROMISE is sure to need one ring at 10; two rings of another part were issued to it beside that."""
    with transaction.atomic():
        mark_shop()
        job, lot = Job.objects.get(job="J-PROMISE"), Lot.objects.get(lot="L-HELD")
        place = Place.objects.get(place="A1").pk
        post(entries=[Entry(OnShelf(lot.pk, place), ONE)], kind=PostingKind.COUNT, by=None, at=at(15), key="two")
        moved = [Entry(OnShelf(lot.pk, place), -2 * ONE), Entry(WithJob(lot.pk, job.pk, "issued"), 2 * ONE)]
        post(entries=moved, kind=PostingKind.EXTRA_ISSUE, by=None, at=at(15), key="extra", reason="x", job=job)
    kept = keep_answers(by=planner, at=at(16), key="again")
    assert kept.answers.get(job="J-PROMISE").cost == Decimal("30.00")


def test_without_kept_answers_planned_is_what_the_days_and_their_recorded_moves_say(planner):
    KeptAnswers.objects.all().delete()
    sheet = week_sheet(plan_now(), date(2026, 3, 9))
    assert not sheet.from_answers
    assert {row.job: row.planned_on.day for row in sheet.jobs if row.planned_on} == {
        f"J-{name}": day for name, day in BUILDS.items() if day < 16
    }
    assert sheet.unplanned == 3


def test_a_day_that_is_still_to_come_needs_no_reason(planner):
    set_day(10)
    rows = {row.job: row.why_not for row in week_sheet(plan_now(), date(2026, 3, 9)).jobs}
    assert rows["J-PROMISE"] == ""
    sheet = week_sheet(plan_now(), date(2026, 3, 16))
    assert sheet.says == "1 job is planned; it is not built yet."


def test_the_page_names_the_week_by_any_of_its_days_and_gives_each_list_away(planner, client):
    client.force_login(planner)
    assert "6 jobs were planned" in sheet_of(client.get("/week/?week=2026-03-15"))
    assert "Parts used 40.00 EUR" in sheet_of(client.get("/week/?week=2026-03-09"))
    for odd in ("", "yesterday", "2026-02-30", "9999-12-31", "0001-01-01"):
        assert "16 Mar" in sheet_of(client.get("/week/", {"week": odd}))

    def file(which):
        answer = client.get("/week/", {"week": "2026-03-09", "list": which, "export": "csv"})
        return answer.content.decode("utf-8-sig").splitlines()

    assert len(file("jobs")) == 8
    assert file("jobs")[2].startswith("J-SAME,P-SAME,full,,,2026-03-10,2026-03-10,yes,,10.00,20.00,")
    assert len(file("promises")) == 4
    assert len(file("robbed")) == 2


def test_the_shop_of_the_test_posts_what_the_ledger_takes(planner):
    assert list(ledger_differences()) == []
    assert Posting.objects.filter(kind="consume").count() == 4

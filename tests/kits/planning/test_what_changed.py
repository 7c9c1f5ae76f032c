"""Two answers of the plan set against each other, on a shop in which each job has a pump and a ring of its own.

Worked by hand; the shop works Monday to Friday and has its parts there one working day before the build.
"""

import threading
from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Item, Setting, StructureLine
from kits.planning.models import KeptAnswers
from kits.planning.queries import plan_now
from kits.planning.weeks.actions import keep_answers, keep_first_of_week, keep_first_of_week_besides
from kits.planning.weeks.answers import answers_of, kept_answers, monday
from kits.planning.weeks.changes import compare, counted
from kits.purchasing.actions import change_promise
from kits.purchasing.models import OrderLine, Receipt, Supplier
from kits.schedule.models import Job, JobChange, Verdict
from kits.stock.ledger import Entry, OnShelf, post
from kits.stock.models import Lot, Place
from kits.stock.suspects.actions import freeze_lot
from kits.stock.writes import ShelfCount, post_shelf_counts
from kits.web import request_keys
from tests.kits.exchange.books import SHOP, load_sheets
from tests.kits.kept_rows import load_once, stored
from tests.kits.persons import person_of
from tests.kits.web.hands import tap
from tests.kits.web.shops import text_of

MONDAY, LATER = date(2026, 3, 2), date(2026, 3, 9)
AT = timezone.now() - timedelta(days=10)
"""When the first answers are kept; those of now are of this moment."""
NAMES = ("SAME", "GIVEN", "PROMISE", "CAME", "DONE", "MOVED", "DIED", "FOUND", "HELD", "RUSHED")
BUILDS = {"DIED": date(2026, 3, 6), "MOVED": date(2026, 3, 10), "CAME": date(2026, 3, 16)}
OTHER_BUILDS = date(2026, 3, 16)
IN_HAND = dict.fromkeys(NAMES, 1) | {"PROMISE": 0, "CAME": 0}
SHEETS = {
    "Settings": [["name", "value"], ["today", "2026-03-02"], ["currency", "EUR"]],
    "Items": [
        SHOP["Items"][0][:4],
        *([f"P-{name}", "pump", "pump", "each"] for name in NAMES),
        *([f"OR-{name}", "ring", "part", "each"] for name in NAMES),
        ["BA-1", "ball", "part", "each"],
    ],
    "Structure": [
        ["parent", "child", "quantity", "at_rebuild", "renewals_per_100", "position"],
        *([f"P-{name}", f"OR-{name}", 1, "renew", None, "ring"] for name in NAMES),
        ["P-FOUND", "BA-1", 2, "inspect", 10, "ball"],
    ],
    "Scopes": [["pump", "scope", "section", "how_many"], *([f"P-{name}", "full", f"P-{name}", 1] for name in NAMES)],
    "Places": SHOP["Places"],
    "Lots": [
        ["part_number", "lot", "quantity", "place", "last_use"],
        *(
            [f"OR-{name}", f"L-{name}", IN_HAND[name], "A1", date(2026, 3, 6) if name == "DIED" else None]
            for name in NAMES
            if IN_HAND[name]
        ),
    ],
    "Suppliers": SHOP["Suppliers"],
    "Offers": [
        ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
        *(["Ring House", f"OR-{name}", 1, 15, 10] for name in NAMES),
        ["Ring House", "BA-1", 1, 15, 3],
    ],
    "Orders": [
        ["order", "line", "supplier", "part_number", "quantity", "promised"],
        ["PO-1", "1", "Ring House", "OR-PROMISE", 1, date(2026, 3, 9)],
    ],
    "Schedule": [
        ["job", "pump", "scope", "build_date", "stage"],
        *([f"J-{name}", f"P-{name}", "full", BUILDS.get(name, OTHER_BUILDS), "here"] for name in NAMES),
    ],
}


@pytest.fixture
def shop(db):
    load_once("what changed", lambda: stored(load_sheets(SHEETS)))
    return person_of("Planner", "pat", first_name="Pat", last_name="Planner")


def change(job, **written):
    Job.objects.filter(job=job).update(**written)


def a_week_goes_by(planner, at):
    """What happens from Monday to Monday: to each job the one thing that its name says, to the first nothing."""
    change_promise(
        order_line=OrderLine.objects.get(order="PO-1").pk, promised_on=date(2026, 3, 20),
        reason="their furnace is down", by=planner, at=at, today=date(2026, 3, 3), key="promise",
    )  # fmt: skip
    with transaction.atomic():
        mark_catalog()
        mark_shop()
        Setting.objects.filter(name="today").update(value=LATER.isoformat())
        job = Job.objects.get(job="J-GIVEN")
        told = {"priority": 5, "scope": "full", "by": planner, "at": at}
        before = {"priority_before": 5, "scope_before": "full"}
        JobChange.objects.create(
            job=job, key="given", why="the customer buys a new one", given_up=True, build_on_before=job.build_on,
            build_on=job.build_on, **told, **before,
        )  # fmt: skip
        change("J-GIVEN", stage="cancelled")
        JobChange.objects.create(
            job=Job.objects.get(job="J-MOVED"), key="moved", why="the ferry sails later",
            build_on_before=date(2026, 3, 10), build_on=date(2026, 3, 20), **told, **before,
        )  # fmt: skip
        change("J-MOVED", build_on=date(2026, 3, 20))
        change("J-DONE", stage="built")
        change("J-HELD", stage="held", held_because="no order number from the customer")
        change("J-FOUND", stage="stripped")
        ball = Item.objects.get(part_number="BA-1")
        Verdict.objects.create(
            job=Job.objects.get(job="J-FOUND"), where="pump 1 / P-FOUND 1 / ball 1", item=ball, verdict="renew"
        )
        lot = Lot.objects.create(item=Item.objects.get(part_number="OR-CAME"), lot="NEW")
        shelf = OnShelf(lot.pk, Place.objects.get(place="A1").pk)
        post_shelf_counts([ShelfCount(shelf, ONE)], by=None, at=at, key="came")
        rushed = Job.objects.get(job="J-RUSHED")
        Job.objects.create(
            job="J-NEW", pump=rushed.pump, scope="full", build_on=date(2026, 3, 11), stage="here", priority=1
        )


def test_each_job_became_what_happened_to_it_and_says_why(shop):
    """Slipped or recovered by the first day on which it can be built; worked out day by day.

    PROMISE: its ring is promised for Friday 20 March, so it is built on Monday the 23rd, five working days after the
    16th. MOVED: from Tuesday the 10th to Friday the 20th, eight. DIED: its day was the 6th; bought today, the ring is
    here in 15 working days, on Monday the 30th, and it is built on the 31st, 17 working days later. FOUND: one ball is
    bought, here on the 30th, built on the 31st, eleven days after the 16th. RUSHED: the new job, built on the 11th,
    has the ring, and so it is built on the 31st as well. CAME: on the 2nd a ring would have come on the 23rd, built on
    the 24th; it lies there, so it is built on its day, the 16th, six days sooner.
    """
    before = kept_answers(keep_answers(by=shop, at=AT, key="first").pk)
    a_week_goes_by(shop, AT + timedelta(days=1))
    plan = plan_now()
    found = compare(plan, before, answers_of(plan))
    rows = {row.job: row for row in found.rows}
    assert {row.job: (row.became, row.days) for row in found.rows} == {
        "J-DIED": ("slipped", 17),
        "J-FOUND": ("slipped", 11),
        "J-RUSHED": ("slipped", 11),
        "J-MOVED": ("slipped", 8),
        "J-PROMISE": ("slipped", 5),
        "J-CAME": ("recovered", -6),
        "J-NEW": ("new", None),
        "J-DONE": ("done", None),
        "J-HELD": ("held", None),
        "J-GIVEN": ("cancelled", None),
    }
    assert found.same == 1
    assert found.says == "5 slipped, 1 recovered, 1 new, 1 done, 1 held, 1 cancelled, 1 job as before."
    assert {job: row.why for job, row in rows.items()} == {
        "J-DIED": (
            "its build day, 6 Mar, has passed, and it is not built",
            "it waits for OR-DIED now",
            "lot L-DIED of OR-DIED ran out of life on 6 Mar",
        ),
        "J-FOUND": ("opened since: 1 × BA-1 to be renewed", "it waits for BA-1 now"),
        "J-RUSHED": ("it waits for OR-RUSHED now", "OR-RUSHED goes to J-NEW first, new or built sooner since"),
        "J-MOVED": ("its build day was moved from 10 Mar to 20 Mar by Pat Planner: the ferry sails later",),
        "J-PROMISE": (
            "the promise of PO-1 for OR-PROMISE was moved from 9 Mar to 20 Mar by Pat Planner: their furnace is down",
        ),
        "J-CAME": (
            "Nothing on record says why: what went to other jobs goes to it now, or a list brought other figures.",
        ),
        "J-NEW": (),
        "J-DONE": (),
        "J-HELD": ("held: no order number from the customer",),
        "J-GIVEN": ("given up by Pat Planner: the customer buys a new one",),
    }
    assert counted(before, answers_of(plan)) == {"slipped": 5, "recovered": 1, "new": 1}


def test_answers_that_were_kept_twice_agree_with_those_of_now(shop):
    first = kept_answers(keep_answers(by=shop, at=AT, key="first").pk)
    a_week_goes_by(shop, AT + timedelta(days=1))
    second = kept_answers(keep_answers(by=shop, at=AT + timedelta(days=7), key="second").pk)
    plan = plan_now()
    kept, now = compare(plan, first, second), compare(plan, first, answers_of(plan))
    assert [(row.job, row.became, row.days) for row in kept.rows] == [
        (row.job, row.became, row.days) for row in now.rows
    ]
    # Answers that are kept say what each job costs: a ring at 10, and two balls at 3 of which one in ten is renewed.
    costs = {job: (answer.cost, answer.uncosted) for job, answer in first.jobs.items()}
    assert costs["J-SAME"] == (10, 0)
    assert str(costs["J-FOUND"][0]) == "10.60"


def test_nothing_became_of_any_job_where_nothing_happened(shop):
    before = kept_answers(keep_answers(by=shop, at=AT, key="first").pk)
    found = compare(plan_now(), before, answers_of(plan_now()))
    assert (found.rows, found.same, found.says) == ((), 10, "Nothing changed for any job.")


@pytest.mark.parametrize(
    ("on", "begins_on"),
    [
        (date(2026, 3, 1), date(2026, 2, 23)),
        (date(2026, 3, 2), date(2026, 3, 2)),
        (date(2026, 3, 8), date(2026, 3, 2)),
        (date(2026, 3, 9), date(2026, 3, 9)),
    ],
)
def test_a_week_begins_on_its_monday(on, begins_on):
    assert monday(on) == begins_on


def test_a_week_has_one_first_answer_however_often_it_is_asked_for(shop, capsys):
    kept = keep_first_of_week(by=shop, at=AT)
    assert (kept.week_on, kept.answers.count()) == (MONDAY, 10)
    assert keep_first_of_week(by=shop, at=AT) is None
    call_command("keep_answers")
    assert "kept already" in capsys.readouterr().out
    assert keep_answers(by=shop, at=AT, key="again").week_on is None
    assert keep_answers(by=shop, at=AT, key="again").pk == keep_answers(by=shop, at=AT, key="again").pk
    call_command("keep_answers", besides=True)
    assert "for 10 jobs" in capsys.readouterr().out
    assert KeptAnswers.objects.count() == 3


def test_keeping_changes_no_mark_so_no_plan_is_made_anew(shop):
    stamp = plan_now().shop.stamp
    keep_answers(by=shop, at=AT, key="first")
    assert plan_now().shop.stamp == stamp


def test_whoever_signs_in_first_in_a_week_keeps_its_first_answers(shop, client):
    shop.set_password("long enough a word")
    shop.save()
    for _ in range(2):
        assert client.post("/sign-in/", {"username": "pat", "password": "long enough a word"}).status_code == 302
        client.post("/sign-out/")
    kept = KeptAnswers.objects.get()
    assert (kept.week_on, kept.by) == (MONDAY, shop)
    client.get("/")
    assert KeptAnswers.objects.count() == 1


def test_lists_that_contradict_each_other_keep_nobody_from_signing_in(shop, client):
    with transaction.atomic():
        mark_catalog()
        ring, pump = (Item.objects.get(part_number=number) for number in ("OR-SAME", "P-SAME"))
        StructureLine.objects.create(parent=ring, child=pump, quantity=ONE, at_rebuild="renew", position="loop")
    keep_first_of_week_besides(by=shop, at=AT)
    assert not KeptAnswers.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_several_who_keep_the_first_answers_at_once_one_does():
    load_once("what changed", lambda: stored(load_sheets(SHEETS)))
    found, start = [], threading.Barrier(3)

    def keep():
        start.wait()
        try:
            found.append(keep_first_of_week(by=None, at=AT))
        finally:
            connection.close()

    threads = [threading.Thread(target=keep) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(found) == 3
    assert KeptAnswers.objects.count() == 1
    assert len({one.pk for one in found if one}) == 1


def test_what_came_in_was_scrapped_or_came_under_suspicion_is_told_as_the_reason(shop):
    before = kept_answers(keep_answers(by=shop, at=AT, key="first").pk)
    at, place = AT + timedelta(days=1), Place.objects.get(place="A1").pk
    lots = {lot.lot: lot for lot in Lot.objects.all()}
    freeze_lot(lot=lots["L-GIVEN"], reason="wrong size", by=shop, at=at, key="freeze")
    with transaction.atomic():
        mark_shop()
        item = Item.objects.get(part_number="OR-CAME")
        line = OrderLine.objects.create(
            order="PO-9", line="1", supplier=Supplier.objects.get(), item=item, quantity=0, received_quantity=ONE,
            promised_on=date(2026, 3, 3),
        )  # fmt: skip
        came = [Entry(OnShelf(Lot.objects.create(item=item, lot="NEW").pk, place), ONE)]
        posting = post(entries=came, kind="receive", by=None, at=at, key="receive")
        Receipt.objects.create(order_line=line, posting=posting, quantity=ONE, off_open=ONE)
        gone = [Entry(OnShelf(lots["L-SAME"].pk, place), -ONE)]
        post(entries=gone, kind="scrap", by=None, at=at, key="scrap", reason="torn")
    found = compare(plan_now(), before, answers_of(plan_now()))
    assert {row.job: (row.became, row.why) for row in found.rows} == {
        "J-CAME": ("recovered", ("1 × OR-CAME came in with PO-9",)),
        "J-SAME": ("slipped", ("it waits for OR-SAME now", "1 × OR-SAME scrapped")),
        "J-GIVEN": (
            "slipped",
            ("it waits for OR-GIVEN now", "lot L-GIVEN of OR-GIVEN came under suspicion: wrong size"),
        ),
    }


def test_a_part_that_nobody_ordered_makes_its_job_later_day_by_day(shop):
    """On Monday the ring would come on the 23rd, built on the 24th; on Tuesday each a day later."""
    before = kept_answers(keep_answers(by=shop, at=AT, key="first").pk)
    with transaction.atomic():
        mark_catalog()
        Setting.objects.filter(name="today").update(value="2026-03-03")
    (row,) = compare(plan_now(), before, answers_of(plan_now())).rows
    assert (row.job, row.became, row.days, row.why) == (
        "J-CAME",
        "slipped",
        1,
        ("OR-CAME is still on no order",),
    )


def test_the_page_sets_any_two_answers_against_each_other(shop, client, monkeypatch):
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 0)
    client.force_login(shop)
    assert "No answers are kept yet" in text_of(client.get("/changes/"))
    tap(client, "/changes/keep/", {}, on="/changes/")
    first = KeptAnswers.objects.get()
    assert "Nothing changed for any job." in text_of(client.get("/changes/"))
    KeptAnswers.objects.update(at=AT)
    a_week_goes_by(shop, AT + timedelta(days=1))
    page = text_of(client.get("/changes/"))
    assert "What changed since 2 Mar 2026 5 slipped, 1 recovered, 1 new, 1 done, 1 held, 1 cancelled" in page
    second = keep_answers(by=shop, at=AT + timedelta(days=7), key="second")
    turned = text_of(client.get(f"/changes/?from={second.pk}&to={first.pk}&became=done"))
    assert "J-DONE" in turned
    assert "J-MOVED" not in turned
    for odd in ("?from=999", "?from=x&to=y", "?became=paint"):
        assert client.get(f"/changes/{odd}").status_code == 200
    rows = client.get("/changes/?export=csv").content.decode("utf-8-sig").splitlines()
    assert len(rows) == 11
    assert rows[0].startswith("What became of it,Job,Pump,Scope,Customer,Serial,")

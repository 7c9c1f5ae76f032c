"""A plan is worked out once for each state of the tables, however many threads and processes ask for it."""

import threading
import time
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import OperationalError, connection, transaction

from bom.answers.rows import as_json
from bom.errors import ShopError
from bom.questions.selection import choose_jobs
from bom.reading import Reading
from bom.values import ONE
from kits.catalog.caching import shared as caching
from kits.catalog.caching.revisions import mark_catalog, mark_shop, read_marks
from kits.catalog.models import Item, StructureLine
from kits.planning import queries
from kits.planning.keeping import plans as keeping
from kits.planning.sheets import batch
from kits.planning.sheets.today import sheet as today
from kits.planning.snapshot.shop import stamp_of
from kits.schedule.models import Job
from tests.kits.planning.shared_cache import Away, count_plans, files_in, process_with, settle
from tests.kits.planning.shop import AS_OF, fill_shop

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def cache(transactional_db, tmp_path):
    fill_shop(2)
    yield files_in(tmp_path)
    settle()


@pytest.fixture
def two(cache):
    return process_with(cache), process_with(cache)


def book(quantity=2):
    with transaction.atomic(durable=True):
        mark_shop()
        Job.objects.update(quantity=quantity)


def change_lists():
    with transaction.atomic(durable=True):
        mark_catalog()
        StructureLine.objects.filter(position="ball").update(quantity=6 * ONE)


def pumps(plan):
    return {job.quantity for job in plan.shop.jobs}


def at_once(*asks):
    """Ask in threads of their own that start together, and close what they opened."""
    gate = threading.Barrier(len(asks))

    def ask(one):
        gate.wait(10)
        try:
            return one()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(asks)) as pool:
        return list(pool.map(ask, asks))


def now(process):
    return process.now(AS_OF, None)


# --- several threads of one process


def test_threads_that_ask_at_once_after_a_posting_wait_for_one_plan(cache, monkeypatch):
    process, made = process_with(None), count_plans(monkeypatch, seconds=0.3)
    found = at_once(*[lambda: now(process)] * 6)
    assert len(made) == 1
    assert all(plan is found[0] for plan in found)


def test_who_waited_while_more_was_booked_gets_one_more_plan_together(cache, monkeypatch):
    """Those who waited ask for what the tables hold by then, not each for what they held when they came."""
    process, plain, made = process_with(None), keeping.plan, []
    begun, may_end = threading.Event(), threading.Event()

    def plan_when_told(*args):
        begun.set()
        may_end.wait(20)
        made.append(plain(*args))
        return made[-1]

    def book_meanwhile():
        begun.wait(20)
        for quantity in (3, 4, 5):
            book(quantity)
            time.sleep(0.5)
        may_end.set()

    def ask_after(seconds):
        def ask():
            begun.wait(20)
            time.sleep(seconds)
            return now(process)

        return ask

    monkeypatch.setattr(keeping, "plan", plan_when_told)
    waiting = [ask_after(seconds) for seconds in (0.2, 0.3, 0.4, 0.8, 0.9)]
    found = at_once(lambda: now(process), book_meanwhile, *waiting)
    assert len(made) == 2
    assert [pumps(plan) for plan in found[2:]] == [{5}] * 5


def test_an_answer_that_takes_long_is_worked_out_by_one_thread(cache):
    process, worked = process_with(None), []
    plan = now(process)

    def work():
        time.sleep(0.2)
        worked.append(1)
        return "answer"

    assert at_once(*[lambda: process.answer(plan, "choice", work)] * 4) == ["answer"] * 4
    assert len(worked) == 1


def test_the_answers_of_a_plan_that_is_still_read_stay_when_the_next_one_comes(cache):
    process = process_with(None)
    before = now(process)
    reading = process.answer(before, "reading", lambda: Reading(before))
    book()
    after = now(process)
    process.answer(after, "reading", lambda: Reading(after))
    assert process.answer(before, "reading", lambda: Reading(before)) is reading


def test_the_answers_of_a_plan_that_nobody_asks_for_are_let_go(cache, monkeypatch):
    process = process_with(None)
    before = now(process)
    process.answer(before, "reading", lambda: Reading(before))
    book()
    later = time.monotonic() + 11
    monkeypatch.setattr(time, "monotonic", lambda: later)
    process.answer(now(process), "reading", lambda: None)
    assert [kept.plan.shop.stamp for kept in process._answers._plans] == [now(process).shop.stamp]


# --- several processes


def test_what_one_process_worked_out_the_other_takes(two, monkeypatch):
    one, other = two
    made = count_plans(monkeypatch)
    first = now(one)
    settle()
    second = now(other)
    assert len(made) == 1
    assert second is not first
    assert second.shop == first.shop
    assert second.demand.structure is other.lists(second.shop.catalog).compiled


def test_a_plan_that_came_from_another_process_says_the_same(two):
    first = now(two[0])
    settle()
    second = now(two[1])
    assert as_json(second) == as_json(first)
    mine, theirs = Reading(first), Reading(second)
    for name in ("askers", "shortfalls", "awaited", "to_inspect", "builds", "purchases", "published_wear"):
        assert getattr(theirs, name) == getattr(mine, name), name
    assert list(theirs.shelf) == list(mine.shelf)
    assert [theirs.pieces_of(one) for one in theirs.askers] == [mine.pieces_of(one) for one in mine.askers]


def test_processes_that_ask_at_once_work_out_one_plan(cache, monkeypatch):
    made = count_plans(monkeypatch, seconds=0.4)
    found = at_once(*[lambda: now(process_with(cache))] * 4)
    assert len(made) == 1
    assert len({plan.shop.stamp for plan in found}) == 1


def test_each_state_of_the_tables_has_a_plan_of_its_own(two, monkeypatch):
    one, other = two
    made = count_plans(monkeypatch)
    for quantity in (3, 4, 5):
        book(quantity)
        assert pumps(now(one)) == {quantity}
        settle()
        assert pumps(now(other)) == {quantity}
    assert len(made) == 3
    change_lists()
    assert {line.quantity for line in now(other).shop.catalog.lines if line.position == "ball"} == {6 * ONE}
    settle()
    assert {line.quantity for line in now(one).shop.catalog.lines if line.position == "ball"} == {6 * ONE}
    assert len(made) == 4


def test_another_day_and_other_staging_days_are_plans_of_their_own(two):
    one, other = two
    now(one)
    settle()
    later = other.now(AS_OF + timedelta(days=1), None)
    assert later.shop.as_of == AS_OF + timedelta(days=1)
    assert other.now(AS_OF, 0).shop.staging_days == 0
    assert now(other).shop.staging_days == 2


def test_who_died_at_work_is_waited_for_no_longer_than_was_agreed(two, monkeypatch):
    one, other = two
    monkeypatch.setattr(keeping, "CLAIM_SECONDS", 0.3)
    monkeypatch.setattr(caching.Shared, "release", lambda *args: None)
    monkeypatch.setattr(one, "_make", lambda asked: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        now(one)
    made = count_plans(monkeypatch)
    now(other)
    assert len(made) == 1


def test_who_lives_keeps_a_claim_and_who_was_killed_loses_it_within_seconds(cache, monkeypatch):
    monkeypatch.setattr(caching, "CLAIM_OUTLIVES_SECONDS", 2)
    one, other = caching.Shared(lambda: cache), caching.Shared(lambda: cache)
    sign = one.claim("plan", "state")
    time.sleep(3)
    assert other.claim("plan", "state") is None
    one.release("plan", "state", sign)
    monkeypatch.setattr(one, "_keep_claim", lambda *args: None)  # as of a process that is no more
    one.claim("plan", "state")
    assert other.claim("plan", "state") is None
    time.sleep(3)
    taken = other.claim("plan", "state")
    assert taken is not None
    other.release("plan", "state", taken)


def test_a_claim_that_ends_leaves_another_on_the_same_thing_as_it_is(cache, monkeypatch):
    """As after a cache server began anew while somebody was at it."""
    monkeypatch.setattr(caching, "CLAIM_OUTLIVES_SECONDS", 2)
    one, other = caching.Shared(lambda: cache), caching.Shared(lambda: cache)
    first = one.claim("plan", "state")
    cache.clear()
    second = one.claim("plan", "state")
    one.release("plan", "state", first)
    time.sleep(3)
    assert other.claim("plan", "state") is None
    one.release("plan", "state", second)


def test_a_plan_that_is_not_renewed_because_the_database_is_away_is_told_in_one_line(two, monkeypatch, caplog):
    def fail(*args):
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr(two[0], "_current", fail)
    two[0]._renew_now(read_marks(), Future(), (AS_OF, None))
    assert [(record.exc_info, "is away" in record.getMessage()) for record in caplog.records] == [(None, True)]


def test_a_fault_of_the_lists_is_told_by_every_process(two, monkeypatch):
    def refuse(*args):
        raise ShopError([])

    monkeypatch.setattr(keeping, "plan", refuse)
    for process in (*two, *two):
        with pytest.raises(ShopError):
            now(process)


def test_an_answer_that_takes_a_solver_is_worked_out_once_for_all(two):
    one, other = two
    first = now(one)
    settle()
    second = now(other)
    worked = []

    def choose(plan):
        worked.append(plan)
        return choose_jobs(plan, time_limit=2)

    mine = one.shared_answer(first, "choice", lambda: choose(first))
    theirs = other.shared_answer(second, "choice", lambda: choose(second))
    assert theirs == mine
    assert len(worked) == 1
    book(7)
    third = now(other)
    other.shared_answer(third, "choice", lambda: choose(third))
    assert len(worked) == 2


def test_an_answer_about_a_plan_that_was_only_tried_stays_in_its_process(two):
    one, other = two
    tried = keeping.plan(now(one).shop)
    settle()
    second = now(other)
    assert one.shared_answer(tried, "choice", lambda: "tried") == "tried"
    assert other.shared_answer(second, "choice", lambda: "planned") == "planned"


@pytest.mark.parametrize(
    ("module", "draw", "ask"),
    [
        *((today, "draw_today", lambda plan, whose=whose: today.today_sheet(plan, whose)) for whose in today.SHEETS),
        (batch, "draw_batch", lambda plan: batch.batch_sheet(plan, "March")),
    ],
)
def test_a_sheet_that_one_process_drew_the_other_shows(two, module, draw, ask, monkeypatch):
    shown, plain, drawn = [], getattr(module, draw), []
    monkeypatch.setattr(module, draw, lambda *args: drawn.append(1) or plain(*args))
    for process in two:
        monkeypatch.setattr(queries, "_plans", process)
        shown.append(ask(now(process)))
        settle()
    assert shown[1] == shown[0]
    assert len(drawn) == 1


# --- what lies in the cache is trusted only when it is this shop's


def test_an_entry_that_somebody_changed_is_worked_out_anew(two, cache, monkeypatch):
    now(two[0])
    settle()
    name = f"{caching._ours()}.plan.{AS_OF}"
    kept = cache.get(name)
    cache.set(name, kept[:-1] + bytes([kept[-1] ^ 1]))
    made = count_plans(monkeypatch)
    assert pumps(now(two[1])) == {1}
    assert len(made) == 1


def test_the_plan_of_one_state_is_not_read_as_that_of_another(two, cache, monkeypatch):
    one, other = two
    now(one)
    settle()
    book(5)
    state = keeping._state(stamp_of(read_marks()), (AS_OF, None), one._last.lists)
    cache.set(f"{caching._ours()}.plan.{AS_OF}.state", state.encode())
    assert pumps(now(other)) == {5}


def test_lists_that_change_while_a_plan_is_fetched_are_not_mixed_with_it(two, monkeypatch):
    """What is read of the lists may be newer than their mark; the plan in the cache is that of the mark."""
    one, other = two
    now(one)
    settle()
    read = keeping.read_catalog

    def read_after_a_change(*args):
        monkeypatch.setattr(keeping, "read_catalog", read)
        with transaction.atomic(durable=True):
            mark_catalog()
            Item.objects.update(lead_days=50)
        return read(*args)

    monkeypatch.setattr(keeping, "read_catalog", read_after_a_change)
    plan = now(other)
    assert plan.shop.stamp == stamp_of(read_marks())
    assert {item.lead_days for item in plan.shop.catalog.items} == {50}


@pytest.mark.parametrize("content", [b"", b"short", b"x" * 500, "a text", 7, None])
def test_an_entry_that_is_no_entry_is_worked_out_anew(two, cache, content, monkeypatch):
    now(two[0])
    settle()
    cache.set(f"{caching._ours()}.plan.{AS_OF}", content)
    made = count_plans(monkeypatch)
    now(two[1])
    assert len(made) == 1


def test_what_another_shop_sealed_is_not_read(two, settings, monkeypatch):
    now(two[0])
    settle()
    made, ours = count_plans(monkeypatch), caching._ours()
    settings.SECRET_KEY = "another key of another shop that has fifty characters"
    monkeypatch.setattr(caching, "_ours", lambda: ours)  # the names are the same, the key is not
    now(two[1])
    assert len(made) == 1


def test_what_another_version_of_the_program_put_there_is_not_read(two, monkeypatch):
    now(two[0])
    settle()
    monkeypatch.setattr(caching, "_version", lambda: "the next one")
    caching._ours.cache_clear()
    made = count_plans(monkeypatch)
    now(two[1])
    caching._ours.cache_clear()
    assert len(made) == 1


def test_lists_that_are_numbered_otherwise_are_not_mixed_with_a_plan(two, monkeypatch):
    one, other = two
    now(one)
    settle()
    made = count_plans(monkeypatch)
    lists = other.lists
    monkeypatch.setattr(other, "lists", lambda catalog: numbered_otherwise(lists(catalog)))
    now(other)
    assert len(made) == 1


def numbered_otherwise(lists):
    lists.__dict__["fingerprint"] = "another order"
    return lists


# --- the cache may be away


def test_a_server_that_is_away_breaks_no_plan_and_is_told_of_once(transactional_db, caplog, monkeypatch):
    fill_shop(1)
    away = Away()
    process, made = process_with(away), count_plans(monkeypatch)
    for quantity in (2, 3, 4):
        book(quantity)
        assert pumps(now(process)) == {quantity}
        settle()
    assert len(made) == 3
    assert [record.message for record in caplog.records] == [
        "The cache server is away (no route to the cache server): each process keeps its own plans."
    ]
    assert away.asked == 1, "a server that is away is left alone for a while"


def test_a_server_that_comes_back_is_used_again(transactional_db, tmp_path, caplog, monkeypatch):
    fill_shop(1)
    cache, away = files_in(tmp_path), Away()
    there = [away]
    monkeypatch.setattr(caching, "REST_SECONDS", 0)
    one, other = (keeping.Plans(caching.Shared(lambda: there[0])) for _ in (1, 2))
    now(one)
    there[0] = cache
    book()
    now(one)
    settle()
    made = count_plans(monkeypatch)
    now(other)
    assert made == []
    assert "The cache server is back." in caplog.text


# --- who only reads


@pytest.fixture
def slow(cache, monkeypatch):
    """A process whose next plans take so long that nobody waits for them."""
    process = process_with(None)
    now(process)
    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 0.3)
    process._last.took = 9
    return process, count_plans(monkeypatch, seconds=0.5)


def test_a_reader_is_shown_the_last_plan_while_the_next_one_takes_long(slow):
    process, made = slow
    book(5)
    started = time.monotonic()
    shown = process.to_read(AS_OF)
    assert time.monotonic() - started < 0.4
    assert pumps(shown.plan) == {1}
    assert shown.being_renewed is not None
    settle()
    assert len(made) == 1
    shown = process.to_read(AS_OF)
    assert (pumps(shown.plan), shown.being_renewed) == ({5}, None)


def test_many_readers_renew_a_plan_once(slow):
    process, made = slow
    book(5)
    shown = at_once(*[lambda: process.to_read(AS_OF)] * 6)
    assert all(one.being_renewed for one in shown)
    settle()
    assert len(made) == 1


def test_a_plan_that_is_made_quickly_is_waited_for(cache):
    process = process_with(None)
    now(process)
    process._last.took = 0.01
    book(5)
    shown = process.to_read(AS_OF)
    assert (pumps(shown.plan), shown.being_renewed) == ({5}, None)


def test_a_plan_of_now_is_shown_without_a_renewal(slow, monkeypatch):
    process, _ = slow
    monkeypatch.setattr(process, "_renew", lambda *args: 1 / 0)
    shown = process.to_read(AS_OF)
    assert (pumps(shown.plan), shown.being_renewed) == ({1}, None)


def test_who_waited_for_a_renewal_that_missed_the_last_posting_is_told_so(slow, monkeypatch):
    process, _ = slow
    process._last.took = 0.01
    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 20)
    begun, may_end, plain = threading.Event(), threading.Event(), keeping.plan

    def plan_when_told(*args):
        begun.set()
        may_end.wait(20)
        return plain(*args)

    monkeypatch.setattr(keeping, "plan", plan_when_told)
    book(5)

    def book_again_and_read():
        begun.wait(20)
        book(6)
        threading.Timer(1, may_end.set).start()
        return process.to_read(AS_OF)

    first, second = at_once(lambda: process.to_read(AS_OF), book_again_and_read)
    assert (pumps(first.plan), first.being_renewed) == ({5}, None)
    assert pumps(second.plan) == {5}
    assert second.being_renewed is not None


def test_whoever_decides_something_never_has_the_last_plan(slow):
    process, _ = slow
    book(5)
    assert process.to_read(AS_OF).being_renewed
    assert pumps(now(process)) == {5}


def test_a_plan_of_other_lists_or_of_long_ago_is_shown_to_nobody(slow):
    process, _ = slow
    change_lists()
    assert process.to_read(AS_OF).being_renewed is None
    process._last.took = 9
    book(5)
    process._last.seen_at -= keeping.OLDEST
    shown = process.to_read(AS_OF)
    assert (pumps(shown.plan), shown.being_renewed) == ({5}, None)


def test_the_moment_is_the_last_one_at_which_the_plan_was_true(slow):
    process, _ = slow
    process._last.seen_at -= timedelta(minutes=3)
    before = process.to_read(AS_OF)
    assert before.being_renewed is None
    seen_at = process._last.seen_at
    book(5)
    assert process.to_read(AS_OF).being_renewed == seen_at


def test_lists_of_which_no_plan_can_be_made_are_told_to_readers(slow, monkeypatch):
    process, _ = slow

    def refuse(*args):
        time.sleep(1)
        raise ShopError([])

    monkeypatch.setattr(keeping, "plan", refuse)
    book(5)
    process.to_read(AS_OF)
    settle()
    for _ in (1, 2):
        with pytest.raises(ShopError):
            process.to_read(AS_OF)


def test_a_renewal_that_failed_is_tried_again(slow, monkeypatch, caplog):
    process, made = slow
    make = process._make

    def fail(asked):
        time.sleep(1)
        raise ZeroDivisionError

    monkeypatch.setattr(process, "_make", fail)
    book(5)
    assert process.to_read(AS_OF).being_renewed
    settle()
    assert "The plan could not be renewed." in caplog.text
    monkeypatch.setattr(process, "_make", make)
    assert process.to_read(AS_OF).being_renewed
    settle()
    assert pumps(process.to_read(AS_OF).plan) == {5}
    assert len(made) == 1

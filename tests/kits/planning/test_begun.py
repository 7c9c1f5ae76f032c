"""What takes seconds is worked out once for all processes, may be left, and outlives whoever was killed at it."""

import threading
import time
from datetime import timedelta

import pytest
from django.utils import timezone

from bom.errors import BomError
from kits.catalog.caching.progress import Progress, report
from kits.catalog.caching.shared import Shared
from kits.planning.keeping import begun as keeping
from kits.planning.keeping.begun import BegunAnswers
from tests.kits.planning.shared_cache import Away, files_in

pytestmark = pytest.mark.django_db
NOW, THEN = ("stamp 1", "2026-03-04", "lists"), ("stamp 2", "2026-03-04", "lists")


@pytest.fixture
def two(tmp_path, monkeypatch):
    """Two processes that know the same cache server."""
    monkeypatch.setattr(keeping, "TOLD_EVERY_SECONDS", 0.05)
    cache = files_in(tmp_path)
    return [BegunAnswers(Shared(lambda: cache)) for _ in range(2)]


class Work:
    """Counts how often it is done, and ends when it may."""

    def __init__(self, answer=b"book", *, may_end=True):
        self.done, self.answer, self.go = 0, answer, threading.Event()
        if may_end:
            self.go.set()

    def __call__(self):
        self.done += 1
        report("Writing", 3, 7)
        assert self.go.wait(20)
        return self.answer


def ask(process, work, state=NOW, patience=0.0, **more):
    return process.ask(state, "book", work, patience=patience, **more)


def until(says):
    for _ in range(200):
        if says():
            return
        time.sleep(0.05)
    raise AssertionError("it did not come to that")


def test_a_double_tap_begins_one_work_and_both_get_what_comes_of_it():
    process, work = BegunAnswers(Shared(lambda: None)), Work(may_end=False)
    asked = []
    taps = [threading.Thread(target=lambda: asked.append(ask(process, work, patience=20))) for _ in range(5)]
    for tap in taps:
        tap.start()
    work.go.set()
    for tap in taps:
        tap.join(20)
    assert [one.answer for one in asked] == [b"book"] * 5
    assert work.done == 1


def test_another_process_says_how_far_the_first_is_and_hands_out_what_it_made(two):
    first, second = two
    work = Work(may_end=False)
    ask(first, work)
    until(lambda: ask(second, work).progress == Progress("Writing", 3, 7))
    assert ask(second, work).answer is None
    work.go.set()
    until(lambda: ask(first, work).answer)
    until(lambda: ask(second, work).answer)
    assert ask(second, work).answer == b"book"
    assert work.done == 1


def test_two_processes_asked_at_once_begin_one_work(two):
    work = Work(may_end=False)
    both = [threading.Thread(target=ask, args=(process, work)) for process in two]
    for one in both:
        one.start()
    for one in both:
        one.join(20)
    work.go.set()
    for process in two:
        until(lambda process=process: ask(process, work).answer)
    assert work.done == 1


def test_what_a_killed_process_was_at_is_begun_anew(two, monkeypatch):
    first, second = two
    work = Work(may_end=False)
    monkeypatch.setattr(BegunAnswers, "_run", lambda *facts: None)  # it tells that it begins, and is killed
    ask(first, work)
    monkeypatch.undo()
    assert ask(second, work).answer is None
    assert work.done == 0, "it may still be at it"
    monkeypatch.setattr(keeping, "SILENT", timedelta(0))
    work.go.set()
    assert ask(second, work, patience=20).answer == b"book"
    assert work.done == 1


def test_what_is_finished_outlives_the_process_that_made_it(two):
    first, second = two
    work = Work()
    ask(first, work, patience=20)
    until(lambda: not [one for one in threading.enumerate() if one.name == "work out book"])
    assert ask(second, work, patience=0).answer == b"book"
    assert work.done == 1


def test_one_that_was_overtaken_is_kept_for_minutes_with_its_hour_if_it_took_long():
    process, slow = BegunAnswers(Shared(lambda: None)), Work(may_end=False)
    ask(process, slow)
    assert ask(process, slow, THEN).answer is None, "the same work, not another"
    slow.go.set()
    until(lambda: ask(process, slow).answer)
    late = ask(process, slow, THEN)
    assert (late.answer, late.of_now, slow.done) == (b"book", False, 1)
    anew = ask(process, slow, THEN, patience=20, oldest=timedelta(0))
    assert (anew.answer, anew.of_now, slow.done) == (b"book", True, 2)


def test_what_takes_no_longer_than_one_waits_is_always_of_now():
    process, quick = BegunAnswers(Shared(lambda: None)), Work()
    ask(process, quick, patience=20)
    assert ask(process, quick, THEN, patience=20).of_now
    assert quick.done == 2


def test_nothing_outlives_its_day_or_its_lists():
    process, slow = BegunAnswers(Shared(lambda: None)), Work(may_end=False)
    ask(process, slow)
    slow.go.set()
    until(lambda: ask(process, slow).answer)
    assert ask(process, slow, ("stamp 1", "2026-03-05", "lists"), patience=0.0).began_at
    until(lambda: slow.done == 2)


def test_what_cannot_be_worked_out_is_told_for_a_while_and_tried_again(two, monkeypatch):
    first, second = two

    def refuse():
        raise BomError("No plan.")

    for _ in range(2):
        with pytest.raises(BomError, match="No plan"):
            assert ask(first, refuse, patience=20).answer
    monkeypatch.setattr(keeping, "TOLD", timedelta(0))
    until(lambda: not [one for one in threading.enumerate() if one.name == "work out book"])
    assert ask(second, Work(), patience=20).answer == b"book"
    assert ask(first, Work(), patience=20).answer == b"book"


def test_what_ended_a_while_ago_and_what_is_too_many_is_swept_up(monkeypatch):
    process = BegunAnswers(Shared(lambda: None))
    for number in range(keeping.MOST + 3):
        process.ask(NOW, f"book {number}", Work(), patience=20)
    assert len(process._begun) <= keeping.MOST + 1
    last = next(reversed(process._begun.values()))
    last.ended_at = timezone.now() - keeping.KEPT - timedelta(seconds=1)
    ask(process, Work(), patience=20)
    assert last not in process._begun.values()


def test_a_cache_server_that_is_away_breaks_nothing(caplog):
    process, work = BegunAnswers(Shared(lambda: Away())), Work()
    assert ask(process, work, patience=20).answer == b"book"
    assert work.done == 1

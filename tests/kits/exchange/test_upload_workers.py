"""A large upload is checked and loaded in a thread; what a stopped server left half done is taken up again."""

import threading
import time

import pytest

from kits.catalog.caching.progress import report
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.exchange import upload_workers
from kits.exchange.actions import begin_loading, check_upload, receive_upload, take_up_upload
from kits.exchange.models import UploadState
from kits.exchange.upload_workers import bring_in, confirm, progress_of, take_up, this_process
from kits.exchange.uploads.outcome import outcome_from_json
from tests.kits.exchange.books import AT, book_file, items
from tests.kits.persons import person_of

FILE = book_file(items(("X-1", "thing", "part", "each")))
BAD = book_file(items(("X-1", "thing", "prt", "each")))


@pytest.fixture
def everything_is_large(monkeypatch):
    monkeypatch.setattr(upload_workers, "MOST_AT_ONCE", 0)


@pytest.fixture
def keeper(transactional_db):
    return person_of("Administrator", "keeper")


def wait_for(upload, longest=20):
    """Wait until nobody is at it any more."""
    end = time.monotonic() + longest
    while progress_of(upload) is not None:
        assert time.monotonic() < end, "the thread does not come to an end"
        time.sleep(0.02)
    upload.refresh_from_db()
    return upload


def test_a_small_upload_is_checked_while_the_browser_waits(keeper):
    upload = bring_in(files=[FILE], by=keeper, at=AT)
    assert upload.state == UploadState.CHECKED
    assert confirm(upload=upload, by=keeper, at=AT).stored


def test_a_large_upload_is_checked_and_loaded_in_a_thread(keeper, everything_is_large):
    upload = bring_in(files=[FILE], by=keeper, at=AT)
    assert upload.state == UploadState.CHECKING
    wait_for(upload)
    assert (upload.state, upload.worker) == (UploadState.CHECKED, "")
    assert [sheet.count("new") for sheet in outcome_from_json(upload.outcome).sheets] == [1]
    assert not Item.objects.exists()
    assert confirm(upload=upload, by=keeper, at=AT) is None
    wait_for(upload)
    assert (upload.state, upload.loaded_by, upload.loaded_at) == (UploadState.LOADED, keeper, AT)
    assert Item.objects.count() == 1


def test_what_is_wrong_with_a_large_upload_is_kept_with_it(keeper, everything_is_large):
    upload = wait_for(bring_in(files=[BAD], by=keeper, at=AT))
    assert upload.state == UploadState.REFUSED
    assert outcome_from_json(upload.outcome).problems[0].column == "kind"


def test_the_page_hears_how_far_the_thread_is(keeper, everything_is_large, monkeypatch):
    halt, reached = threading.Event(), threading.Event()

    def check(**facts):
        report("Reading Items", 2000, 9000)
        reached.set()
        assert halt.wait(10)

    monkeypatch.setattr(upload_workers, "check_upload", check)
    upload = bring_in(files=[FILE], by=keeper, at=AT)
    assert reached.wait(10)
    assert progress_of(upload).says == "Reading Items: 2 000 of 9 000 rows"
    other = bring_in(files=[FILE], by=keeper, at=AT)
    assert progress_of(other).says == "Waiting for its turn"
    halt.set()
    wait_for(upload)
    wait_for(other)


def test_what_the_thread_notes_is_seen_once_it_is_stored(keeper, everything_is_large, monkeypatch):
    halt, noted = threading.Event(), threading.Event()

    def check(*, upload, **facts):
        upload.state = UploadState.CHECKED
        noted.set()
        assert halt.wait(10)

    monkeypatch.setattr(upload_workers, "check_upload", check)
    upload = bring_in(files=[FILE], by=keeper, at=AT)
    assert noted.wait(10)
    assert upload.state == UploadState.CHECKING
    assert progress_of(upload) is not None
    halt.set()
    wait_for(upload)


def test_a_second_confirmation_of_a_large_upload_finds_it_no_longer_waiting(keeper, everything_is_large):
    upload = wait_for(bring_in(files=[FILE], by=keeper, at=AT))
    same = type(upload).objects.get()
    begin_loading(upload=upload, by=keeper, worker="other", at=AT)
    with pytest.raises(Refusal, match="does not wait for a confirmation"):
        confirm(upload=same, by=keeper, at=AT)


def test_work_that_breaks_off_is_said_and_nothing_is_stored(keeper, everything_is_large, monkeypatch, caplog):
    def fail(**facts):
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr(upload_workers, "check_upload", fail)
    upload = wait_for(bring_in(files=[FILE], by=keeper, at=AT))
    assert upload.state == UploadState.REFUSED
    problem = outcome_from_json(upload.outcome).problems[0]
    assert "broke off" in problem.reason
    assert "upload it again" in problem.remedy
    assert "by nought" in caplog.text


@pytest.mark.parametrize("state", [UploadState.CHECKING, UploadState.LOADING])
def test_an_upload_left_by_a_stopped_server_is_checked_again(keeper, state):
    upload = receive_upload(files=[FILE], by=keeper, at=AT, worker="a server that was stopped")
    type(upload).objects.update(state=state)
    upload.refresh_from_db()
    assert progress_of(upload) is None
    take_up(upload=upload, by=keeper, at=AT)
    wait_for(upload)
    assert upload.state == UploadState.CHECKED
    assert not Item.objects.exists()


def test_a_worker_whose_upload_was_taken_up_by_another_leaves_it_alone(keeper):
    upload = receive_upload(files=[FILE], by=keeper, at=AT, worker="slow")
    take_up_upload(upload=upload, by=keeper, worker="quick", at=AT)
    with pytest.raises(Refusal, match="not worked on any more"):
        take_up_upload(upload=upload, by=keeper, worker="third", at=AT)
    check_upload(upload=upload, worker="slow", at=AT)
    upload.refresh_from_db()
    assert (upload.state, upload.worker) == (UploadState.CHECKING, "quick")
    check_upload(upload=upload, worker="quick", at=AT)
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED


def test_every_run_of_a_process_has_a_name_of_its_own():
    first = this_process()
    this_process.cache_clear()
    assert this_process() != first

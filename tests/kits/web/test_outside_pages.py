"""Outside work on its pages: sent out from the job, its paper, late, back, and the job that waits for it."""

import pytest

from kits.catalog.models import Item
from kits.purchasing.models import OutsideWork
from kits.schedule.models import Job, Verdict
from kits.stock.models import Balance
from tests.kits.persons import person_of
from tests.kits.web.hands import tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
WHERE = "pump 1 / E-1 1 / CK-1 1 / ball"
SEND = "/purchasing/outside/send/?job=J-1"


@pytest.fixture
def buyer(client, small_shop):
    job = Job.objects.get(job="J-1")
    Job.objects.filter(pk=job.pk).update(stage="stripped")
    Verdict.objects.create(job=job, where=WHERE, item=Item.objects.get(part_number="BA-1"), verdict="rework")
    client.force_login(person_of("Purchasing", "buyer"))
    return client


def said(**facts):
    told = {
        "supplier": "ring house", "work": "lap the seat line, 0.4 µm Ra", "left_in": "water glycol, flushed and dried",
        "sent_on": "2026-03-04", "promised_on": "2026-03-12", "price": "18.50",
    }  # fmt: skip
    return {**told, **facts}


def send(buyer, **facts):
    return tap(buyer, SEND, said(piece=f"position-{Verdict.objects.get().pk}", **facts))


def test_from_the_job_to_the_plater_and_back(buyer):
    job_page = "/jobs/J-1/"
    assert "Send out what the strip report sends for rework" in sheet_of(buyer.get(job_page))
    assert "1 position of J-1 waits to be sent." in sheet_of(buyer.get(SEND))
    assert send(buyer).status_code == 302
    work = OutsideWork.objects.get()
    page = f"/purchasing/outside/{work.pk}/"
    assert "Promised for 12 Mar 2026" in sheet_of(buyer.get(page))
    assert "18.5 EUR" in sheet_of(buyer.get(page))
    paper = sheet_of(buyer.get(f"{page}paper/"))
    assert all(
        words in paper
        for words in ("To Ring House", "lap the seat line", "water glycol, flushed and dried", "12 Mar 2026")
    )
    assert f"{work.pk} BA-1 {WHERE} Ring House lap the seat line" in sheet_of(buyer.get(job_page))
    assert f"Outside work {work.pk}: {WHERE} of BA-1 at Ring House, promised for 12 Mar." in sheet_of(
        buyer.get(job_page)
    )
    assert "1 out, none past the promised day." in sheet_of(buyer.get("/purchasing/outside/"))
    assert f"outside work {work.pk}" in sheet_of(buyer.get("/waiting/"))
    OutsideWork.objects.update(sent_on="2026-02-20", promised_on="2026-03-02")
    assert "1 of 1 is past the promised day: call about it." in sheet_of(buyer.get("/purchasing/outside/"))
    tap(buyer, f"{page}promise/", {"promised_on": "2026-03-09", "says": "Ms Hale: bath down"}, on=page)
    assert "Ms Hale: bath down, written by buyer" in sheet_of(buyer.get(page))
    assert tap(buyer, f"{page}back/", {"outcome": "good", "on": "2026-03-04"}, on=page).status_code == 302
    assert "Came back good, 4 Mar 2026" in sheet_of(buyer.get(page))
    assert "Measure it and give its verdict" in sheet_of(buyer.get(page))
    assert "Nothing is out." in sheet_of(buyer.get("/purchasing/outside/"))


def test_pieces_of_a_lot_leave_the_shelf_for_nobody_and_the_van_had_left(buyer):
    balance = Balance.objects.on_shelf().get(lot__lot="B-7", quantity__gt=0)
    before = balance.quantity
    assert (
        tap(buyer, "/purchasing/outside/send/?part=BA-1", said(piece=f"lot-{balance.pk}", quantity="1")).status_code
        == 302
    )
    balance.refresh_from_db()
    assert balance.quantity == before - 10**6
    page = f"/purchasing/outside/{OutsideWork.objects.get().pk}/"
    tap(buyer, f"{page}not-sent/", {"reason": "the van had left"}, on=page)
    balance.refresh_from_db()
    assert balance.quantity == before


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"supplier": "Nobody"}, "There is no supplier named “Nobody”"),
        ({"left_in": ""}, "Write what was in it and how it was cleaned"),
        ({"work": ""}, "Write what is to be done"),
        ({"sent_on": "2026-03-05"}, "5 Mar 2026 is still to come"),
        ({"promised_on": "2026-03-01"}, "before it was sent"),
        ({"price": "much"}, "That is no price"),
    ],
)
def test_what_cannot_be_sent_is_refused_with_what_was_typed(buyer, change, says):
    answer = send(buyer, **change)
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert "0.4 µm Ra" in answer.content.decode() or "work" in change
    assert not OutsideWork.objects.exists()


def test_it_comes_back_once_and_only_from_this_page(buyer):
    send(buyer)
    page = f"/purchasing/outside/{OutsideWork.objects.get().pk}/"
    said_back = {"outcome": "not_good", "on": "2026-03-04"}
    assert "Write what is wrong with it" in sheet_of(tap(buyer, f"{page}back/", said_back, on=page))
    assert buyer.post(f"{page}back/", {**said_back, "note": "x", "key": "forged"}).status_code == 422
    assert OutsideWork.objects.get().outcome == ""


def test_who_may_not_send_sees_what_is_out(buyer):
    send(buyer)
    buyer.force_login(person_of("Planner", "planner"))
    page = f"/purchasing/outside/{OutsideWork.objects.get().pk}/"
    assert "Write it down" not in sheet_of(buyer.get(page))
    assert buyer.get(SEND).status_code == 403
    assert buyer.post(f"{page}back/", {}).status_code == 403

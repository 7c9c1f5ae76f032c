"""Jobs sent to the storeroom: their lots lie aside whatever comes later, and the whole step can be taken back."""

from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, read_marks
from kits.catalog.models import StructureLine, Substitute
from kits.picking.actions import confirm_line, give_up_round
from kits.picking.bags.actions import give_stand_in
from kits.picking.errors import PickRefusal
from kits.picking.models import SentJob
from kits.picking.sending.actions import send_jobs, take_back_sending
from kits.picking.sending.draft import draft_sending, try_setting_aside
from kits.picking.sending.sent_list import sent_rows
from kits.planning.queries import plan_now
from kits.stock.ledger import OnShelf
from kits.stock.models import Lot, Reservation
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


def send(shop, *jobs, from_others=False, key="send"):
    seen = draft_sending(plan_now(), jobs, from_others=from_others).shows
    return send_jobs(jobs=jobs, from_others=from_others, seen=seen, by=shop.clerk, at=AT, key=key)


def aside(job, part):
    rows = Reservation.objects.filter(job=job, lot__item__part_number=part)
    return sum(rows.values_list("quantity", flat=True)) / ONE


def states():
    return {one.name: one.status for one in plan_now().answers}


def test_lots_that_the_plan_gives_a_job_lie_aside_for_it(shop):
    job = shop.job("J-1")
    send(shop, job)
    assert {part: aside(job, part) for part in ("K-END", "OR-210-N70", "NUT")} == {
        "K-END": 2,
        "OR-210-N70": 2,
        "NUT": 4,
    }


def test_a_rush_job_that_comes_later_does_not_take_them(shop):
    """Of 40 nuts the first ten jobs get 4 each, and an eleventh of an earlier day comes too late for them."""
    jobs = [shop.job(f"J-{n:02}") for n in range(10)]
    send(shop, *jobs)
    shop.job("RUSH", build_on=date(2026, 3, 9), priority=1)
    assert states()["J-00"] == "ready"
    assert states()["RUSH"] == "short"


def test_what_others_lose_is_shown_before_it_is_taken_from_them(shop):
    first = [shop.job(f"J-{n:02}", build_on=date(2026, 3, 16)) for n in range(10)]
    late = shop.job("LATE", build_on=date(2026, 3, 20))
    mine = draft_sending(plan_now(), [late], from_others=False)
    assert not [line for line in mine.lines if line.lot.part_number == "NUT"]
    assert not try_setting_aside(plan_now(), mine).losers
    more = draft_sending(plan_now(), [late], from_others=True)
    nuts = next(line for line in more.lines if line.lot.part_number == "NUT")
    assert (nuts.quantity, len(nuts.holders)) == (4 * ONE, len(first))
    assert try_setting_aside(plan_now(), more).losers == 1
    send(shop, late, from_others=True)
    assert states()["LATE"] != "short" or aside(late, "NUT") == 4


def test_the_whole_step_is_taken_back(shop):
    jobs = shop.four_jobs()
    sent = send(shop, *jobs)
    assert take_back_sending(sendings=sent, by=shop.clerk, at=AT, key="back") == 4
    assert not Reservation.objects.exists()
    assert not sent_rows(plan_now())


def test_plans_kept_by_others_are_out_of_date_when_a_job_is_sent_or_taken_back(shop):
    job = shop.job("J-1")
    before = read_marks()
    sent = send(shop, job)
    between = read_marks()
    take_back_sending(sendings=sent, by=shop.clerk, at=AT, key="back")
    assert len({before, between, read_marks()}) == 3


def test_one_job_of_a_step_is_taken_back_by_itself(shop):
    jobs = shop.four_jobs()
    sent = send(shop, *jobs)
    take_back_sending(sendings=sent[:1], by=shop.clerk, at=AT, key="back")
    assert [row.job for row in sent_rows(plan_now())] == [one.job.job for one in sent[1:]]


def test_what_was_reserved_before_stays_reserved(shop):
    job = shop.job("J-1")
    nuts = shop.stock("NUT", "H-1", "H1", 40)
    Reservation.objects.create(job=job, lot=nuts, quantity=3 * ONE)
    take_back_sending(sendings=send(shop, job), by=shop.clerk, at=AT, key="back")
    assert aside(job, "NUT") == 3


def test_what_is_in_the_bag_stays_there_when_a_job_is_taken_back(shop):
    job = shop.job("J-1")
    sent = send(shop, job)
    made = shop.start(job)
    with pytest.raises(PickRefusal, match="still has 3 lines to pick"):
        take_back_sending(sendings=sent, by=shop.clerk, at=AT, key="back")
    for line in made.lines.all():
        confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key=f"line {line.pk}")
    take_back_sending(sendings=sent, by=shop.clerk, at=AT, key="back")
    assert held("NUT", job=job) == 4
    assert not Reservation.objects.exists()


def test_the_storeroom_sees_them_in_the_order_of_their_days_with_who_sent_them(shop):
    late, soon = shop.job("J-1", build_on=date(2026, 3, 20)), shop.job("J-2", build_on=date(2026, 3, 12))
    send(shop, late, soon)
    rows = sent_rows(plan_now())
    assert [(row.job, row.sent_by, row.with_it) for row in rows] == [("J-2", "clerk", 2), ("J-1", "clerk", 1)]


def test_a_change_of_the_parts_list_since_is_told_and_picking_alone_is_none(shop):
    job = shop.job("J-1")
    send(shop, job)
    made = shop.start(job)
    nuts = line_of(made, "NUT")
    confirm_line(line=nuts, quantities=full(nuts), by=shop.clerk, at=AT, request_key="nuts")
    assert sent_rows(plan_now())[0].since == ()
    with transaction.atomic():
        mark_catalog()
        StructureLine.objects.filter(child__part_number="NUT").update(quantity=3 * ONE)
    assert sent_rows(plan_now())[0].since == ("the list asks for 2 more of NUT",)


def test_another_scope_since_is_told(shop):
    job = shop.job("J-1")
    send(shop, job)
    with transaction.atomic():
        shop.job("J-2")
        type(job).objects.filter(pk=job.pk).update(scope="one")
    assert "the list asks for 2 fewer of NUT" in sent_rows(plan_now())[0].since


def test_a_second_tap_sends_nothing_more(shop):
    job = shop.job("J-1")
    seen = draft_sending(plan_now(), [job], from_others=False).shows
    for _ in range(2):
        send_jobs(jobs=[job], from_others=False, seen=seen, by=shop.clerk, at=AT, key="once")
    assert SentJob.objects.count() == 1
    assert aside(job, "NUT") == 4


def test_two_planners_send_a_job_once(shop):
    job = shop.job("J-1")
    send(shop, job, key="one")
    with pytest.raises(PickRefusal, match="J-1 was sent to the storeroom already"):
        send(shop, job, key="two")


def test_nothing_is_set_aside_when_a_lot_has_gone_meanwhile(shop):
    job = shop.job("J-1")
    seen = draft_sending(plan_now(), [job], from_others=False).shows
    shop.stock("NUT", "H-1", "H1", 1)
    with pytest.raises(PickRefusal, match="has changed since"):
        send_jobs(jobs=[job], from_others=False, seen=seen, by=shop.clerk, at=AT, key="send")
    assert not Reservation.objects.exists()


def test_no_more_are_sent_in_one_step_than_somebody_can_look_through(shop, monkeypatch):
    monkeypatch.setattr("kits.picking.sending.draft.MOST_AT_ONCE", 3)
    with pytest.raises(PickRefusal, match="4 jobs are more than the 3 that can be set aside in one step: tick those"):
        send(shop, *shop.four_jobs())


def test_a_job_that_asks_for_nothing_is_not_sent(shop):
    with pytest.raises(PickRefusal, match="asks for no parts"):
        send(shop, shop.job("J-1", stage="held"))


def test_the_jobs_of_a_full_shop_are_sent_in_one_step(shop):
    """Of 40 nuts ten of 400 jobs get 4 each; all 400 stand on the list of the storeroom."""
    jobs = [shop.job(f"J-{n:03}") for n in range(400)]
    assert len(send(shop, *jobs)) == 400
    assert sum(aside(job, "NUT") for job in jobs) == 40
    assert len(sent_rows(plan_now())) == 400


def test_what_stands_in_does_not_count_as_what_was_set_aside(shop):
    """Of the nuts set aside, none is in the bag, but two others of their lot stand in for rings: a job
    taken back keeps none aside."""
    pair = {"item": shop.items["OR-210-N70"], "substitute": shop.items["NUT"]}
    Substitute.objects.create(**pair, direction="one_way", approved_by="service lead")
    job = shop.job("J-1")
    shop.looked_at(job)
    sent = send(shop, job)
    assert aside(job, "NUT") == 4
    made = shop.start(job)
    rings = line_of(made, "OR-210-N70")
    confirm_line(line=rings, quantities={job.pk: 0}, counted=0, by=shop.clerk, at=AT, request_key="rings")
    around = {"quantity": 2 * ONE, "reason": "none of it is left", "by": shop.clerk, "at": AT, "key": "instead"}
    lies = OnShelf(Lot.objects.get(lot="H-1").pk, shop.places["H1"].pk)
    give_stand_in(job=job, wanted=shop.items["OR-210-N70"], source=lies, **around)
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    take_back_sending(sendings=sent, by=shop.clerk, at=AT, key="back")
    assert (aside(job, "NUT"), held("NUT", job=job)) == (0, 2)

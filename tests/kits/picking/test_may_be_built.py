"""A pump is put together once the customer agreed, its bag is complete and lasts, and nothing is open on it."""

from datetime import date

import pytest
from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Setting
from kits.picking.actions import start_round
from kits.picking.closing.actions import begin_building, close_job
from kits.picking.closing.open_points import may_be_built
from kits.picking.errors import PickRefusal
from kits.planning.queries import plan_now
from kits.planning.sheets.jobs.quote import quote_sheet
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobStep, Verdict
from kits.service.quoting.actions import record_go_ahead, store_quote
from kits.stock.models import Lot
from tests.kits.picking.bench_shop import AT, BenchShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def ready(shop):
    """A stripped pump with all its parts in the bag and its balls found good."""
    job = shop.job("J-1", stage="stripped")
    shop.looked_at(job)
    shop.pick(job)
    return Job.objects.get(pk=job.pk)


def begin(shop, job, why="", key="begin"):
    return begin_building(job=job, seen=job.stage, why=why, by=shop.clerk, at=AT, key=key)


def says(job):
    return [point.says for point in may_be_built(plan_now(), job)]


def sets(name, value):
    with transaction.atomic():
        mark_shop()
        Setting.objects.create(name=name, value=value)


def agree(shop, job, key="1"):
    said = quote_sheet(plan_now(), job).said
    quote = store_quote(job=job, said=said, note="", by=shop.clerk, at=AT, key=f"quote {key}")
    return record_go_ahead(quote=quote, says="Ms Reed", by=shop.clerk, at=AT, key=f"agreed {key}")


def test_a_pump_with_a_full_bag_and_no_open_verdict_is_begun_without_a_word(shop, ready):
    assert says(ready) == []
    step = begin(shop, ready)
    assert (step.before, step.after, step.says, step.open_then) == ("stripped", "building", "", "")
    assert begin(shop, ready) == step


def test_an_empty_bag_and_open_positions_hold_it_unless_somebody_signs_for_that(shop):
    job = shop.job("J-1", stage="stripped")
    with pytest.raises(PickRefusal) as refused:
        begin(shop, job)
    assert "J-1 may not be built yet: its bag lacks" in str(refused.value)
    assert "2 positions have no verdict" in str(refused.value)
    step = begin(shop, job, why="the customer brought the parts")
    assert step.says == "the customer brought the parts"
    assert "2 positions have no verdict" in step.open_then


def test_a_pump_that_nobody_has_opened_is_not_built(shop):
    assert says(shop.job("J-1", stage="here"))[0] == "nobody has said that the pump was stripped: it is here"


def test_a_part_out_for_rework_holds_it_until_it_is_back(shop, ready):
    ball = Verdict.objects.filter(job=ready).first()
    for verdict, open_now in (("rework", ["1 position is out for rework: pump 1 / END 1 / ball"]), ("keep", [])):
        with transaction.atomic():
            mark_shop()
            Verdict.objects.filter(pk=ball.pk).update(verdict=verdict)
        assert says(ready) == open_now


def test_rework_keeps_the_parts_from_being_closed_as_well(shop, ready):
    with transaction.atomic():
        mark_shop()
        Verdict.objects.filter(job=ready).update(verdict="rework")
    with pytest.raises(PickRefusal, match="2 positions are out for rework"):
        close_job(job=ready, decisions=[], by=shop.clerk, at=AT, key="close")


def test_pieces_have_to_last_to_the_build_day_and_not_only_today(shop, ready):
    """The kits of the bench end on 31 March 2026: built on that day they serve, a day later they do not."""
    for build_on, open_now in (
        (date(2026, 3, 31), []),
        (date(2026, 4, 1), ["lot K-1 of K-END may be used up to 31 Mar 2026 only"]),
    ):
        with transaction.atomic():
            mark_shop()
            Job.objects.filter(pk=ready.pk).update(build_on=build_on)
        assert says(Job.objects.get(pk=ready.pk)) == open_now
    assert Lot.objects.get(lot="K-1").last_use_on == date(2026, 3, 31)


def test_without_the_go_ahead_that_the_shop_asks_for_nothing_is_picked_or_built(shop, ready):
    sets("quotes_need_go_ahead", "yes")
    assert says(ready) == ["no quote has been made, and the customer has not given the go-ahead"]
    with pytest.raises(PickRefusal, match="the customer has not given the go-ahead"):
        begin(shop, ready)
    other = shop.job("J-2")
    with pytest.raises(PickRefusal, match="J-2 cannot be picked yet: no quote has been made"):
        start_round(jobs=[other], by=shop.clerk, at=AT, key="second")
    agree(shop, ready)
    assert says(ready) == []
    agree(shop, other, "2")
    assert start_round(jobs=[other], by=shop.clerk, at=AT, key="second").pk


def test_what_was_found_since_the_go_ahead_waits_for_the_customer(shop, ready):
    sets("quotes_need_go_ahead", "yes")
    agree(shop, ready)
    with transaction.atomic():
        mark_shop()
        Verdict.objects.filter(job=ready).update(verdict="renew")
    assert says(ready)[0] == ("more is needed than version 1 of its quote says (BALL): the customer knows of less")


def test_a_shop_that_asks_for_no_go_ahead_is_held_up_by_none(shop, ready):
    assert says(ready) == []
    agree(shop, ready)
    assert says(ready) == []


def test_of_two_people_only_one_begins(shop, ready):
    begin(shop, ready)
    with pytest.raises(ScheduleRefusal, match="J-1 is building by now: only a job that is stripped becomes building"):
        begin(shop, ready, key="late")
    assert JobStep.objects.count() == 1


@pytest.mark.parametrize("stage", ["built", "tested", "held", "building"])
def test_only_a_pump_that_is_still_to_be_built_is_begun(shop, stage):
    with pytest.raises(PickRefusal, match=f"J-1 is not put together from {stage}"):
        begin(shop, shop.job("J-1", stage=stage))

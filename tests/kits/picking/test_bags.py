"""A job keeps its bags from the first round to its closing; clean work has rounds and bags of its own."""

from datetime import date

import pytest
from django.contrib.auth.models import Group
from django.db import IntegrityError, transaction

from bom.values import ONE
from kits.catalog.models import ScopeSection
from kits.people.models import User
from kits.people.roles import CLEAN_WORK, STOREROOM_CLERK
from kits.picking import queries
from kits.picking.actions import confirm_line, give_up_round, start_round, undo_line
from kits.picking.errors import PickRefusal
from kits.picking.models import Bag, PickRound
from kits.picking.rounds.sheet import round_sheet
from kits.schedule.models import Job
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def clean_shop(shop):
    """The cover of this shop takes a clean ring where it is wetted, and ordinary nuts outside."""
    shop.item("COVER", "assembly")
    shop.line("PUMP", "COVER", 1, "open")
    shop.line("COVER", "OR-110-CLEAN", 1, "renew", "gland", wetted=True)
    shop.line("COVER", "NUT", 2, "renew", "studs")
    ScopeSection.objects.create(pump=shop.items["PUMP"], scope="cover", section=shop.items["COVER"], how_many=1)
    shop.stock("OR-110-CLEAN", "X-1", "A2", 9)
    return shop


def clean_job(shop, number="X-1", kind="oxygen_clean", **columns):
    return shop.job(number, "cover", cleanliness=kind, **columns)


def bags_of(made):
    return {
        line.lot.item.part_number: [share.bag.number for share in line.shares.select_related("bag")]
        for line in made.lines.select_related("lot__item")
    }


def book(shop, line, by=None, key="tap"):
    return confirm_line(line=line, quantities=full(line), by=by or shop.clerk, at=AT, request_key=key)


def test_a_job_keeps_its_bag_from_round_to_round(shop):
    first, second, third = (shop.job(f"J-{n}", build_on=date(2026, 3, 15 + n)) for n in (1, 2, 3))
    one = shop.start(first, second)
    line = line_of(one, "NUT")
    confirm_line(line=line, quantities={first.pk: ONE}, by=shop.clerk, at=AT, request_key="a", reason="rusty")
    give_up_round(pick_round=one, by=shop.clerk, at=AT)
    two = shop.start(third, second, first, key="two")
    assert bags_of(one)["NUT"] == [1, 2]
    assert bags_of(two)["NUT"] == [1, 2, 3], "the bags of the first round go on, the third job gets the next number"
    assert [(bag.number, bag.job) for bag in round_sheet(two.pk, None).bags] == [(1, "J-1"), (2, "J-2"), (3, "J-3")]


def test_the_number_of_a_bag_is_never_given_again(shop):
    first = shop.job("J-1")
    shop.start(first)
    Job.objects.filter(pk=first.pk).update(stage="built")
    made = shop.start(shop.job("J-2"), key="two")
    assert bags_of(made)["NUT"] == [2]
    with pytest.raises(IntegrityError), transaction.atomic():
        Bag.objects.create(job=shop.job("J-3"), number=2)


def test_a_job_that_is_opened_again_has_its_bag_again(shop):
    job = shop.job("J-1")
    give_up_round(pick_round=shop.start(job), by=shop.clerk, at=AT)
    Job.objects.filter(pk=job.pk).update(stage="shipped")
    shop.start(shop.job("J-2"), key="two")
    Job.objects.filter(pk=job.pk).update(stage="building")
    assert bags_of(shop.start(job, key="three"))["NUT"] == [1]


def test_a_clean_job_takes_clean_parts_into_one_bag_and_ordinary_ones_into_another(clean_shop):
    job = clean_job(clean_shop)
    made = clean_shop.start(job)
    assert bags_of(made) == {"OR-110-CLEAN": [1], "NUT": [2]}
    assert [(bag.number, bag.marked) for bag in round_sheet(made.pk, None).bags] == [
        (1, "oxygen-clean"),
        (2, "ordinary parts only"),
    ]
    assert [queries.named(bag) for bag in queries.bags_of([job])["X-1"]] == ["1 oxygen-clean", "2 ordinary parts only"]
    book(clean_shop, line_of(made, "OR-110-CLEAN"))
    assert held("OR-110-CLEAN", job=job) == 1


def test_an_ordinary_job_has_one_plain_bag_whatever_its_parts_could_do(clean_shop):
    made = clean_shop.start(clean_shop.job("J-1", "cover"))
    assert bags_of(made) == {"OR-110-CLEAN": [1], "NUT": [1]}
    assert [bag.marked for bag in round_sheet(made.pk, None).bags] == [""]


def test_a_mixed_round_is_refused_with_who_is_what(clean_shop):
    ordinary, other = clean_shop.job("J-1", "cover"), clean_shop.job("J-2", "cover")
    oxygen, dry = clean_job(clean_shop), clean_shop.job("X-2", "valve", cleanliness="lubricant_free")
    with pytest.raises(PickRefusal) as refusal:
        clean_shop.start(oxygen, ordinary, other)
    assert str(refusal.value) == (
        "J-1 and J-2 are ordinary, X-1 is oxygen-clean: start a round of its own for each class."
    )
    with pytest.raises(PickRefusal, match="X-1 is oxygen-clean, X-2 is free of lubricant"):
        clean_shop.start(oxygen, dry)
    assert not PickRound.objects.exists()


def test_the_class_of_a_job_counts_as_it_is_now_and_not_as_it_stood_on_the_page(clean_shop):
    jobs = [clean_shop.job(f"J-{n}", "cover") for n in (1, 2)]
    Job.objects.filter(pk=jobs[1].pk).update(cleanliness="oxygen_clean")
    with pytest.raises(PickRefusal, match="J-2 is oxygen-clean"):
        clean_shop.start(*jobs)


@pytest.mark.parametrize("kind", ["oxygen_clean", "lubricant_free"])
def test_clean_work_is_done_by_those_who_were_trained(clean_shop, kind):
    clean_shop.items["OR-110-CLEAN"].__class__.objects.filter(part_number="OR-110-CLEAN").update(cleanliness=kind)
    clerk = User.objects.create_user("untrained")
    clerk.groups.add(Group.objects.get(name=STOREROOM_CLERK.name))
    job = clean_job(clean_shop, kind=kind)
    with pytest.raises(PickRefusal, match="only people trained for that pick it"):
        start_round(jobs=[job], by=clerk, at=AT, key="start")
    line = line_of(clean_shop.start(job), "OR-110-CLEAN")
    with pytest.raises(PickRefusal, match=r"round \d+ is .*: only people trained for that pick it. The administrator"):
        book(clean_shop, line, by=clerk)
    assert held("OR-110-CLEAN", job=job) == 0
    book(clean_shop, line)
    with pytest.raises(PickRefusal, match="only people trained"):
        undo_line(line=line, by=clerk, at=AT, request_key="undo")
    clerk.groups.add(Group.objects.get(name=CLEAN_WORK.name))
    undo_line(line=line, by=User.objects.get(pk=clerk.pk), at=AT, request_key="undo")
    assert held("OR-110-CLEAN", job=job) == 0


def test_ordinary_work_asks_for_no_training(shop):
    clerk = User.objects.create_user("untrained")
    made = start_round(jobs=[shop.job("J-1")], by=clerk, at=AT, key="start")
    assert book(shop, line_of(made, "NUT"), by=clerk).by == clerk


def test_a_job_that_became_clean_gets_nothing_from_an_ordinary_round(clean_shop):
    job = clean_shop.job("J-1", "cover")
    line = line_of(clean_shop.start(job), "NUT")
    Job.objects.filter(pk=job.pk).update(cleanliness="oxygen_clean")
    with pytest.raises(PickRefusal) as refusal:
        book(clean_shop, line)
    assert str(refusal.value) == (
        f"J-1 is oxygen-clean by now, and round {line.pick_round_id} is ordinary: book 0 for it, and start another "
        "round for it."
    )

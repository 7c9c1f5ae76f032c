"""One round and several hands: at rest, taken over, handed over, shared by the order of the walk."""

from datetime import date

import pytest
from django.contrib.auth.models import Group

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.people.roles import CLEAN_WORK
from kits.picking.actions import confirm_line
from kits.picking.errors import PickRefusal
from kits.picking.models import Confirmation, PickLine
from kits.picking.scanning.actions import scan_on_line
from kits.picking.walkers.actions import half_way, hand_over, rest_round, share_round, take_over
from kits.picking.walkers.walking import lines_in_hand, walker_rows
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def ann():
    person = User.objects.create_user("ann")
    person.groups.add(Group.objects.get(name="Storeroom clerk"))
    return person


@pytest.fixture
def made(shop):
    """A round of five lines: a kit, two rings of one bin, a seat with a cord of one bin, nuts."""
    shop.clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    return shop.start(shop.job("J-1"), shop.job("J-2", "valve"))


def book(line, by, key=None):
    quantities = {share.bag.job_id: share.asked for share in line.shares.select_related("bag")}
    return confirm_line(line=line, quantities=quantities, by=by, at=AT, request_key=key or f"{line.pk} by {by}")


def numbers(made, person):
    return [line.number for line in lines_in_hand(made, person)]


def all_of(made):
    return list(PickLine.objects.filter(pick_round=made).values_list("number", flat=True).order_by("number"))


def test_half_way_is_never_inside_a_bin():
    assert half_way([1, 2, 3, 4]) == 2
    assert half_way([1, 2, 3, 4, 5]) == 3
    assert half_way([1, 2, 2, 2, 3]) == 4, "as near to 1 as to 4 it would be the former; 4 is nearer to 3"
    assert half_way([1, 1, 1, 1]) == 2, "one bin: somebody has to go there twice"


def test_round_of_one_is_booked_by_whoever_stands_at_the_bin(shop, made, ann):
    assert numbers(made, ann) == numbers(made, shop.clerk) == all_of(made)
    assert book(made.lines.first(), ann).by == ann


def test_shared_round_is_walked_from_both_ends_and_each_line_is_booked_once(shop, made, ann):
    assert share_round(pick_round=made, to=ann.pk, by=shop.clerk, key="share:1~a") == ann
    mine, hers = numbers(made, shop.clerk), numbers(made, ann)
    assert mine + hers == all_of(made), "the walk goes on where the other's ends"
    assert 0 <= len(mine) - len(hers) <= 2
    places = dict(made.lines.values_list("number", "place"))
    assert places[mine[-1]] != places[hers[0]], "nobody meets in a bin"
    for number in hers:
        with pytest.raises(PickRefusal, match="is walked by ann"):
            book(made.lines.get(number=number), shop.clerk)
        with pytest.raises(PickRefusal, match="is walked by ann"):
            scan_on_line(
                line=made.lines.get(number=number), text="PLACE A1", by=shop.clerk, at=AT, key=f"scan:{number}~x"
            )
        book(made.lines.get(number=number), ann)
    for number in mine:
        book(made.lines.get(number=number), shop.clerk)
    made.refresh_from_db()
    assert made.state == "finished"
    assert Confirmation.objects.count() == made.lines.count()
    assert ledger_differences() == []


def test_round_at_rest_books_nothing_until_somebody_goes_on(shop, made, ann):
    rest_round(pick_round=made, by=shop.clerk, at=AT, key="rest:1~a")
    for person in (shop.clerk, ann):
        with pytest.raises(PickRefusal, match="rests since 09:00, by clerk: go on with it first"):
            book(made.lines.first(), person)
    take_over(pick_round=made, walker=walker_rows(made)[0].key, by=shop.clerk, key="take:1~a")
    book(made.lines.first(), shop.clerk)


def test_colleague_takes_a_resting_round_over(shop, made, ann):
    book(made.lines.first(), shop.clerk)
    rest_round(pick_round=made, by=shop.clerk, at=AT, key="rest:1~a")
    take_over(pick_round=made, walker=walker_rows(made)[0].key, by=ann, key="take:1~a")
    assert numbers(made, ann) == all_of(made)[1:]
    with pytest.raises(PickRefusal, match="is walked by ann"):
        book(made.lines.last(), shop.clerk)
    book(made.lines.last(), ann)


def test_handed_over_round_is_the_colleagues(shop, made, ann):
    hand_over(pick_round=made, to=ann.pk, by=shop.clerk, key="hand:1~a")
    assert (numbers(made, shop.clerk), numbers(made, ann)) == ([], all_of(made))
    with pytest.raises(PickRefusal, match="None of the open lines"):
        hand_over(pick_round=made, to=ann.pk, by=shop.clerk, key="hand:2~a")
    hand_over(pick_round=made, to=ann.pk, by=shop.clerk, key="hand:1~a")
    with pytest.raises(Refusal, match="used already"):
        hand_over(pick_round=made, to=ann.pk, by=shop.clerk, key="hand:1~b")


def test_who_may_not_pick_is_no_colleague(shop, made):
    buyer = User.objects.create_user("buyer")
    buyer.groups.add(Group.objects.get(name="Purchasing"))
    for to in (buyer.pk, shop.clerk.pk, 0):
        with pytest.raises(PickRefusal, match="Choose a colleague who may walk this round"):
            hand_over(pick_round=made, to=to, by=shop.clerk, key=f"hand:{to}~a")


def test_clean_round_goes_to_trained_people_only(shop, ann):
    shop.line("END", "OR-110-CLEAN", 1, "renew", "face")
    shop.stock("OR-110-CLEAN", "CL-1", "A2", 10)
    made = shop.start(shop.job("J-7", cleanliness="oxygen_clean"))
    with pytest.raises(PickRefusal, match="Choose a colleague"):
        hand_over(pick_round=made, to=ann.pk, by=shop.clerk, key="hand:1~a")
    with pytest.raises(PickRefusal, match="only people trained"):
        take_over(pick_round=made, walker=walker_rows(made)[0].key, by=ann, key="take:1~a")
    ann.groups.add(Group.objects.get(name=CLEAN_WORK.name))
    ann = User.objects.get(pk=ann.pk)
    assert hand_over(pick_round=made, to=ann.pk, by=shop.clerk, key="hand:1~a") == ann


def test_ended_round_is_walked_by_nobody(shop, made, ann):
    for line in made.lines.all():
        book(line, shop.clerk)
    for act in (
        lambda: rest_round(pick_round=made, by=shop.clerk, at=AT, key="rest:9~a"),
        lambda: share_round(pick_round=made, to=ann.pk, by=shop.clerk, key="share:9~a"),
        lambda: take_over(pick_round=made, walker=walker_rows(made)[0].key, by=ann, key="take:9~a"),
    ):
        with pytest.raises(PickRefusal, match="is finished: nobody walks it any more"):
            act()


def test_one_open_line_is_not_shared(shop, ann):
    made = shop.start(shop.job("J-8", "valve", date(2026, 3, 20)))
    for line in list(made.lines.all())[1:]:
        book(line, shop.clerk)
    shop.clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    with pytest.raises(PickRefusal, match="One open line is not shared"):
        share_round(pick_round=made, to=ann.pk, by=shop.clerk, key="share:1~a")


def test_line_taken_back_is_again_for_who_walked_it(shop, made, ann):
    from kits.picking.actions import undo_line

    share_round(pick_round=made, to=ann.pk, by=shop.clerk, key="share:1~a")
    last = made.lines.last()
    book(last, ann)
    undo_line(line=last, by=ann, at=AT, request_key="undo")
    assert last.number in numbers(made, ann)
    assert sum(made.lines.values_list("shares__asked", flat=True)) > ONE

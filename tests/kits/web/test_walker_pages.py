"""A round on two tablets: rested, handed over, shared, taken over, each by one tap; an empty bin by one as well."""

import pytest
from django.contrib.auth.models import Group
from django.test import Client

from kits.people.models import User
from kits.picking.models import Confirmation, PickRound
from kits.stock.models import Balance
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db


def person(name, role="Storeroom clerk"):
    made = User.objects.create_user(name)
    made.groups.add(Group.objects.get(name=role))
    there = Client()
    there.force_login(made)
    return there


@pytest.fixture
def clerk(small_shop):
    return person("clerk")


@pytest.fixture
def ann(clerk):
    return person("ann")


@pytest.fixture
def made(clerk):
    """A round of three lines in one bin."""
    tap(clerk, "/picking/start/", {"job": ["J-1"]}, on="/picking/")
    return PickRound.objects.get()


def give(who, made, how):
    to = User.objects.get(username="ann").pk
    page = f"/picking/{made.pk}/"
    return tap(who, f"{page}give/", {"to": to, "how": how}, on=page, follow=True)


def test_each_stands_before_lines_of_their_own(clerk, ann, made):
    assert "ann walks the second half from now on" in sheet_of(give(clerk, made, "half"))
    page = f"/picking/{made.pk}/"
    assert "Line 1 of 3" in sheet_of(clerk.get(page))
    assert "Line 3 of 3" in sheet_of(ann.get(page))
    last = made.lines.last()
    sheet = sheet_of(clerk.get(f"{page}?line={last.pk}"))
    assert "ann walks this line. Line 3 is open. Take over line 3" in sheet
    assert "Full:" not in sheet
    assert "clerk: 2 lines from 1 to 2; ann: line 3" in sheet_of(clerk.get("/picking/"))
    tap(ann, f"{page}lines/{last.pk}/", {"full": "1"}, on=page)
    assert Confirmation.objects.get().line == last
    assert "Yours are done; what is open is walked by others." in sheet_of(ann.get(page))


def test_rested_round_is_gone_on_with_by_a_colleague(clerk, ann, made):
    page = f"/picking/{made.pk}/"
    assert "What is open rests." in sheet_of(tap(clerk, f"{page}rest/", {}, on=page, follow=True))
    walker = made.walkers.get().pk
    assert "by clerk. 3 lines from 1 to 3 are open. Take over 3 lines from 1 to 3" in sheet_of(ann.get(page))
    assert "Go on with it" in sheet_of(clerk.get(page))
    take = f"{page}walkers/{walker}/take-over/"
    assert "These lines are yours now." in sheet_of(tap(ann, take, {}, on=page, follow=True))
    assert "Full:" in sheet_of(ann.get(page))


def test_double_tap_hands_over_once_and_a_page_from_before_is_told(clerk, ann, made):
    page, to = f"/picking/{made.pk}/", User.objects.get(username="ann").pk
    key = key_on(clerk, page, f"{page}give/")
    other = key_on(clerk, page, f"{page}rest/")
    for _ in range(2):
        answer = clerk.post(f"{page}give/", {"key": key, "to": to, "how": "all"}, follow=True)
        assert "ann walks it from now on" in sheet_of(answer)
    assert "This has changed since the page was opened" in sheet_of(
        clerk.post(f"{page}rest/", {"key": other}, follow=True)
    )


def test_empty_bin_is_booked_by_one_tap(clerk, made):
    line = made.lines.get(lot__item__part_number="OR-014")
    page = f"/picking/{made.pk}/?line={line.pk}"
    answer = tap(clerk, f"/picking/{made.pk}/lines/{line.pk}/", {"empty": "1"}, on=page)
    assert answer.status_code == 302
    line.refresh_from_db()
    said = Confirmation.objects.get()
    assert (line.state, said.counted, said.reason) == ("short", 0, "the bin was empty")
    assert not Balance.objects.filter(lot=line.lot, place=line.place, quantity__gt=0).exists()


def test_round_that_is_done_says_what_comes_next(clerk, made):
    page = f"/picking/{made.pk}/"
    for line in made.lines.all():
        said = {"empty": "1"} if line.lot.item.part_number == "K-1" else {"full": "1"}
        tap(clerk, f"{page}lines/{line.pk}/", said, on=f"{page}?line={line.pk}")
    sheet = sheet_of(clerk.get(page))
    assert "What next Label 1 opened packet." in sheet
    assert "1 bag lacks something. The plan asks for it again" in sheet
    assert "1 J-1 K-1 end seal kit 2 A1 the bin was empty" in sheet
    assert "Hand the bags over, each with its tray sheet" in sheet


def test_refusal_stands_beside_the_figure_that_is_wrong(clerk, made):
    line = made.lines.get(lot__item__part_number="OR-014")
    bag, page = line.shares.get().bag.number, f"/picking/{made.pk}/?line={line.pk}"
    address = f"/picking/{made.pk}/lines/{line.pk}/"
    for said, field, says in (
        ({f"bag_{bag}": "3"}, f"bag_{bag}", "is more: put the rest back into the bin"),
        ({f"bag_{bag}": "2", "counted": "1"}, "counted", "write what lay there before anything was taken"),
        ({f"bag_{bag}": "1"}, "counted", "write how many lay there, or why not all were taken"),
        ({f"bag_{bag}": "2", "damaged": "20", "fault": "pitted"}, "counted", "cannot come from it"),
    ):
        answer = tap(clerk, address, {"short": "1", **said}, on=page)
        assert answer.status_code == 409
        assert says in answer.context["form"].errors[field][0], said
        assert f'id="id_{field}-wrong"' in answer.content.decode()

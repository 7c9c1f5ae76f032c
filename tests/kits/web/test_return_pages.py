"""The return list: what a changed job holds for nothing, on the sheets of the trial, the job and the storeroom."""

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Item, ScopeSection
from kits.people.models import User
from kits.people.roles import ROLES
from kits.schedule.models import Job
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance, Lot, Place, Reservation
from kits.web.request_keys import new_key
from tests.kits.exchange.books import AT
from tests.kits.kept_rows import step_once
from tests.kits.persons import person_of
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
LIST = "/storeroom/returns/"


@pytest.fixture
def sign_in(small_shop, client):
    def sign_in(role):
        name = role.split()[-1].lower()
        client.force_login(User.objects.filter(username=name).first() or person_of(role, name))
        return client

    return sign_in


@pytest.fixture
def full_bag(small_shop):
    return step_once("full bag of test_return_pages", fill_bag)


def fill_bag():
    """Two kits and two rings lie in the bag of J-1, two more are set aside for J-2; each rebuilds two ends."""
    with transaction.atomic():
        mark_catalog()
        mark_shop()
        pump, end = Item.objects.get(part_number="P-1"), Item.objects.get(part_number="E-1")
        ScopeSection.objects.create(pump=pump, scope="one end", section=end, how_many=1)
        job, place = Job.objects.get(job="J-1"), Place.objects.get(place="A1").pk
        for lot, quantity in ((Lot.objects.get(lot="KIT-9"), 2), (Lot.objects.get(lot="L-1"), 2)):
            shelf, bag = OnShelf(lot.pk, place), WithJob(lot.pk, job.pk, "issued")
            entries = [Entry(shelf, -quantity * ONE), Entry(bag, quantity * ONE)]
            post(entries=entries, kind="pick", by=None, at=AT, key=f"bag {lot.pk}", job=job)
        Reservation.objects.create(job=Job.objects.get(job="J-2"), lot=Lot.objects.get(lot="L-1"), quantity=2 * ONE)


def cut(client, job):
    """Try one end instead of both, and keep that."""
    page = f"/try/?job={job}&scope=one end"
    seen = Job.objects.get(job=job)
    said = {"job": job, "scope": "one end", "why": "one end is good", "key": key_on(client, page, "/try/keep/")}
    said |= {"seen_build_on": seen.build_on, "seen_priority": 5, "seen_scope": "full", "seen_quantity": 1}
    return client.post("/try/keep/", said | {"seen_pump": "P-1"})


def test_the_trial_shows_what_would_come_back_and_keeping_it_puts_it_on_the_list(sign_in, full_bag):
    planner = sign_in("Planner")
    assert "Nothing is to be brought back." in sheet_of(planner.get(LIST))
    sheet = sheet_of(planner.get("/try/?job=J-1&scope=one end"))
    assert "What J-1 would hold for nothing 1 of K-1 in its bag; 1 of OR-014 in its bag." in sheet
    assert "Nothing is to be brought back." in sheet_of(planner.get(LIST)), "nothing is stored yet"
    assert "Once the change is kept" not in sheet_of(planner.get("/try/?job=J-1&priority=1"))
    answer = cut(planner, "J-1")
    assert answer.status_code == 302
    assert "On the return list now: 1 of K-1 in its bag and 1 of OR-014 in its bag." in sheet_of(
        planner.get(answer.url)
    )
    sheet = sheet_of(planner.get(LIST))
    assert "2 lots are held by jobs for nothing." in sheet
    assert (
        "J-1 K-1 end seal kit KIT-9 1 in its bag changed by planner, scope one end, before full: one end is good"
        in sheet
    )
    assert "On the return list" in sheet_of(planner.get("/jobs/J-1/"))
    assert "Comes back" not in sheet, "that is the clerk's work"


def test_the_clerk_works_the_list_off(sign_in, full_bag):
    cut(sign_in("Planner"), "J-1")
    clerk = sign_in("Storeroom clerk")
    rings = Balance.objects.get(job__job="J-1", lot__lot="L-1")
    page = f"/storeroom/bench/{rings.pk}/?quantity=1&list=1"
    assert page.replace("&", "&amp;") in clerk.get(LIST).content.decode()
    assert 'name="quantity" value="1"' in clerk.get(page).content.decode()
    place = Place.objects.get(place="A1").pk
    answer = tap(clerk, page, {"quantity": "1", "goes": "back", "place": place, "reason": ""})
    assert (answer.status_code, answer.url) == (302, LIST)
    sheet = sheet_of(clerk.get(LIST))
    assert "1 lot is held by jobs for nothing." in sheet
    assert "OR-014 O-ring 014" not in sheet


def test_what_is_only_set_aside_is_set_free_with_one_tap(sign_in, full_bag):
    cut(sign_in("Planner"), "J-2")
    clerk = sign_in("Storeroom clerk")
    assert "J-2 OR-014 O-ring 014 L-1 1 set aside on the shelf" in sheet_of(clerk.get(LIST))
    lot = Lot.objects.get(lot="L-1")
    address = f"/storeroom/returns/free/{lot.pk}/J-2/"
    key = key_on(clerk, LIST, address)
    for _ in range(2):
        answer = clerk.post(address, {"key": key})
        assert (answer.status_code, answer.url) == (302, LIST)
    assert Reservation.objects.get().quantity == ONE
    assert "Nothing is to be brought back." in sheet_of(clerk.get(LIST))


def test_what_is_needed_is_not_set_free(sign_in, full_bag):
    clerk = sign_in("Storeroom clerk")
    lot = Lot.objects.get(lot="L-1")
    key = new_key("free", lot.pk, Job.objects.get(job="J-2").pk, 2 * ONE)
    answer = clerk.post(f"/storeroom/returns/free/{lot.pk}/J-2/", {"key": key}, follow=True)
    assert "This has changed since the page was opened" in sheet_of(answer)
    assert Reservation.objects.get().quantity == 2 * ONE
    assert clerk.post(f"/storeroom/returns/free/{lot.pk}/NO-SUCH/", {"key": key}).status_code == 404


def test_the_list_goes_out_as_a_file(sign_in, full_bag):
    planner = sign_in("Planner")
    cut(planner, "J-1")
    text = planner.get(f"{LIST}?export=csv").content.decode()
    assert "J-1,K-1,KIT-9,1,in its bag" in text


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_who_may_set_free_what_is_set_aside(sign_in, full_bag, role):
    cut(sign_in("Planner"), "J-2")
    client, lot = sign_in(role), Lot.objects.get(lot="L-1")
    allowed = role in ("Storeroom clerk", "Administrator")
    assert ("Release it" in sheet_of(client.get(LIST))) is allowed
    key = new_key("free", lot.pk, Job.objects.get(job="J-2").pk, ONE)
    answer = client.post(f"/storeroom/returns/free/{lot.pk}/J-2/", {"key": key})
    assert answer.status_code == (302 if allowed else 403)

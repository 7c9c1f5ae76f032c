"""The page of a bag, its label and tags, the hand-over, the counter, and the questions of the closing."""

import pytest
from django.contrib.auth.models import Group
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item
from kits.people.models import User
from kits.picking.models import Bag, HandOver, PickLine, PumpQuestion
from kits.schedule.models import Job, Verdict
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance, Lot, Place
from kits.stock.queries import ledger_differences
from kits.web.request_keys import new_key
from tests.kits.exchange.books import AT
from tests.kits.kept_rows import step_once
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
BAG, COUNTER, CLOSE = "/picking/bags/1/", "/picking/jobs/J-1/counter/", "/picking/jobs/J-1/close/"
BALLS = [f"pump 1 / E-1 {end} / CK-1 {check} / ball" for end in (1, 2) for check in (1, 2)]


@pytest.fixture
def picked(clerk):
    """A round for J-1 is walked to its end: it finds 2 kits and 2 rings, and some of the cord."""

    def walk():
        tap(clerk, "/picking/start/", {"job": "J-1"}, on="/picking/")
        for line in PickLine.objects.all():
            page = f"/picking/{line.pick_round_id}/"
            tap(clerk, f"{page}lines/{line.pk}/", {"full": "1"}, on=f"{page}?line={line.pk}")

    step_once("round walked for J-1", walk)
    return clerk


@pytest.fixture
def built(clerk):
    return step_once("bag handed over with 3 rings", build)


def build():
    """J-1 is being built: its bag was handed over with 3 rings, and its ends take 2; all balls are kept."""
    job = Job.objects.get(job="J-1")
    with transaction.atomic():
        mark_shop()
        Job.objects.filter(pk=job.pk).update(stage="building")
        ball = Item.objects.get(part_number="BA-1")
        Verdict.objects.bulk_create([Verdict(job=job, where=where, item=ball, verdict="keep") for where in BALLS])
        cord, place = Lot.objects.get(lot="C-2"), Place.objects.get(place="A1").pk
        post(entries=[Entry(OnShelf(cord.pk, place), 200 * ONE)], kind="receive", by=None, at=AT, key="more cord")
        for lot, quantity in ((Lot.objects.get(lot="KIT-9"), 2), (Lot.objects.get(lot="L-1"), 3), (cord, 620)):
            bag = WithJob(lot.pk, job.pk, "issued")
            entries = [Entry(OnShelf(lot.pk, place), -quantity * ONE), Entry(bag, quantity * ONE)]
            post(entries=entries, kind="pick", by=None, at=AT, key=f"bag {lot.pk}", job=job)
    return job


def close(client, **said):
    sheet = client.get(CLOSE).context["sheet"]
    return client.post(CLOSE, {"key": new_key("close", sheet.job.pk, sheet.shows), **said})


def ring():
    return Lot.objects.get(lot="L-1").pk


def test_a_scanned_bag_leads_to_its_page_with_what_lies_in_it(picked):
    assert picked.get("/scan/?code=BAG 1").url == BAG
    sheet = sheet_of(picked.get(BAG))
    assert "lie in it, still the storeroom's." in sheet
    assert "K-1 end seal kit lot KIT-9" in sheet
    assert "in the bag" in sheet


def test_a_bag_is_handed_over_once_and_taken_back(picked):
    said = {"taken_by": "Ana", "where": "bench 2", "key": key_on(picked, BAG, f"{BAG}hand-over/")}
    for _ in range(2):
        assert picked.post(f"{BAG}hand-over/", said).status_code == 302
    taken = HandOver.objects.get()
    sheet = sheet_of(picked.get(BAG))
    assert "Ana took it on" in sheet
    assert "to bench 2." in sheet
    assert "at the bench" in sheet
    assert {row.state for row in Balance.objects.filter(job__isnull=False, quantity__gt=0)} == {"issued"}
    address = f"{BAG}hand-over/{taken.pk}/back/"
    tap(picked, address, {}, on=BAG)
    assert "not handed over after all" in sheet_of(picked.get(BAG))
    assert ledger_differences() == []


def test_a_bag_is_taken_by_a_name_and_what_was_typed_stays(picked):
    answer = tap(picked, f"{BAG}hand-over/", {"taken_by": "", "where": "bench 2"}, on=BAG)
    assert answer.status_code == 422
    assert "Write who takes it." in sheet_of(answer)
    assert 'value="bench 2"' in answer.content.decode()


def test_what_was_put_in_since_the_page_was_opened_is_looked_at_first(picked):
    key = key_on(picked, BAG, f"{BAG}hand-over/")
    job, lot = Job.objects.get(job="J-1"), Lot.objects.get(lot="B-7")
    with transaction.atomic():
        mark_shop()
        post(entries=[Entry(WithJob(lot.pk, job.pk), ONE)], kind="opening", by=None, at=AT, key="more")
    answer = picked.post(f"{BAG}hand-over/", {"taken_by": "Ana", "key": key})
    assert answer.status_code == 409
    assert "This has changed since the page was opened" in sheet_of(answer)


def test_a_place_that_is_scanned_on_the_page_of_a_bag_is_where_it_stands(picked):
    answer = picked.get(f"{BAG}?code=PLACE A1")
    assert "Bag 1 stands at A1" in sheet_of(answer)
    key = key_on(picked, f"{BAG}?code=PLACE A1", f"{BAG}place/", place="A1")
    picked.post(f"{BAG}place/", {"place": "A1", "key": key})
    assert "still the storeroom's, at A1." in sheet_of(picked.get(BAG))
    answer = tap(picked, f"{BAG}place/", {"place": "nowhere"}, on=BAG)
    assert (answer.status_code, "There is no place “nowhere”" in sheet_of(answer)) == (409, True)
    assert picked.get(f"{BAG}?code=LOT OR-014 L-1").url == f"{COUNTER}?code=LOT+OR-014+L-1"
    assert picked.get(f"{BAG}?code=JOB J-2").url == "/jobs/J-2/"


def test_the_tags_of_a_bag_are_printed_with_its_label(picked):
    answer = picked.get(f"{BAG}label/")
    heads = [label.head for label in answer.context["labels"]]
    assert heads[0] == "Bag 1 · J-1"
    assert len(heads) == 1 + len(answer.context["tags"])
    assert picked.get(f"{BAG}label/?pdf").headers["Content-Type"] == "application/pdf"


def test_the_counter_gives_by_a_tap_on_the_reason(clerk):
    page = f"{COUNTER}?code=LOT OR-014 L-1"
    balance = Balance.objects.get(lot=ring(), job__isnull=True)
    before, address = balance.quantity, f"/picking/counter/{balance.pk}/give/J-1/"
    said = {"quantity": "1", "why": "lost at the bench", "code": "LOT OR-014 L-1"}
    key = key_on(clerk, page, address)
    for _ in range(2):
        assert clerk.post(address, {**said, "key": key}).status_code == 302
    after = sum(Balance.objects.filter(lot=ring(), job__isnull=True).values_list("quantity", flat=True))
    assert before - after == ONE
    assert Balance.objects.get(job__isnull=False, lot=ring()).state == "extra"
    opened = Balance.objects.get(lot=ring(), packet="resealed")
    address = f"/picking/counter/{opened.pk}/give/J-1/"
    answer = clerk.post(address, {"quantity": "1", "other": "", "code": "x", "key": key_on(clerk, page, address)})
    assert (answer.status_code, Balance.objects.filter(state="extra").get().quantity) == (422, ONE)


def test_a_pick_from_paper_is_refused_beside_its_field_and_keeps_what_was_typed(clerk):
    page = f"{COUNTER}?code=LOT OR-014 L-1"
    balance = Balance.objects.get(lot=ring(), job__isnull=True)
    address = f"/picking/counter/{balance.pk}/paper/J-1/"
    said = {"quantity": "1", "picked_on": "2031-03-01", "code": "LOT OR-014 L-1"}
    answer = clerk.post(address, {**said, "key": key_on(clerk, page, address)})
    assert answer.status_code == 409
    assert "is still to come" in sheet_of(answer)
    assert 'value="2031-03-01"' in answer.content.decode()
    answer = clerk.post(address, {**said, "picked_on": "", "key": key_on(clerk, page, address)})
    assert answer.status_code == 422


def test_closing_asks_what_became_of_the_third_ring_with_the_likely_answer_chosen(clerk, built):
    answer = clerk.get(CLOSE)
    assert "The job was given 3, and the pump takes 2. What became of the other 1?" in sheet_of(answer)
    assert f'name="answer_{ring()}" value="surplus" checked' in " ".join(answer.content.decode().split())
    said = {f"answer_{ring()}": "surplus", f"left_{ring()}": "1", f"goes_{ring()}": "back"}
    answer = close(clerk, **said, **{f"place_{ring()}": Place.objects.get(place="A1").pk})
    assert answer.status_code == 302
    assert "OR-014 L-1 1 back to its lot" in sheet_of(clerk.get(CLOSE))
    assert ledger_differences() == []


def test_what_was_used_after_all_is_used_up_whatever_number_stands_beside_it(clerk, built):
    assert close(clerk, **{f"answer_{ring()}": "used", f"left_{ring()}": "1"}).status_code == 302
    assert "What was left over" not in sheet_of(clerk.get(CLOSE))
    assert Balance.objects.get(lot=ring(), job=built).quantity == 0


def test_left_over_without_a_number_is_asked_for(clerk, built):
    answer = close(clerk, **{f"answer_{ring()}": "surplus", f"left_{ring()}": ""})
    assert answer.status_code == 422
    assert "Write how many, or choose that they were used after all." in sheet_of(answer)


def test_what_may_be_forgotten_keeps_the_job_open_until_somebody_has_looked(clerk, built):
    said = {f"answer_{ring()}": "forgotten", f"left_{ring()}": "1"}
    assert close(clerk, **said).status_code == 302
    sheet = sheet_of(clerk.get(CLOSE))
    assert "J-1 cannot be closed yet." in sheet
    assert "1 of OR-014, lot L-1, may have been forgotten when the pump was built. Open it, look, and answer" in sheet
    assert Job.objects.get(job="J-1").stage == "building"
    (asked,) = PumpQuestion.objects.all()
    address = f"/picking/pump/{asked.pk}/J-1/"
    key = key_on(clerk, CLOSE, address)
    for _ in range(2):
        clerk.post(address, {"answer": "fitted", "key": key})
    page = " ".join(clerk.get(CLOSE).content.decode().split())
    assert f'name="answer_{ring()}" value="used" checked' in page, "what was found is the likely answer now"
    assert close(clerk, **{f"answer_{ring()}": "used", f"left_{ring()}": "1"}).status_code == 302
    assert Job.objects.get(job="J-1").stage == "built"


def test_closing_says_which_bag_nobody_took(clerk, built):
    Bag.objects.create(job=built, number=4)
    with transaction.atomic():
        mark_shop()
        Balance.objects.filter(job=built).update(state="bagged")
    sheet = sheet_of(clerk.get(CLOSE))
    assert "Nobody has said that the bench took bag 4" in sheet


def test_who_only_reads_finds_no_form(picked):
    person = User.objects.create_user("buyer")
    person.groups.add(Group.objects.get(name="Purchasing"))
    picked.force_login(person)
    sheet = sheet_of(picked.get(BAG))
    assert "Hand bag 1 over" not in sheet
    assert "Comes back" not in sheet
    assert picked.post(f"{BAG}hand-over/", {"taken_by": "Ana"}).status_code == 403

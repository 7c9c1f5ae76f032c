"""The pages of picking, on the small shop: 2 kits, 12 rings, 3 balls and 500 mm of cord lie in bin A1."""

import uuid

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bom.values import ONE
from kits.catalog.models import Item, StructureLine
from kits.people.models import User
from kits.people.roles import CLEAN_WORK, ROLES
from kits.picking.models import PickRound
from kits.picking.rounds import front
from kits.schedule.models import Job
from kits.stock.models import Balance, Lot, Place
from kits.web.request_keys import new_key
from tests.kits.kept_rows import step_once
from tests.kits.persons import person_of
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
MAY_PICK = {role.name for role in ROLES if "picking" in role.works_in}


@pytest.fixture
def clerk(small_shop, client):
    client.force_login(person_of("Storeroom clerk"))
    return client


@pytest.fixture
def made(clerk):
    """A round for job J-1: a line of kits, one of cord, one of rings."""

    def begin():
        answer = start(clerk, "J-1")
        made = PickRound.objects.get()
        assert answer.url == f"/picking/{made.pk}/"
        return made

    return step_once("round for J-1", begin)


def start(client, *jobs):
    return tap(client, "/picking/start/", {"job": jobs}, on="/picking/")


def line_of(made, part):
    return made.lines.get(lot__item__part_number=part)


def address_of(line):
    return f"/picking/{line.pick_round_id}/lines/{line.pk}/"


def page_of(line):
    return f"/picking/{line.pick_round_id}/?line={line.pk}"


def book(client, line, **said):
    return tap(client, address_of(line), said, on=page_of(line))


def held(part, **where):
    return sum(Balance.objects.filter(lot__item__part_number=part, **where).values_list("quantity", flat=True)) / ONE


def test_the_front_door_lists_the_jobs_of_which_something_lies_here(clerk):
    sheet = sheet_of(clerk.get("/picking/"))
    assert "0 of 2 jobs can be picked in full." in sheet
    assert "J-1 16 Mar 2026 P-1, full waiting on a broken promise parts here on 4 Mar if PO-2 comes 2 2 1" in sheet
    assert "J-9" not in sheet, "a shipped job asks for nothing"


def test_the_front_door_shows_rounds_bags_and_how_to_go_on(clerk, made):
    book(clerk, line_of(made, "K-1"), full="1")
    sheet = sheet_of(clerk.get("/picking/"))
    assert f"1 of 3 clerk, {made.started_at:%-d %b}" in sheet
    assert f"Go on with round {made.pk}" in sheet
    assert "J-1 1 P-1 16 Mar 2026 expected 1 Close J-1" in sheet
    assert f"on round {made.pk}" in sheet


def test_jobs_of_one_batch_can_be_shown(clerk):
    assert "J-1" in sheet_of(clerk.get("/picking/?batch=spring"))
    assert "Nothing waits to be picked for autumn." in sheet_of(clerk.get("/picking/?batch=autumn"))


def test_more_jobs_than_a_page_holds_stand_on_the_next_and_a_round_takes_those_of_one(clerk, monkeypatch):
    assert "A round takes jobs of one page" not in sheet_of(clerk.get("/picking/"))
    monkeypatch.setattr(front, "JOBS_SHOWN", 1)
    first, second = sheet_of(clerk.get("/picking/?page=1")), sheet_of(clerk.get("/picking/?page=2"))
    assert ("J-1 16 Mar" in first, "J-2 24 Mar" in first) == (True, False)
    assert ("J-1 16 Mar" in second, "J-2 24 Mar" in second) == (False, True)
    assert "0 of 1 job shown here can be picked in full." in first
    assert "A round takes jobs of one page; those of a batch stand together when it is chosen." in first


def test_what_is_wholly_on_rounds_stands_last_and_hides_no_job_that_waits(clerk, made, monkeypatch):
    assert made.lines.exists()
    monkeypatch.setattr(front, "JOBS_SHOWN", 1)
    first, second = sheet_of(clerk.get("/picking/?page=1")), sheet_of(clerk.get("/picking/?page=2"))
    assert ("J-2 24 Mar" in first, "J-1 16 Mar" in second) == (True, True)
    assert "0 of 1 job shown here can be picked in full." in first
    assert "What is shown here is on rounds; 1 more job on other pages." in second


def test_a_round_shows_one_line_at_a_time(clerk, made):
    sheet = sheet_of(clerk.get(f"/picking/{made.pk}/"))
    assert "0 of 3 lines booked." in sheet
    assert "Line 1 of 3, place A1 K-1 end seal kit Lot KIT-9 Cured 4Q24 Last use none By the book 2" in sheet
    assert "Into one bag 2 J-1 bag 1 Scan the bin or the packet" in sheet
    assert "Full: 2 taken looked at: A1, K-1, lot KIT-9" in sheet


def test_full_books_the_line_and_stands_before_the_next(clerk, made):
    answer = book(clerk, line_of(made, "K-1"), full="1")
    assert answer.status_code == 302
    sheet = sheet_of(clerk.get(answer.url))
    assert "Booked: 2 of K-1 from A1 Undo Line 2 of 3, place A1 CO-1" in sheet
    assert held("K-1", job__job="J-1") == 2


def test_a_double_tap_books_once(clerk, made):
    line = line_of(made, "K-1")
    key = key_on(clerk, page_of(line), address_of(line))
    answers = [clerk.post(address_of(line), {"full": "1", "key": key}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert held("K-1", job__job="J-1") == 2


def test_short_is_said_in_fields(clerk, made):
    line = line_of(made, "CO-1")
    answer = book(clerk, line, short="1", bag_1="400", counted="450", damaged="50", wrong="kinked")
    assert answer.status_code == 302
    assert (held("CO-1", job__job="J-1"), held("CO-1", job__isnull=True, condition="usable")) == (400, 50)
    assert held("CO-1", condition="quarantine") == 50
    assert "short: 400 mm 50 mm damaged, into quarantine: kinked" in sheet_of(clerk.get(answer.url))


def test_a_field_that_is_no_quantity_is_refused_beside_it_and_nothing_typed_is_lost(clerk, made):
    answer = book(clerk, line_of(made, "K-1"), short="1", bag_1="two", words="torn")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "“two” is not a quantity" in sheet_of(answer)
    assert 'value="two"' in page
    assert 'value="torn"' in page
    assert '<details class="otherwise" open>' in page


def test_what_cannot_be_booked_is_refused_in_one_sentence(clerk, made):
    answer = book(clerk, line_of(made, "K-1"), short="1", bag_1="1")
    assert answer.status_code == 409
    assert "1 of 2 taken, but by the book A1 held 2: write how many lay there" in sheet_of(answer)
    assert 'value="1"' in answer.content.decode()
    assert held("K-1", job__job="J-1") == 0


def test_undo_takes_the_line_back(clerk, made):
    line = line_of(made, "K-1")
    book(clerk, line_of(made, "CO-1"), full="1")
    book(clerk, line, full="1")
    undo = f"{address_of(line)}undo/"
    old = key_on(clerk, f"/picking/{made.pk}/", undo)
    answer = tap(clerk, undo, {}, on=f"/picking/{made.pk}/", follow=True)
    assert "Line 1 is taken back: put the pieces into the bin again." in sheet_of(answer)
    assert held("K-1", job__isnull=True) == 2
    assert "Undo" not in sheet_of(answer), "a second tap must not take back the line before"
    again = clerk.post(undo, {"key": old}, follow=True)
    assert "This has changed since the page was opened" in sheet_of(again)
    none = clerk.post(undo, {"key": new_key("undo", line.pk, None)}, follow=True)
    assert "Nothing is booked on line 1" in sheet_of(none)


def test_a_request_without_its_key_is_refused(clerk, made):
    line = line_of(made, "K-1")
    for key in ("", "x", str(uuid.uuid4()), key_on(clerk, page_of(line), address_of(line))[:-1]):
        assert clerk.post(address_of(line), {"full": "1", "key": key}).status_code == 422
    assert held("K-1", job__job="J-1") == 0
    assert "open it anew" in sheet_of(clerk.post("/picking/start/", {"job": ["J-1"], "key": "x"}, follow=True))


def test_a_round_that_is_done_says_so(clerk, made):
    for line in made.lines.all():
        book(clerk, line, full="1")
    sheet = sheet_of(clerk.get(f"/picking/{made.pk}/"))
    assert "All 3 lines are booked. The bags go to the bench." in sheet
    assert "Give the round up" not in sheet


def test_a_round_can_be_given_up(clerk, made):
    answer = tap(clerk, f"/picking/{made.pk}/give-up/", {}, on=f"/picking/{made.pk}/", follow=True)
    assert f"Round {made.pk} is given up" in sheet_of(answer)
    assert "Given up after 0 of 3 lines." in sheet_of(clerk.get(f"/picking/{made.pk}/"))


def test_no_job_ticked_and_a_held_job_are_refusals(clerk):
    nobody = tap(clerk, "/picking/start/", {}, on="/picking/", follow=True)
    assert "tick the jobs that are to be picked" in sheet_of(nobody)
    Job.objects.filter(job="J-1").update(stage="held", held_because="no answer")
    answer = tap(clerk, "/picking/start/", {"job": ["J-1"]}, on="/picking/", follow=True)
    assert "J-1 is held (no answer) and asks for no parts" in sheet_of(answer)


def test_the_list_on_paper_has_a_column_for_each_bag(clerk):
    start(clerk, "J-1", "J-2")
    made = PickRound.objects.get()
    sheet = sheet_of(clerk.get(f"/picking/{made.pk}/list/"))
    assert "Place Done Part Lot, last use In all J-1 bag 1 J-2 bag 2 Taken, if short" in sheet
    assert "OR-014 O-ring 014 NBR L-1 31 Dec 2039 4 2 2" in sheet
    assert "lot and last use on the bag must be those of the line" in sheet
    assert (
        "CO-1 cord 500 mm J-1 (120 mm), J-2 (380 mm) on order: PO-2 line 1, promised 2 Mar 2026, overdue: if it comes"
        in sheet
    )


def test_more_than_eight_bags_stand_in_one_column(clerk):
    pump = Item.objects.get(part_number="P-1")
    lot, place = Lot.objects.get(lot="L-1"), Place.objects.get(place="A1")
    Balance.objects.filter(lot=lot, place=place).update(quantity=500 * ONE)
    jobs = [Job.objects.create(job=f"N-{n}", pump=pump, scope="full", build_on="2026-04-01").job for n in range(9)]
    start(clerk, *jobs)
    sheet = sheet_of(clerk.get(f"/picking/{PickRound.objects.get().pk}/list/"))
    assert "Into bags" in sheet
    assert "1 for N-0: 2, 2 for N-1: 2" in sheet


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_who_may_pick(clerk, made, client, role):
    person = User.objects.create_user("somebody")
    person.groups.add(Group.objects.get(name=role))
    client.force_login(person)
    assert client.get("/picking/").status_code == 200
    assert client.get(f"/picking/{made.pk}/list/").status_code == 200
    line, may = line_of(made, "K-1"), role in MAY_PICK
    answer = book(client, line, full="1") if may else client.post(address_of(line), {"full": "1"})
    assert answer.status_code == (302 if may else 403)
    assert ("Full:" in sheet_of(client.get(f"/picking/{made.pk}/"))) is may
    begun = start(client, "J-2") if may else client.post("/picking/start/", {"job": "J-2"})
    assert begun.status_code == (302 if may else 403)
    assert client.get("/picking/jobs/J-1/close/").status_code == (200 if may else 403)


@pytest.mark.parametrize("address", ["/picking/987/", "/picking/987/list/", "/picking/jobs/NO-SUCH/close/"])
def test_an_unknown_address_is_a_page_of_its_own(clerk, address):
    assert clerk.get(address).status_code == 404


def add_parts(numbers):
    """For each number one more part in the end, with a lot in a bin of its own."""
    end = Item.objects.get(part_number="E-1")
    for number in numbers:
        part = Item.objects.create(
            part_number=f"OX-{number}", description="O-ring", kind="part", stock_unit="each", material="steel", size="1"
        )
        StructureLine.objects.create(parent=end, child=part, quantity=ONE, at_rebuild="renew", position=f"N {number}")
        place = Place.objects.create(place=f"N{number}", walk_order=number)
        lot = Lot.objects.create(item=part, lot=f"LO-{number}")
        Balance.objects.create(lot=lot, place=place, quantity=50 * ONE)


def test_three_lines_and_thirty_take_the_same_number_of_statements(clerk, made):
    def count(address, data=None):
        with CaptureQueriesContext(connection) as asked:
            answer = clerk.post(address, data) if data else clerk.get(address)
        assert answer.status_code in (200, 302)
        return len(asked)

    def count_all(made, job):
        return [
            count("/picking/"),
            count(f"/picking/{made.pk}/"),
            count(f"/picking/{made.pk}/list/"),
            count(f"/picking/jobs/{job}/close/"),
        ]

    few, job_page = count_all(made, "J-1"), count("/jobs/J-1/")
    add_parts(range(27))
    started = count("/picking/start/", {"job": ["J-2"], "key": new_key("round")})
    many = PickRound.objects.filter(lines__shares__bag__job__job="J-2").distinct().get()
    assert many.lines.count() > 27
    assert count_all(many, "J-2") == few
    assert count("/jobs/J-1/") == job_page
    add_parts(range(27, 54))
    pump = Item.objects.get(part_number="P-1")
    job = Job.objects.create(job="J-3", pump=pump, scope="full", build_on="2026-04-01")
    assert count("/picking/start/", {"job": [job.job], "key": new_key("round")}) == started


def test_damage_is_said_in_fields_and_refused_beside_them(clerk, made):
    line = line_of(made, "OR-014")
    bag = line.shares.get().bag.number
    for said, says in (
        ({"damaged": "1"}, "Write what is wrong with them"),
        ({"wrong": "nicked"}, "Write how many are damaged"),
        ({"damaged": "one", "wrong": "nicked"}, "“one” is not a quantity"),
        ({"reason": "not found at this place"}, "Write how many good ones lay there, 0 if none did"),
        ({"reason": "fewer in the bin than on the list"}, "else the next round leads to this place again"),
    ):
        answer = book(clerk, line, short="1", **{f"bag_{bag}": "1"}, **said)
        assert (answer.status_code, says in sheet_of(answer)) == (422, True), said
        assert all(f'value="{text}"' in answer.content.decode() for name, text in said.items() if name != "reason")
    answer = book(clerk, line, short="1", damaged="1", goes="scrap", wrong="nicked", **{f"bag_{bag}": "2"})
    assert answer.status_code == 302
    assert (held("OR-014", job__isnull=True), held("OR-014", job__job="J-1")) == (9, 2)
    undo = f"{address_of(line)}undo/"
    assert tap(clerk, undo, {}, on=f"/picking/{made.pk}/", follow=True).status_code == 200
    assert held("OR-014", job__isnull=True) == 12


def test_clean_jobs_stand_apart_with_a_round_of_their_own(clerk):
    Job.objects.filter(job="J-2").update(cleanliness="oxygen_clean")
    page = clerk.get("/picking/")
    assert "Jobs that are oxygen-clean Only people trained for clean work pick them" in sheet_of(page)
    assert page.content.decode().count("Start a round") == 1
    assert "Pick J-2" not in sheet_of(page)
    clerk_person = User.objects.get(username="clerk")
    clerk_person.groups.add(Group.objects.get(name=CLEAN_WORK.name))
    page = clerk.get("/picking/")
    assert "In a round of their own, into bags marked oxygen-clean" in sheet_of(page)
    answer = clerk.post("/picking/start/", {"job": ["J-1", "J-2"], "key": new_key("round")}, follow=True)
    assert "J-1 is ordinary, J-2 is oxygen-clean: start a round of its own for each class." in sheet_of(answer)
    start(clerk, "J-2")
    number = PickRound.objects.get().pk
    assert f"{number} J-2 oxygen-clean 0 of" in sheet_of(clerk.get("/picking/"))
    sheet = sheet_of(clerk.get(f"/picking/{number}/"))
    assert f"Round {number}: oxygen-clean" in sheet
    assert "J-2 bag 1, ordinary parts only" in sheet
    assert "Bag 1 · J-2 P-1, full ORDINARY PARTS ONLY Build 24 Mar 2026 BAG 1" in sheet_of(
        clerk.get(f"/picking/{number}/labels/")
    )
    clerk_person.groups.remove(Group.objects.get(name=CLEAN_WORK.name))
    sheet = sheet_of(clerk.get(f"/picking/{number}/"))
    assert "This round is oxygen-clean. Only people trained for clean work book it" in sheet
    assert "Full:" not in sheet

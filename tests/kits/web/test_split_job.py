"""A job of several pumps split into one job for each: numbers, serials, verdicts, findings; taken back in one step."""

from datetime import date

import pytest

from bom.values import ONE
from kits.catalog.models import FindingRule, Item
from kits.exchange.actions import load_at_once
from kits.exchange.models import Upload, UploadOrigin, UploadState
from kits.exchange.reading.split_job import split_file
from kits.exchange.undo.actions import undo_upload
from kits.planning.queries import plan_now
from kits.schedule.models import Finding, Job, JobChange, Verdict
from kits.stock.models import Lot, Reservation
from tests.kits.exchange.books import AT
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
ADDRESS = "/split/J-2/"
THREE = {
    "number_1": "J-2-2",
    "number_2": "J-2-3",
    "serial_0": "S-1",
    "serial_1": "S-2",
    "serial_2": "S-3",
    "why": "apart",
}


@pytest.fixture
def three(small_shop):
    """J-2 rebuilds three pumps."""
    Job.objects.filter(job="J-2").update(quantity=3, stage="here", customer="Ferry Line")
    return Job.objects.get(job="J-2")


def split(client, **said):
    seen = client.post(ADDRESS, {**THREE, **said})
    return client.post(ADDRESS, {**THREE, **said, "key": key_in(seen, ADDRESS), "store": "1"}, follow=True)


def needed():
    plan = plan_now(date(2026, 3, 4))
    asked = {}
    for job, number in ((asker.name, place) for place, asker in enumerate(plan.demand.askers)):
        asked[job] = number
    return sorted(name for name in asked if name.startswith("J-2"))


def bought():
    plan = plan_now(date(2026, 3, 4))
    return {plan.demand.structure.items[row.item].part_number: (row.short, row.short_wear) for row in plan.buy}


def rows():
    return list(Job.objects.filter(job__startswith="J-2").order_by("folded").values_list("job", "quantity", "serial"))


def test_form_proposes_a_number_for_each_pump_but_the_first_and_skips_those_that_are_taken(three, reader):
    other = Job.objects.get(job="J-1")
    Job.objects.create(job="j-2-2", pump=other.pump, scope="full", build_on=other.build_on)
    form = reader.get(ADDRESS).context["form"]
    assert [(number, field and field.value()) for number, field, _ in form.rows] == [
        ("J-2", None),
        ("J-2-3", "J-2-3"),
        ("J-2-4", "J-2-4"),
    ]


def test_each_pump_becomes_a_job_with_everything_else_as_it_was(three, reader):
    before = bought()
    done = split(reader)
    assert "J-2 is 3 jobs now: J-2, J-2-2 and J-2-3." in text_of(done)
    assert rows() == [("J-2", 1, "S-1"), ("J-2-2", 1, "S-2"), ("J-2-3", 1, "S-3")]
    same = ("pump", "scope", "build_on", "batch", "priority", "option", "stage", "customer", "strip_on")
    found = {tuple(getattr(job, name) for name in same) for job in Job.objects.filter(job__startswith="J-2")}
    assert len(found) == 1
    assert bought() == before, "three pumps ask for what three pumps asked for"


def test_split_is_taken_back_in_one_step(three, reader, planner):
    Verdict.objects.create(
        job=three, where="pump 2 / E-1 1 / CK-1 1 / ball", item=Item.objects.get(part_number="BA-1"), verdict="renew"
    )
    before = (rows(), list(Verdict.objects.values_list("job__job", "where", "folded")))
    split(reader)
    origins = list(JobChange.objects.exclude(job=three).order_by("pk").values_list("why", flat=True))
    assert len(origins) == 2
    assert all(why.startswith(f"split off {three}: ") for why in origins), origins
    undo_upload(upload=Upload.objects.latest("pk"), by=planner, at=AT)
    assert (rows(), list(Verdict.objects.values_list("job__job", "where", "folded"))) == before
    assert [row.quantity for row in JobChange.objects.filter(job=three)] == [3, 1]


def test_verdicts_go_to_the_job_of_their_pump_and_findings_to_all(three, reader, planner):
    ball = Item.objects.get(part_number="BA-1")
    for pump in (1, 3):
        where = f"pump {pump} / E-1 1 / CK-1 1 / ball"
        Verdict.objects.create(job=three, where=where, item=ball, verdict="renew", found=f"of pump {pump}")
    FindingRule.objects.create(finding="metal", assembly=Item.objects.get(part_number="CK-1"), effect="renew")
    Finding.objects.create(job=three, finding="metal")
    before = bought()
    split(reader)
    assert list(Verdict.objects.order_by("pk").values_list("job__job", "where", "found")) == [
        ("J-2", "pump 1 / E-1 1 / CK-1 1 / ball", "of pump 1"),
        ("J-2-3", "pump 1 / E-1 1 / CK-1 1 / ball", "of pump 3"),
    ]
    assert sorted(Finding.objects.values_list("job__job", flat=True)) == ["J-2", "J-2-2", "J-2-3"]
    assert bought() == before
    undo_upload(upload=Upload.objects.latest("pk"), by=planner, at=AT)
    assert [row.job.job for row in Finding.objects.all()] == ["J-2"], "though planners load no findings"


def test_verdict_that_names_no_pump_keeps_the_job_whole(three, reader):
    Verdict.objects.create(job=three, where="gland", item=Item.objects.get(part_number="BA-1"), verdict="keep")
    answer = reader.post(ADDRESS, THREE)
    assert answer.status_code == 409
    assert "does not say which pump “gland” is of" in sheet_of(answer)


def test_pieces_set_aside_for_all_three_pumps_are_brought_back_first(three, reader):
    """One pump takes 6 rings, 4 of them out of its kits: of 6 set aside 4 are more than the first pump needs."""
    lot = Lot.objects.get(lot="L-1")
    Reservation.objects.create(job=three, lot=lot, quantity=6 * ONE)
    answer = reader.post(ADDRESS, THREE)
    assert answer.status_code == 409
    assert "J-2 holds more than its first pump needs: 4 of OR-014 set aside on the shelf." in sheet_of(answer)
    assert "Split J-2 into 3 jobs" not in sheet_of(answer)


def test_pieces_for_the_first_pump_stay_with_the_number(three, reader):
    Reservation.objects.create(job=three, lot=Lot.objects.get(lot="L-1"), quantity=2 * ONE)
    split(reader)
    assert Reservation.objects.get().job.job == "J-2"
    assert len(rows()) == 3


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"number_1": "J-1"}, "J-1 is a job already"),
        ({"number_1": "J-2"}, "J-2 is a job already"),
        ({"number_1": "j-2-3"}, "stands there twice"),
        ({"number_2": ""}, "Each pump gets a job of its own"),
        ({"serial_2": "S-1"}, "The serial number S-1 stands there twice"),
        ({"why": ""}, "Nothing says why"),
    ],
)
def test_numbers_and_serials_are_held_against_each_other(three, reader, said, says):
    answer = reader.post(ADDRESS, {**THREE, **said})
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert len(rows()) == 1


def test_second_tap_splits_once(three, reader):
    key = key_in(reader.post(ADDRESS, THREE), ADDRESS)
    answers = [reader.post(ADDRESS, {**THREE, "key": key, "store": "1"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert len(rows()) == 3


def test_what_somebody_else_changed_meanwhile_is_looked_at_again(three, reader):
    key = key_in(reader.post(ADDRESS, THREE), ADDRESS)
    Job.objects.filter(job="J-2").update(priority=1)
    assert reader.post(ADDRESS, {**THREE, "key": key, "store": "1"}).status_code == 409
    assert len(rows()) == 1


def test_one_pump_and_a_pump_that_left_are_not_split(small_shop, reader):
    assert "J-1 is one pump" in sheet_of(reader.get("/split/J-1/"))
    assert "J-9 is shipped" in sheet_of(reader.get("/split/J-9/"))


def test_row_of_several_pumps_leads_there(three, reader):
    assert 'href="/split/J-2/"' in reader.get("/job-list/row/J-2/").content.decode()
    assert 'href="/split/J-1/"' not in reader.get("/job-list/row/J-1/").content.decode()


def test_number_that_somebody_else_used_meanwhile_is_refused_and_their_job_left_alone(three, reader, planner):
    """The check of the form is behind it by then: it is asked once more behind the lock."""
    file = split_file(three, [("J-2", "S-1"), ("J-2-2", "S-2"), ("J-1", "S-3")])
    kept = load_at_once(
        file=file,
        by=planner,
        at=AT,
        origin=UploadOrigin.SPLIT,
        key="",
        typed={"numbers": "J-2\nJ-2-2\nJ-1"},
        why="apart",
    )
    assert kept.state == UploadState.REFUSED
    assert "it is a job already" in str(kept.outcome)
    assert Job.objects.get(job="J-1").serial == "S-77"
    assert len(rows()) == 1


def test_page_of_a_job_of_several_pumps_leads_there_for_those_who_may(three, reader):
    assert 'href="/split/J-2/"' in reader.get("/jobs/J-2/").content.decode()
    assert 'href="/split/J-1/"' not in reader.get("/jobs/J-1/").content.decode()

"""Which points stand open before a pump is opened: each case worked by hand, beside what plate and papers say."""

from dataclasses import replace

import pytest
from django.contrib.auth.models import Group
from django.utils import timezone

from kits.catalog.models import Item, ScopeSection, Setting
from kits.planning.opening.actions import sign_for, take_signature_back
from kits.planning.opening.compounds import compounds_of
from kits.planning.opening.gate import opening_gate, opening_sheet
from kits.planning.queries import plan_now
from kits.schedule.actions import move_stage, write_strip_report
from kits.schedule.looks import Look, PositionLook
from kits.schedule.models import Job, JobStep
from kits.service.actions import Came, take_serial, write_arrival
from kits.service.errors import ServiceRefusal
from kits.service.models import Arrival, Waiver
from kits.service.rules.actions import say_of_compound, take_published_cautions
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db(transaction=True)

GOOD = Came(
    serial="s-77 ",
    model="P-1",
    fluid="mineral oil",
    flushed_by="the customer",
    flushed_with="clean oil",
    paper_seen=True,
    agreed_with="Ms Oake",
)


class Bench:
    """The small shop, its lead, and the pump of J-1."""

    def __init__(self):
        load_small()
        self.lead = person_of("Service lead")
        take_published_cautions(by=self.lead, at=timezone.now(), key="published")
        self.turn = 0

    def key(self):
        self.turn += 1
        return f"key {self.turn}"

    @property
    def job(self):
        return Job.objects.select_related("pump").get(job="J-1")

    def comes(self, came, **job):
        Job.objects.filter(job="J-1").update(**job)
        last = Arrival.objects.filter(job=self.job).first()
        said = {"scope": self.job.scope, "seen_at": last.at if last else None}
        return write_arrival(job=self.job, came=came, by=self.lead, at=timezone.now(), key=self.key(), **said)

    def points(self, person=None):
        sheet = opening_sheet(self.job, person or self.lead, dict(compounds_of(plan_now(), self.job)))
        return [point.code for point in sheet.points if point.is_open]

    def says(self, code):
        sheet = opening_sheet(self.job, self.lead, dict(compounds_of(plan_now(), self.job)))
        return next(point.says for point in sheet.points if point.code == code)

    def sign(self, point, about, by=None, why="the dock master vouches for it"):
        key, at = self.key(), timezone.now()
        return sign_for(job=self.job, point=point, about=about, why=why, by=by or self.lead, at=at, key=key)

    def opens(self, by=None):
        by, job = by or self.lead, self.job
        said = {"job": job, "seen": job.stage, "stage": "stripped", "gate": opening_gate(job, by)}
        return move_stage(by=by, at=timezone.now(), key=self.key(), **said)


@pytest.fixture
def bench(db):
    return Bench()


CASES = {
    "all is as it should be": ({}, {}, []),
    "the plate cannot be read": ({"serial": "", "model": ""}, {}, ["serial", "model"]),
    "another serial": ({"serial": "S-78"}, {}, ["serial"]),
    "the job names no serial": ({}, {"serial": ""}, ["serial"]),
    "the job names no serial, being for two pumps": ({}, {"serial": "", "quantity": 2}, []),
    "another model": ({"model": "P-2"}, {}, ["model"]),
    "nobody knows the fluid, it was flushed": ({"fluid": ""}, {}, ["fluid"]),
    "nobody knows the fluid, nor flushed it": (
        {"fluid": "", "flushed_by": "", "flushed_with": "", "paper_seen": False},
        {},
        ["fluid", "flush"],
    ),
    "not flushed": ({"flushed_by": "", "flushed_with": "", "paper_seen": False}, {}, ["flush"]),
    "flushed, they say": ({"paper_seen": False}, {}, ["flush"]),
    "no scope agreed": ({"agreed_with": ""}, {}, ["scope"]),
    "clean work, and the lead was not trained": ({}, {"cleanliness": "oxygen_clean"}, ["clean"]),
    "seals against the fluid": ({"fluid": "Phosphate  ESTER"}, {}, ["compound nbr"]),
    "a fluid that the table does not know": ({"fluid": "brine"}, {}, []),
}


@pytest.mark.parametrize("case", CASES)
def test_the_points_that_stand_open_are_those_worked_out_by_hand(bench, case):
    came, job, expected = CASES[case]
    bench.comes(replace(GOOD, **came), **job)
    assert bench.points() == expected


def test_a_pump_whose_arrival_is_written_is_here(bench):
    bench.comes(GOOD)
    assert bench.job.stage == "here"
    Job.objects.update(stage="expected")
    assert bench.points() == ["here"]


def test_without_an_arrival_nothing_is_asked_unless_the_shop_keeps_arrivals(bench):
    assert bench.points() == []
    Setting.objects.create(name="arrivals", value="yes")
    assert bench.points() == ["arrival"]
    with pytest.raises(ServiceRefusal, match="nobody has written down how the pump came"):
        bench.opens()


def test_another_scope_than_the_one_agreed_is_agreed_anew(bench):
    bench.comes(GOOD)
    ScopeSection.objects.filter(pump=bench.job.pump).update(scope="Full")
    Job.objects.filter(job="J-1").update(scope="Full")
    assert bench.points() == []
    Job.objects.filter(job="J-1").update(scope="ends")
    assert bench.points()[-1] == "scope"
    assert "what was agreed is full" in bench.says("scope")


def test_a_scope_that_is_signed_for_wants_its_signature(bench):
    ScopeSection.objects.update(signed_for=True)
    bench.comes(GOOD)
    assert bench.points() == ["signature"]
    bench.comes(replace(GOOD, signed_by="Ms Oake"))
    assert bench.points() == []


def test_a_model_is_known_by_any_number_of_the_pump(bench):
    Item.objects.filter(part_number="P-1").update(maker_number="TW 64", folded_maker_number="tw 64")
    bench.comes(replace(GOOD, model="tw 64"))
    assert bench.points() == []


def test_what_is_open_keeps_the_pump_shut_by_word_and_by_verdict(bench):
    bench.comes(replace(GOOD, agreed_with=""))
    with pytest.raises(ServiceRefusal, match="J-1 may not be opened yet: the scope full is agreed with nobody"):
        bench.opens()
    looks = [Look("pump 1 / E-1 1 / CK-1 1 / ball", "BA-1", PositionLook(), PositionLook("keep"))]
    gate = opening_gate(bench.job, bench.lead)
    with pytest.raises(ServiceRefusal, match="may not be opened yet"):
        write_strip_report(job=bench.job, looks=looks, gate=gate, by=bench.lead, at=timezone.now(), key="look")
    assert bench.job.stage == "here"
    assert not bench.job.verdicts.exists()


def test_what_the_lead_signs_for_lets_the_pump_be_opened_and_stands_in_its_step(bench):
    bench.comes(replace(GOOD, agreed_with=""))
    bench.sign("scope", bench.says("scope"))
    assert bench.points() == []
    step = bench.opens()
    assert (step.says, step.open_then) == ("the dock master vouches for it", "the scope full is agreed with nobody")
    assert JobStep.objects.get(after="stripped") == step


def test_a_signature_counts_only_for_what_was_open_then(bench):
    bench.comes(replace(GOOD, serial="S-78"))
    bench.sign("serial", "the plate says serial S-78, the job S-77")
    assert bench.points() == []
    bench.comes(replace(GOOD, serial="S-79"))
    assert bench.points() == ["serial"]
    with pytest.raises(ServiceRefusal, match="is not open any more, or reads otherwise by now"):
        bench.sign("serial", "the plate says serial S-78, the job S-77")


def test_a_point_whose_signature_lapsed_is_signed_for_anew(bench):
    bench.comes(replace(GOOD, serial="S-78"))
    bench.sign("serial", bench.says("serial"))
    bench.comes(replace(GOOD, serial="S-79"))
    bench.sign("serial", bench.says("serial"))
    assert bench.points() == []
    lapsed, standing = Waiver.objects.order_by("pk")
    assert (lapsed.back_because, standing.back_because) == ("signed for anew: it reads otherwise by now", "")


def test_a_signature_taken_back_shuts_the_pump_again(bench):
    bench.comes(replace(GOOD, serial=""))
    waiver = bench.sign("serial", bench.says("serial"))
    take_signature_back(waiver=waiver, why="it is another pump", by=bench.lead, at=timezone.now())
    assert bench.points() == ["serial"]
    waiver.refresh_from_db()
    assert (waiver.back_by, waiver.back_because) == (bench.lead, "it is another pump")


@pytest.mark.parametrize(
    ("came", "job", "point"),
    [({"fluid": ""}, {}, "fluid"), ({}, {"cleanliness": "oxygen_clean"}, "clean")],
)
def test_an_unknown_fluid_and_clean_work_are_let_pass_by_no_reason(bench, came, job, point):
    bench.comes(replace(GOOD, **came), **job)
    with pytest.raises(ServiceRefusal, match="is not open any more"):
        bench.sign(point, bench.says(point))
    assert bench.points() == [point]


def test_a_pump_that_the_lead_cleared_may_be_opened_with_its_fluid_unknown(bench):
    bench.comes(Came(serial="S-77", model="P-1", agreed_with="Ms Oake"))
    assert bench.points() == ["fluid", "flush"]
    bench.sign("cleared", "", why="drained over the rinse tray, smells of oil, rinsed twice")
    assert bench.points() == []
    assert bench.opens().says == "drained over the rinse tray, smells of oil, rinsed twice"


def test_clean_work_is_opened_by_whoever_was_trained(bench):
    bench.comes(GOOD, cleanliness="oxygen_clean")
    bench.lead.groups.add(Group.objects.get(name="Clean work"))
    person = type(bench.lead).objects.get(pk=bench.lead.pk)
    assert bench.points(person) == []


def test_nobody_but_the_lead_signs(bench):
    bench.comes(replace(GOOD, serial=""))
    with pytest.raises(ServiceRefusal, match="Only the service lead signs"):
        bench.sign("serial", bench.says("serial"), by=person_of("Planner"))


def test_a_job_that_was_made_another_rebuild_meanwhile_is_looked_at_again(bench):
    bench.comes(GOOD)
    gate = opening_gate(bench.job, bench.lead)
    Job.objects.filter(job="J-1").update(option="compound=EPDM")
    said = {"job": bench.job, "seen": "here", "stage": "stripped", "gate": gate}
    with pytest.raises(ServiceRefusal, match="was made another rebuild meanwhile"):
        move_stage(by=bench.lead, at=timezone.now(), key="late", **said)


def test_the_serial_of_the_plate_is_written_on_the_job_and_kept_in_its_history(bench):
    bench.comes(replace(GOOD, serial="S-78"))
    was = take_serial(job=bench.job, serial="S-78", by=bench.lead, at=timezone.now(), key="serial")
    assert (was, bench.job.serial, bench.points()) == ("S-77", "S-78", [])
    assert bench.job.history.first().history_change_reason == "read off the plate"
    with pytest.raises(ServiceRefusal, match="does not say “S-1” any more"):
        take_serial(job=bench.job, serial="S-1", by=bench.lead, at=timezone.now(), key="other")


def test_two_who_write_at_once_do_not_write_over_one_another(bench):
    first = bench.comes(GOOD)
    bench.comes(replace(GOOD, missing="a nut"))
    said = {"job": bench.job, "scope": "full", "seen_at": first.at, "by": bench.lead, "at": timezone.now()}
    with pytest.raises(ServiceRefusal, match="Somebody else wrote of J-1 meanwhile: nothing was stored"):
        write_arrival(came=replace(GOOD, missing="a bolt"), key="second", **said)
    assert Arrival.objects.get().missing == "a nut"
    assert [version.missing for version in Arrival.objects.get().history.all()] == ["a nut", ""]


def test_a_changed_row_of_the_table_reaches_the_gate(bench):
    bench.comes(replace(GOOD, fluid="brine"))
    row = {"fluid": "Brine", "compound": "nbr", "says": "forbidden", "source": "a letter of the seal maker", "note": ""}
    say_of_compound(**row, why="asked", by=bench.lead, at=timezone.now(), key="row")
    assert bench.points() == ["compound nbr"]
    assert bench.says("compound nbr") == (
        "NBR is not to be fitted for brine (a letter of the seal maker), and the job takes CO-1 and OR-014"
    )

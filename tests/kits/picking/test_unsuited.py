"""A job whose seals the fluid of its pump forbids is not picked until the service lead has signed for it."""

from dataclasses import replace

import pytest
from django.utils import timezone

from bom.values import ONE
from kits.picking.actions import confirm_line, start_round
from kits.picking.closing.open_points import may_be_built
from kits.picking.errors import PickRefusal
from kits.picking.models import PickRound
from kits.picking.rounds.sheet import round_sheet
from kits.planning.queries import plan_now
from tests.kits.service.test_gate import GOOD, Bench

pytestmark = pytest.mark.django_db(transaction=True)
ESTER = replace(GOOD, fluid="phosphate ester")


@pytest.fixture
def bench(db):
    return Bench()


def start(bench, key="round"):
    return start_round(jobs=[bench.job], by=bench.lead, at=timezone.now(), key=key)


def book(bench, line, quantity):
    said = {"quantities": {bench.job.pk: quantity}, "reason": "the rest stays"}
    return confirm_line(line=line, by=bench.lead, at=timezone.now(), request_key=bench.key(), **said)


def ring_line(found):
    return found.lines.select_related("lot__item").get(lot__item__part_number="OR-014")


def test_no_round_starts_for_a_job_whose_seals_the_fluid_forbids(bench):
    bench.comes(ESTER)
    with pytest.raises(PickRefusal, match="J-1: NBR is not to be fitted for phosphate ester"):
        start(bench)
    assert not PickRound.objects.exists()


def test_once_the_lead_has_signed_the_round_starts_and_says_so_where_the_hand_is(bench):
    bench.comes(ESTER)
    bench.sign("compound nbr", bench.says("compound nbr"), why="the ester was a slip, it is HLP 46")
    found = start(bench)
    said = round_sheet(found.pk, ring_line(found).pk).current.unsuited
    assert len(said) == 1
    assert said[0].endswith("signed for it: the ester was a slip, it is HLP 46.")
    assert book(bench, ring_line(found), ONE).pk


def test_a_fluid_that_is_written_while_the_round_is_walked_stops_the_line(bench):
    found = start(bench)
    bench.comes(ESTER)
    with pytest.raises(PickRefusal, match="not to be picked until the service lead has signed for it"):
        book(bench, ring_line(found), ONE)
    assert book(bench, ring_line(found), 0).pk
    assert "not to be picked" in round_sheet(found.pk, ring_line(found).pk).current.unsuited[0]


def test_seals_that_came_by_a_list_keep_the_pump_from_being_built(bench):
    bench.comes(ESTER)
    points = [one.says for one in may_be_built(plan_now(), bench.job) if one.where == "arrival"]
    assert len(points) == 1
    assert points[0].startswith("NBR is not to be fitted for phosphate ester")
    bench.sign("compound nbr", bench.says("compound nbr"), why="the ester was a slip, it is HLP 46")
    assert not [one for one in may_be_built(plan_now(), bench.job) if one.where == "arrival"]


def test_a_pump_without_an_arrival_is_picked_as_before(bench):
    assert start(bench).lines.exists()

"""A lot that came under suspicion when it lay in a bag: no pump goes on with it unless the lead decides so."""

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.people.models import User
from kits.picking.actions import confirm_line
from kits.picking.closing.actions import close_job, record_shipment, record_test, take_step_back
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.rounds.sheet import round_sheet
from kits.picking.words import LeftGoes
from kits.stock.actions import take_from_bench
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf, WithJob
from kits.stock.models import KitPiece, Lot, Suspicion
from kits.stock.queries import ledger_differences
from kits.stock.suspects.actions import concede, freeze_lot, lift_suspicion, take_concession_back
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db

REFUSED = (
    r"J-1 cannot be {}: lot H-1 of NUT is under suspicion \(soft thread\), and the service lead has not decided "
    "whether it may go into this pump"
)


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def job(shop):
    """A job that has all it needs in its bag."""
    job = shop.job("J-1", serial="H4-0117", stage="building")
    shop.looked_at(job)
    shop.pick(job)
    return job


@pytest.fixture
def lead(shop):
    return User.objects.create_user("lead", first_name="Lena")


def freeze(shop, code="H-1", key="freeze"):
    return freeze_lot(lot=Lot.objects.get(lot=code), reason="soft thread", by=shop.clerk, at=AT, key=key)


def decide(suspicion, job, lead, key="concede", reason="all four tried on a gauge"):
    return concede(suspicion=suspicion, job=job, reason=reason, by=lead, at=AT, key=key)


def close(shop, job, *decisions, key="close", why=""):
    return close_job(job=job, decisions=decisions, by=shop.clerk, at=AT, key=key, why=why)


def test_a_pump_is_not_closed_with_a_suspect_lot_whatever_the_reason(shop, job):
    freeze(shop)
    with pytest.raises(StockRefusal, match=REFUSED.format("closed")):
        close(shop, job, why="the planner says so")
    job.refresh_from_db()
    assert (job.stage, held("NUT", job=job)) == ("building", 4)


def test_a_pump_is_closed_with_a_suspect_lot_once_the_lead_has_decided(shop, job, lead):
    concession = decide(freeze(shop), job, lead)
    assert (concession.reason, concession.by, concession.at) == ("all four tried on a gauge", lead, AT)
    assert close(shop, job).after == "built"


def test_a_decision_is_for_one_job_alone(shop, job, lead):
    other = shop.job("J-2", "one")
    decide(freeze(shop), other, lead)
    with pytest.raises(StockRefusal, match=REFUSED.format("closed")):
        close(shop, job)


def test_a_decision_that_is_taken_back_holds_no_more(shop, job, lead):
    concession = decide(freeze(shop), job, lead)
    said = {"concession": concession, "by": lead, "at": AT}
    with pytest.raises(StockRefusal, match="stands until somebody writes why not"):
        take_concession_back(reason=" ", key="back", **said)
    take_concession_back(reason="wrong gauge", key="back", **said)
    with pytest.raises(StockRefusal, match="was taken back already"):
        take_concession_back(reason="wrong gauge", key="again", **said)
    with pytest.raises(StockRefusal, match=REFUSED.format("closed")):
        close(shop, job)
    decide(concession.suspicion, job, lead, key="anew")
    close(shop, job)


def test_a_decision_is_made_once_and_with_a_reason(shop, job, lead):
    suspicion = freeze(shop)
    with pytest.raises(StockRefusal, match="does not go into J-1 without a reason"):
        decide(suspicion, job, lead, reason=" ")
    assert decide(suspicion, job, lead) == decide(suspicion, job, lead)
    with pytest.raises(StockRefusal, match="lead decided that already"):
        decide(suspicion, job, lead, key="again")
    lift_suspicion(suspicion=suspicion, reason="good", by=lead, at=AT, key="lift")
    with pytest.raises(StockRefusal, match="under suspicion no longer"):
        decide(suspicion, shop.job("J-2"), lead, key="late")


def test_a_lifted_suspicion_holds_no_pump(shop, job, lead):
    lift_suspicion(suspicion=freeze(shop), reason="good", by=lead, at=AT, key="lift")
    close(shop, job)


def test_a_suspect_lot_that_is_left_over_goes_into_quarantine_and_holds_no_pump(shop, job):
    freeze(shop)
    nuts = LeftOver(Lot.objects.get(lot="H-1").pk, 4 * ONE, LeftGoes.BACK)
    close(shop, job, nuts, why="nuts of the customer are used")
    assert held("NUT", place__place="H1", condition="quarantine", packet="resealed") == 4
    assert held("NUT", condition="usable") == 0
    assert ledger_differences() == []


def test_a_suspect_lot_inside_a_kit_in_the_bag_holds_the_pump(shop, job):
    with transaction.atomic():
        mark_shop()
        ring = Lot.objects.get(lot="N-90")
        KitPiece.objects.create(
            kit_lot=Lot.objects.get(lot="K-1"), item=shop.items["OR-210-N90"], piece_lot=ring, quantity=ONE
        )
    freeze(shop, "N-90")
    with pytest.raises(StockRefusal, match="lot K-1 of K-END, which holds lot N-90, is under suspicion"):
        close(shop, job)


@pytest.mark.parametrize("before", ["built", "tested"])
def test_a_closed_pump_goes_no_further_with_a_lot_that_came_under_suspicion_since(shop, job, lead, before):
    close(shop, job)
    if before == "tested":
        record_test(job=job, says="10 minutes", by=lead, at=AT, key="test")
    suspicion = freeze(shop)

    def go_on():
        if before == "built":
            return record_test(job=job, says="10 minutes", by=lead, at=AT, key="go on")
        return record_shipment(job=job, says="", by=lead, at=AT, key="go on")

    with pytest.raises(StockRefusal, match=REFUSED.format("tested" if before == "built" else "shipped")):
        go_on()
    decide(suspicion, job, lead)
    assert go_on().before == before


def test_a_job_that_is_opened_again_takes_back_no_piece_that_was_frozen_since(shop, job, lead):
    close(shop, job, LeftOver(Lot.objects.get(lot="H-1").pk, ONE, LeftGoes.BACK), why="one is from the old stock")
    freeze(shop)
    job.refresh_from_db()
    with pytest.raises(PickRefusal, match="came back from it, and 0 of that lot are free there now"):
        take_step_back(job=job, seen="built", why="it leaks", by=lead, at=AT, key="back")


def test_suspect_pieces_come_back_from_the_bench_into_quarantine_only(shop, job):
    freeze(shop)
    lot = Lot.objects.get(lot="H-1")
    said = {"source": WithJob(lot.pk, job.pk, "bagged"), "quantity": ONE, "by": shop.clerk, "at": AT}
    target = OnShelf(lot.pk, shop.places["H1"].pk, packet="resealed")
    with pytest.raises(StockRefusal, match="H-1 is under suspicion: put it into quarantine, or scrap it"):
        take_from_bench(target=target, reason="", key="back", **said)
    cage = OnShelf(lot.pk, shop.places["Q1"].pk, "quarantine", "resealed")
    take_from_bench(target=cage, reason="suspect", key="back", **said)
    assert held("NUT", job=job) == 3


def test_a_round_marks_a_lot_that_came_under_suspicion_and_gives_none_of_it(shop, lead):
    job = shop.job("J-1", stage="building")
    made = shop.start(job)
    nuts, rings = line_of(made, "NUT"), line_of(made, "OR-210-N70")
    confirm_line(line=rings, quantities=full(rings), by=shop.clerk, at=AT, request_key="rings")
    freeze(shop)
    freeze(shop, "N-70", key="freeze too")
    says = {line.part_number: line.suspect for line in round_sheet(made.pk).lines}
    assert says == {
        "K-END": "",
        "OR-210-N70": "Under suspicion: what went into bags waits there until the service lead has decided.",
        "NUT": "Under suspicion: leave it where it lies and book 0, then the plan takes another lot.",
    }
    with pytest.raises(PickRefusal, match="H-1 is under suspicion: book 0, leave it where it lies"):
        confirm_line(line=nuts, quantities=full(nuts), counted=40 * ONE, by=shop.clerk, at=AT, request_key="nuts")
    confirm_line(line=nuts, quantities={}, by=shop.clerk, at=AT, request_key="none")
    assert held("NUT", job=job) == 0
    assert round_sheet(made.pk).stay == ("J-1",), "its bag does not go to the bench"
    decide(Suspicion.objects.get(lot__lot="N-70"), job, lead)
    assert round_sheet(made.pk).stay == ()

from datetime import date

import pytest

from bom.values import ONE
from kits.stock.actions import move_stock, scrap_stock
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf
from kits.stock.models import Hold, Posting, Suspicion
from kits.stock.suspects.actions import freeze_again, freeze_lot, lift_suspicion
from kits.stock.suspicions import lots_under_suspicion, reached
from tests.kits.stock.kit_shop import AT, KitShop, assert_ledger_holds, held


@pytest.fixture
def bench(db):
    made = KitShop()
    made.pack(3)
    return made


def freeze(bench, part="RING", code="NEW", key="freeze", reason="wrong compound, says the maker"):
    return freeze_lot(lot=bench.lot(part, code), reason=reason, by=bench.clerk, at=AT, key=key)


def lift(bench, suspicion, key="lift", reason="tested, it is good"):
    return lift_suspicion(suspicion=suspicion, reason=reason, by=bench.clerk, at=AT, key=key)


def usable(lot):
    return held(lot, condition="usable")


def test_lot_and_every_kit_that_holds_it_are_frozen_where_they_lie(bench):
    suspicion = freeze(bench)
    pure_old, mixed, pure_new = bench.kit_lots()
    assert [usable(lot) for lot in (bench.lot("RING", "NEW"), mixed, pure_new)] == [0, 0, 0]
    assert [usable(lot) for lot in (bench.lot("RING", "OLD"), pure_old)] == [0, 1]
    assert held(bench.lot("RING", "NEW"), condition="quarantine", place__place="A1") == 17
    assert lots_under_suspicion() == {bench.lot("RING", "NEW").pk, mixed.pk, pure_new.pk}
    (posting,) = suspicion.freezes.all()
    assert (posting.kind, posting.by) == ("freeze", bench.clerk)
    assert posting.reason == "lot NEW of RING suspected: wrong compound, says the maker"
    assert {hold.lot for hold in Hold.objects.filter(decides="lead", reason=posting.reason)} == {
        bench.lot("RING", "NEW"),
        mixed,
        pure_new,
    }
    assert_ledger_holds()


def test_nothing_of_a_frozen_lot_is_packed_and_no_frozen_kit_is_robbed(bench):
    freeze(bench)
    with pytest.raises(StockRefusal, match="0 of RING lie free"):
        bench.pack(1, key="again")
    frozen = list(bench.kit_lots())[2]
    move_back(bench, frozen, "K1")
    with pytest.raises(StockRefusal, match="is under suspicion"):
        bench.rob(frozen, "SEAT", "S-1")


def move_back(bench, lot, place):
    """Somebody moves a frozen piece back among the usable ones."""
    at = bench.places[place].pk
    move_stock(
        source=OnShelf(lot.pk, at, "quarantine"),
        target=OnShelf(lot.pk, at),
        quantity=ONE,
        reason="looks fine to me",
        by=bench.clerk,
        at=AT,
        key=f"back {lot.pk}",
    )


def test_what_came_back_among_the_usable_is_frozen_again(bench):
    suspicion = freeze(bench)
    frozen = list(bench.kit_lots())[2]
    assert freeze_again(suspicion=suspicion, by=bench.clerk, at=AT, key="nothing") is None
    move_back(bench, frozen, "K1")
    posting = freeze_again(suspicion=suspicion, by=bench.clerk, at=AT, key="again")
    assert usable(frozen) == 0
    assert posting in suspicion.freezes.all()
    assert freeze_again(suspicion=suspicion, by=bench.clerk, at=AT, key="again") == posting


def test_lifting_makes_usable_what_was_frozen_and_nothing_else(bench):
    ring = bench.lot("RING", "NEW")
    bench.stock("RING", "NEW", "A1", 4, condition="quarantine")
    suspicion = freeze(bench)
    lifted = lift(bench, suspicion)
    assert held(ring, condition="quarantine") == 4
    assert (usable(ring), [usable(lot) for lot in bench.kit_lots()]) == (17, [1, 1, 1])
    assert (lifted.lift_reason, lifted.lifted_by) == ("tested, it is good", bench.clerk)
    assert lots_under_suspicion() == frozenset()
    assert Posting.objects.get(kind="lift").reason == "tested, it is good"
    assert_ledger_holds()


def test_what_was_scrapped_meanwhile_does_not_come_back(bench):
    suspicion, ring = freeze(bench), bench.lot("RING", "NEW")
    account = OnShelf(ring.pk, bench.places["A1"].pk, "quarantine", "resealed")
    scrap_stock(source=account, quantity=16 * ONE, reason="cut up", by=bench.clerk, at=AT, key="scrap")
    lift(bench, suspicion)
    assert (usable(ring), held(ring)) == (1, 1)


def test_kit_that_holds_two_suspect_lots_stays_frozen_until_both_are_lifted(bench):
    first, second = freeze(bench), freeze(bench, code="OLD", key="old")
    mixed = list(bench.kit_lots())[1]
    lift(bench, first)
    assert usable(bench.lot("RING", "NEW")) == 17
    assert usable(mixed) == 0
    lift(bench, second, key="lift old")
    assert usable(mixed) == 1


def test_lot_is_frozen_and_lifted_more_than_once(bench):
    ring = bench.lot("RING", "NEW")
    for number in range(3):
        suspicion = freeze(bench, key=f"freeze {number}")
        assert usable(ring) == 0
        lift(bench, suspicion, key=f"lift {number}")
        assert usable(ring) == 17


def test_a_second_suspicion_a_missing_reason_and_a_second_lifting_are_refused(bench):
    with pytest.raises(StockRefusal, match="without a reason"):
        freeze(bench, reason="  ")
    suspicion = freeze(bench)
    with pytest.raises(StockRefusal, match="is under suspicion already, since 4 Mar 2026 by"):
        freeze(bench, key="twice")
    with pytest.raises(StockRefusal, match="write what was found"):
        lift(bench, suspicion, reason="")
    lift(bench, suspicion)
    with pytest.raises(StockRefusal, match="under suspicion no longer"):
        lift(bench, suspicion, key="twice")
    with pytest.raises(StockRefusal, match="under suspicion no longer"):
        freeze_again(suspicion=suspicion, by=bench.clerk, at=AT, key="late")


def test_double_tap_freezes_and_lifts_once(bench):
    suspicion = freeze(bench)
    assert freeze(bench) == suspicion
    assert lift(bench, suspicion) == lift(bench, suspicion)
    assert (Suspicion.objects.count(), Posting.objects.filter(kind__in=("freeze", "lift")).count()) == (1, 2)


def test_lot_of_which_nothing_is_left_can_be_suspected(bench):
    gone = bench.stock("RING", "GONE", "A1", 0, printed_last_use_on=date(2027, 1, 1))
    suspicion = freeze_lot(lot=gone, reason="recalled", by=bench.clerk, at=AT, key="gone")
    assert not suspicion.freezes.exists()
    assert lift(bench, suspicion).lifted_at == AT


def test_kits_inside_kits_are_reached():
    assert reached({1}, [(2, 1), (3, 2), (5, 4), (6, None)]) == {1, 2, 3}

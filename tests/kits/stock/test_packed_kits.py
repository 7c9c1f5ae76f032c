from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bom.values import ONE
from kits.catalog.models import KitFit
from kits.stock.errors import StockRefusal
from kits.stock.models import KitPiece, Lot, Posting, Reservation
from kits.stock.packed_kits.contents import contents_of
from kits.stock.queries import ledger_differences
from tests.kits.stock.kit_shop import (
    BUILD,
    TODAY,
    KitShop,
    assert_ledger_holds,
    held,
    of_lot,
    recorded,
)


@pytest.fixture
def bench(db):
    return KitShop()


def test_kits_are_packed_from_the_lot_that_dies_first(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    assert recorded(lot) == {("RING", "OLD"): (2, 0), ("SEAT", "S-1"): (1, 0), ("CORD", "C-1"): (310, 0)}
    assert held(bench.lot("RING", "OLD")) == 1
    assert held(bench.lot("CORD", "C-1")) == 1690


def test_kit_lives_as_long_as_the_piece_that_dies_first(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    contents = contents_of([lot], TODAY)[lot.pk]
    assert lot.last_use_on == contents.last_use_on(lot) == date(2026, 3, 31)
    assert [(one.item.part_number, one.piece_lot.lot) for one in contents.setters(lot.last_use_on)] == [("RING", "OLD")]


def test_kit_dies_sooner_once_the_shelf_life_of_a_piece_is_shortened(bench):
    ring = bench.stock("RING", "CURED", "A1", 40, cure="1Q20", cure_on=date(2020, 4, 1), received_on=TODAY)
    bench.pack(1, lives_to=date(2031, 1, 1))
    (lot,) = bench.kit_lots()
    assert lot.last_use_on == ring.last_use_on == date(2035, 3, 31)
    bench.items["RING"].shelf_life_months = 120
    bench.items["RING"].save()
    assert contents_of([lot], TODAY)[lot.pk].last_use_on(lot) < date(2031, 1, 1)


def test_kits_that_hold_other_lots_are_lots_of_their_own(bench):
    bench.pack(3)
    assert [(recorded(lot), count) for lot, count in bench.kit_lots().items()] == [
        ({("RING", "OLD"): (2, 0), ("SEAT", "S-1"): (1, 0), ("CORD", "C-1"): (310, 0)}, 1),
        ({("RING", "OLD"): (1, 0), ("RING", "NEW"): (1, 0), ("SEAT", "S-1"): (1, 0), ("CORD", "C-1"): (310, 0)}, 1),
        ({("RING", "NEW"): (2, 0), ("SEAT", "S-1"): (1, 0), ("CORD", "C-1"): (310, 0)}, 1),
    ]
    assert [lot.last_use_on for lot in bench.kit_lots()] == [date(2026, 3, 31), date(2026, 3, 31), date(2030, 3, 31)]


def test_lot_that_dies_before_the_build_day_is_left_on_the_shelf(bench):
    bench.pack(1, lives_to=date(2026, 4, 1))
    assert held(bench.lot("RING", "OLD")) == 3
    assert [lot.last_use_on for lot in bench.kit_lots()] == [date(2030, 3, 31)]


def test_more_than_the_shelf_gives_is_refused_and_the_part_that_limits_it_named(bench):
    with pytest.raises(StockRefusal, match=r"6 × KIT cannot be put together, 5 can: 5 of SEAT lie free .* takes 1"):
        bench.pack(6)
    assert bench.kit_lots() == {}
    assert held(bench.lot("RING", "NEW")) == 20


def test_piece_that_is_set_aside_for_a_job_is_not_packed(bench):
    Reservation.objects.create(job=bench.job, lot=bench.lot("SEAT", "S-1"), quantity=4 * ONE)
    with pytest.raises(StockRefusal, match="1 can"):
        bench.pack(2)


@pytest.mark.parametrize("facts", [{"condition": "quarantine"}, {"packet": "loose"}, {"place": "Q1"}])
def test_piece_that_may_not_be_used_is_not_packed(bench, facts):
    bench.stock("RING", "BAD", **{"place": "A1", "quantity": 50, **facts}, printed_last_use_on=date(2026, 3, 25))
    bench.pack(1)
    assert held(bench.lot("RING", "BAD")) == 50


def test_ring_without_a_date_is_not_packed(bench):
    bench.stock("RING", "WHO-KNOWS", "A1", 50)
    with pytest.raises(StockRefusal, match="RING lie free"):
        bench.pack(5, lives_to=date(2030, 4, 1))


def test_lot_of_a_customer_goes_into_kits_for_his_jobs_only(bench):
    bench.stock("RING", "THEIRS", "A1", 2, printed_last_use_on=date(2026, 3, 25), owner="Hollin Quarry")
    bench.pack(1)
    assert held(bench.lot("RING", "THEIRS")) == 2
    bench.job.customer = "hollin  QUARRY"
    bench.job.save()
    bench.pack(1, key="theirs", job=bench.job)
    assert held(bench.lot("RING", "THEIRS")) == 0
    assert [lot.owner for lot in bench.kit_lots()] == ["", "Hollin Quarry"]


def test_packet_that_was_opened_is_closed_again_as_an_opened_one(bench):
    bench.pack(1)
    assert held(bench.lot("RING", "OLD"), packet="resealed") == 1
    assert held(bench.lot("RING", "OLD"), packet="sealed") == 0
    assert held(bench.lot("SEAT", "S-1"), packet="sealed") == 4


def test_clean_kit_takes_from_sealed_packets_only(bench):
    bench.items["KIT"].cleanliness = "oxygen_clean"
    bench.items["KIT"].save()
    bench.stock("RING", "OPENED", "A1", 9, packet="resealed", printed_last_use_on=date(2026, 3, 25))
    bench.pack(1)
    assert held(bench.lot("RING", "OPENED")) == 9


def test_list_counts_on_the_build_day(bench):
    bench.line("KIT", "SEAT", 2, position="from April", from_on=date(2026, 4, 1))
    bench.pack(1)
    bench.pack(1, key="april", lives_to=date(2026, 4, 2))
    assert [recorded(lot)["SEAT", "S-1"][0] for lot in bench.kit_lots()] == [1, 3]


def test_option_of_a_line_is_answered_by_the_use_of_the_kit_or_asked(bench):
    bench.item("BACKUP")
    bench.stock("BACKUP", "B-1", "A1", 9)
    bench.line("KIT", "BACKUP", 1, option="compound=FKM")
    with pytest.raises(StockRefusal, match="say which compound is packed"):
        bench.pack(1)
    bench.pack(1, options=(("compound", "nbr"),))
    assert ("BACKUP", "B-1") not in recorded(*bench.kit_lots())
    KitFit.objects.create(kit=bench.items["KIT"], fits=bench.items["PUMP"], option="compound=FKM")
    bench.pack(1, key="fits")
    assert recorded(list(bench.kit_lots())[-1])["BACKUP", "B-1"] == (1, 0)


def test_kit_that_is_bought_and_a_day_that_has_passed_are_refused(bench):
    with pytest.raises(StockRefusal, match="has passed"):
        bench.pack(1, lives_to=date(2026, 3, 3))
    with pytest.raises(StockRefusal, match="give 1 or more"):
        bench.pack(0)
    bench.items["KIT"].source = "buy"
    with pytest.raises(StockRefusal, match="is not packed here"):
        bench.pack(1)


def test_double_tap_packs_once(bench):
    assert bench.pack(1) == bench.pack(1)
    assert list(bench.kit_lots().values()) == [1]
    assert Posting.objects.filter(kind="pack").count() == 1


def test_opened_kit_gives_its_pieces_back_to_their_lots(bench):
    bench.pack(3)
    for lot, count in bench.kit_lots().items():
        bench.open(lot, count, key=f"open {lot.lot}")
    assert bench.kit_lots() == {}
    lots = [bench.lot("RING", "OLD"), bench.lot("RING", "NEW"), bench.lot("SEAT", "S-1"), bench.lot("CORD", "C-1")]
    assert [held(lot) for lot in lots] == [3, 20, 5, 2000]
    # What comes out of a kit lies in no maker's packet any more; a seat does not mind.
    assert held(bench.lot("RING", "OLD"), packet="resealed", place__place="A1") == 3
    assert held(bench.lot("SEAT", "S-1"), packet="sealed", place__place="C1") == 5


def test_kit_from_elsewhere_is_opened_by_its_list_and_its_pieces_live_as_long_as_it_did(bench):
    bought = bench.stock("KIT", "B-77", "K1", 2, printed_last_use_on=date(2027, 6, 30), certificate="C-5")
    bench.open(bought)
    ring, seat = bench.loose("RING", bought), bench.loose("SEAT", bought)
    assert (held(ring), held(seat), held(bought)) == (2, 1, 1)
    assert (ring.last_use_on, ring.certificate, seat.last_use_on) == (date(2027, 6, 30), "C-5", None)


def test_piece_of_a_kit_in_quarantine_stays_in_quarantine(bench):
    bad = bench.stock("KIT", "BAD", "K1", 1, condition="quarantine", printed_last_use_on=date(2027, 6, 30))
    bench.open(bad, condition="quarantine")
    assert held(bench.loose("RING", bad), condition="quarantine") == 2


def test_kit_out_of_which_everything_was_taken_is_opened_and_gone(bench):
    bench.item("ONE", "kit", source="pack")
    bench.line("ONE", "SEAT", 1)
    bench.pack(1, kit="ONE")
    (packed,) = bench.kit_lots("ONE")
    bench.rob(packed, "SEAT", "S-1")
    (empty,) = bench.kit_lots("ONE")
    bench.open(empty)
    assert bench.kit_lots("ONE") == {}
    assert held(bench.lot("SEAT", "S-1")) == 5
    assert ledger_differences() == []


def test_kit_of_which_no_list_was_ever_written_is_not_opened(bench):
    bench.item("BARE", "kit", source="buy")
    with pytest.raises(StockRefusal, match="Nothing is known of what"):
        bench.open(bench.stock("BARE", "B-1", "K1", 1))


def test_kit_that_is_set_aside_is_neither_opened_nor_robbed(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    Reservation.objects.create(job=bench.job, lot=lot, quantity=ONE)
    for work in (lambda: bench.open(lot), lambda: bench.rob(lot, "SEAT", "S-1")):
        with pytest.raises(StockRefusal, match="set aside for nobody"):
            work()


def test_robbed_kit_is_owed_the_piece_and_is_a_lot_of_its_own(bench):
    bought = bench.stock("KIT", "B-77", "K1", 3, printed_last_use_on=date(2027, 6, 30))
    posting = bench.rob(bought, "SEAT", "")
    (robbed,) = [lot for lot in bench.kit_lots() if lot != bought]
    assert (held(bought), held(robbed), robbed.lot, robbed.last_use_on) == (2, 1, "B-77/2", date(2027, 6, 30))
    assert recorded(robbed) == {("RING", ""): (2, 0), ("SEAT", ""): (0, 1), ("CORD", ""): (310, 0)}
    assert held(bench.loose("SEAT", bought), place__place="C1") == 1
    assert (posting.kind, posting.reason, posting.by) == ("rob", "wanted by J-1 today", bench.clerk)


def test_robbed_piece_goes_straight_to_the_job_that_wants_it(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    posting = bench.rob(lot, "RING", "OLD", job=bench.job)
    assert held(bench.lot("RING", "OLD"), job=bench.job, state="issued") == 1
    assert posting.job == bench.job
    (robbed,) = bench.kit_lots()
    assert recorded(robbed)["RING", "OLD"] == (1, 1)


def test_kit_that_lost_the_piece_that_dies_first_lives_longer(bench):
    bench.pack(2)
    mixed = list(bench.kit_lots())[1]
    bench.rob(mixed, "RING", "OLD")
    assert [lot.last_use_on for lot in bench.kit_lots()] == [date(2026, 3, 31), date(2030, 3, 31)]


def test_robbing_needs_a_reason_a_piece_that_is_there_and_a_job_that_it_lives_to_see(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    with pytest.raises(StockRefusal, match="write a reason"):
        bench.rob(lot, "SEAT", "S-1", reason=" ")
    with pytest.raises(StockRefusal, match="one kit holds 1"):
        bench.rob(lot, "SEAT", "S-1", quantity=2)
    with pytest.raises(StockRefusal, match="holds no RING, lot NEW"):
        bench.rob(lot, "RING", "NEW")
    bench.job.build_on = date(2026, 4, 1)
    with pytest.raises(StockRefusal, match=r"used up to 31 Mar 2026, but J-1 is built on 1 Apr 2026"):
        bench.rob(lot, "RING", "OLD", job=bench.job)
    assert bench.kit_lots() == {lot: 1}


def test_kit_is_filled_up_from_what_lives_longest_enough(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    bench.rob(lot, "RING", "OLD", quantity=2, job=bench.job)
    (robbed,) = bench.kit_lots()
    bench.fill_up(robbed, lives_to=date(2026, 4, 1))
    (full,) = bench.kit_lots()
    assert recorded(full) == {("RING", "NEW"): (2, 0), ("SEAT", "S-1"): (1, 0), ("CORD", "C-1"): (310, 0)}
    assert (full.lot, full.last_use_on) == (f"{lot.lot}/2", date(2030, 3, 31))
    with pytest.raises(StockRefusal, match="Nothing is owed"):
        bench.fill_up(full, key="again")


def test_kit_is_not_filled_up_from_nothing(bench):
    bench.pack(5)
    first = next(iter(bench.kit_lots()))
    bench.rob(first, "SEAT", "S-1", job=bench.job)
    robbed = list(bench.kit_lots())[-1]
    with pytest.raises(StockRefusal, match=r"0 of SEAT lie free"):
        bench.fill_up(robbed)
    assert recorded(robbed)["SEAT", "S-1"] == (0, 1)


def test_double_tap_robs_and_fills_up_once(bench):
    bench.pack(1)
    (lot,) = bench.kit_lots()
    assert bench.rob(lot, "SEAT", "S-1") == bench.rob(lot, "SEAT", "S-1")
    (robbed,) = bench.kit_lots()
    assert bench.fill_up(robbed) == bench.fill_up(robbed)
    assert bench.open(*bench.kit_lots()) == bench.open(robbed)


class TestPiecesAreKept(TestCase):
    """Whatever is packed, opened, robbed and filled up: no piece of a lot appears or is lost."""

    @settings(max_examples=25, suppress_health_check=list(HealthCheck))
    @given(st.lists(st.tuples(st.sampled_from("pack open rob fill".split()), st.integers(0, 9)), max_size=12))
    def test_no_piece_appears_or_is_lost(self, steps):
        bench = KitShop()
        before = {lot: held(lot) for lot in Lot.objects.exclude(item=bench.items["KIT"])}
        for number, (what, choice) in enumerate(steps):
            lots = list(bench.kit_lots())
            lot = lots[choice % len(lots)] if lots else None
            try:
                if what == "pack":
                    bench.pack(1 + choice % 3, lives_to=(BUILD, date(2026, 4, 1))[choice % 2], key=f"{number}")
                elif lot is None:
                    continue
                elif what == "open":
                    bench.open(lot, key=f"{number}")
                elif what == "rob":
                    piece = list(KitPiece.objects.filter(kit_lot=lot).select_related("item", "piece_lot"))[choice % 3]
                    bench.rob(lot, piece.item.part_number, piece.piece_lot.lot, key=f"{number}")
                else:
                    bench.fill_up(lot, key=f"{number}")
            except StockRefusal:
                continue
        assert {lot: of_lot(lot) for lot in before} == before
        assert_ledger_holds()

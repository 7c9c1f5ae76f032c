"""What is found damaged on a line leaves the bin with the line, and comes back with its undo."""

import pytest

from bom.values import ONE
from kits.picking.actions import confirm_line, undo_line
from kits.picking.errors import PickRefusal
from kits.picking.models import Confirmation
from kits.picking.rounds.line_check import Damage
from kits.picking.words import LeftGoes
from kits.stock.actions import scrap_stock
from kits.stock.ledger import account_of
from kits.stock.lists.quarantine import held_rows
from kits.stock.models import Balance, Hold, Place, Posting
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AS_OF, AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def line(shop):
    return line_of(shop.start(shop.job("J-1")), "NUT")


@pytest.fixture
def book(shop):
    def book(line, quantity, bad, goes=LeftGoes.QUARANTINE, wrong="threads torn", key="tap", **said):
        job = line.shares.get().bag.job
        return confirm_line(
            line=line,
            quantities={job.pk: quantity * ONE},
            damage=Damage(int(bad * ONE), goes, wrong),
            by=shop.clerk,
            at=AT,
            request_key=key,
            **said,
        )

    return book


def undo(shop, line):
    return undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")


def refused(book, *args, **said):
    with pytest.raises(PickRefusal) as refusal:
        book(*args, **said)
    return str(refusal.value)


def test_damaged_pieces_go_into_quarantine_in_one_movement_with_the_reason(shop, line, book):
    said = book(line, 4, 3)
    assert (held("NUT", condition="usable"), held("NUT", condition="quarantine", place__place="Q1")) == (33, 3)
    assert held("NUT", job__isnull=False) == 4
    assert (said.damage.kind, said.damage.by, said.damage.movements.count()) == ("to_quarantine", shop.clerk, 2)
    assert said.damage.reason == f"{line}: 3 damaged, into quarantine: threads torn"
    assert (said.reason, said.count) == ("3 damaged, into quarantine: threads torn", None)
    (row,) = held_rows(today=AS_OF)
    assert (row.part_number, row.reason, row.decides) == ("NUT", said.damage.reason, "Service lead")
    line.refresh_from_db()
    assert line.state == "full", "the job got all that it asked for"
    assert ledger_differences() == []


def test_damaged_pieces_are_scrapped_where_that_is_said(line, book):
    said = book(line, 4, 3, LeftGoes.SCRAP)
    assert (held("NUT", job__isnull=True), held("NUT", condition="quarantine")) == (33, 0)
    assert (said.damage.kind, said.damage.reason) == ("scrap", f"{line}: 3 damaged, scrapped: threads torn")
    assert not Hold.objects.exists()


def test_the_next_round_leads_to_the_good_pieces_and_not_to_the_damaged_ones(shop, line, book):
    spare = shop.stock("NUT", "H-2", "A2", 9)
    book(line, 0, 40, counted=0)
    again = shop.start(line.shares.get().bag.job, key="again")
    assert line_of(again, "NUT").lot == spare
    assert held("NUT", lot__lot="H-1", condition="usable") == 0


def test_a_count_of_the_good_ones_and_the_damaged_ones_make_up_what_lay_there(line, book):
    said = book(line, 4, 3, counted=35 * ONE)
    assert (held("NUT", condition="usable"), held("NUT", condition="quarantine")) == (31, 3)
    assert sum(said.count.movements.values_list("quantity", flat=True)) == -2 * ONE, "35 good ones and 3 are 38, not 40"


def test_a_bin_of_which_the_book_knows_nothing_more_is_counted(line, book):
    assert refused(book, line, 4, 37) == (
        "H1 holds 40 of lot H-1 by the book, 4 taken and 37 damaged cannot come from it: count the bin and write what "
        "it held."
    )
    book(line, 4, 37, counted=4 * ONE)
    assert (held("NUT", condition="usable"), held("NUT", condition="quarantine")) == (0, 37)


def test_a_short_pick_beside_good_pieces_asks_for_a_count_or_a_reason(line, book):
    assert refused(book, line, 3, 1) == (
        "3 of 4 taken and 1 found damaged, but by the book H1 held 40: write how many good ones lay there, or why "
        "not all were taken."
    )
    book(line, 3, 1, reason="not wanted any more")
    assert Confirmation.objects.get().reason == "not wanted any more; 1 damaged, into quarantine: threads torn"


@pytest.mark.parametrize(
    ("bad", "wrong", "says"),
    [
        (0, "torn", "0 damaged of NUT cannot be: write how many are."),
        (-1, "torn", "-1 damaged of NUT cannot be: write how many are."),
        (0.5, "torn", "0.5 damaged of NUT cannot be: write how many are."),
        (2, " ", "Nothing says what is wrong with the 2 damaged of NUT: write it, for whoever decides about it."),
    ],
)
def test_damage_that_cannot_be_is_refused_and_nothing_is_booked(line, book, bad, wrong, says):
    assert refused(book, line, 4, bad, wrong=wrong) == says
    assert (held("NUT", job__isnull=True), Posting.objects.filter(kind="pick").count()) == (40, 0)


@pytest.mark.parametrize("goes", [LeftGoes.QUARANTINE, LeftGoes.SCRAP])
def test_undo_of_the_line_takes_the_damage_back_as_well(shop, line, book, goes):
    book(line, 3, 5, goes, counted=34 * ONE)
    said = undo(shop, line)
    assert (held("NUT", condition="usable"), held("NUT", condition="quarantine")) == (40, 0)
    assert said.damage.reversed_by.kind == "reversal"
    line.refresh_from_db()
    assert line.state == "open"
    assert held_rows(today=AS_OF) == []
    book(line, 4, 1, goes, key="again", wrong="rusty")
    assert ledger_differences() == []


def test_a_line_whose_damaged_pieces_were_decided_on_stays_booked(shop, line, book):
    book(line, 4, 3)
    caged = account_of(Balance.objects.get(lot__item__part_number="NUT", condition="quarantine"))
    scrap_stock(source=caged, quantity=3 * ONE, reason="scrapped by the lead", by=shop.clerk, at=AT, key="lead")
    with pytest.raises(PickRefusal, match="stays booked: what was found damaged on it does not lie in quarantine"):
        undo(shop, line)
    assert held("NUT", job__isnull=False) == 4
    assert not Posting.objects.filter(kind="reversal").exists()


def test_damage_in_a_sealed_packet_opens_it(shop, book):
    line = line_of(shop.start(shop.job("J-1")), "OR-210-N70")
    said = book(line, 0, 1, reason="not wanted any more", wrong="nicked")
    assert (held("OR-210-N70", packet="sealed", condition="usable"), held("OR-210-N70", packet="resealed")) == (0, 39)
    assert said.opened is not None
    undo(shop, line)
    assert held("OR-210-N70", packet="sealed", condition="usable") == 40
    assert ledger_differences() == []


def test_without_a_cage_damaged_pieces_are_held_where_they_lie(shop, line, book):
    Place.objects.filter(place="Q1").update(kind="bin")
    book(line, 4, 3)
    assert held("NUT", condition="quarantine", place__place="H1") == 3


def test_a_line_in_full_says_nothing_of_damage(shop, line):
    said = confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key="tap")
    assert (said.damage, said.reason) == (None, "")

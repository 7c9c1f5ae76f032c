from datetime import date

import pytest

from bom.values import ONE
from kits.people.models import User
from kits.picking.actions import confirm_line, give_up_round, undo_line
from kits.picking.errors import PickRefusal
from kits.picking.models import Confirmation
from kits.schedule.models import Job
from kits.stock.models import Posting, Reservation
from kits.stock.queries import job_stock, ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def pick(shop):
    def pick(line, quantities=None, key="tap", **said):
        return confirm_line(
            line=line,
            quantities=full(line) if quantities is None else quantities,
            by=shop.clerk,
            at=AT,
            request_key=key,
            **said,
        )

    return pick


def pick_all(pick, made):
    for line in made.lines.all():
        pick(line, key=f"{made.pk} {line.number}")


def refused(pick, *args, **said):
    with pytest.raises(PickRefusal) as refusal:
        pick(*args, **said)
    return str(refusal.value)


def test_a_full_line_moves_its_pieces_from_the_bin_into_each_bag(shop, pick):
    jobs = shop.four_jobs()
    line = line_of(shop.start(*jobs), "NUT")
    said = pick(line)
    assert held("NUT", job__isnull=True) == 28
    assert [held("NUT", job=job, state="bagged") for job in jobs] == [4, 4, 2, 2]
    assert said.pick.movements.count() == 5
    assert (said.pick.kind, said.pick.by, said.count, said.opened) == ("pick", shop.clerk, None, None)
    line.refresh_from_db()
    assert line.state == "full"
    assert ledger_differences() == []


def test_after_a_full_pick_the_jobs_ask_for_nothing_more(shop, pick):
    jobs = shop.four_jobs()
    made = shop.start(*jobs)
    pick_all(pick, made)
    assert [shop.asked(job) for job in jobs] == [{}, {}, {}, {}]
    made.refresh_from_db()
    assert made.state == "finished"
    assert not Reservation.objects.exists()


def test_a_kit_that_was_picked_lies_in_the_bag_as_a_kit(shop, pick):
    job = shop.job("J-1")
    pick(line_of(shop.start(job), "K-END"))
    assert [(row.part_number, row.quantity) for row in job_stock() if row.state == "bagged"] == [("K-END", 2 * ONE)]
    assert shop.asked(job) == {"NUT": 4, "OR-210-N70": 2}


def test_after_a_short_pick_the_job_asks_for_the_rest(shop, pick):
    jobs = shop.four_jobs()
    made = shop.start(*jobs)
    line = line_of(made, "NUT")
    pick(line, {jobs[0].pk: 4 * ONE, jobs[1].pk: ONE}, reason="the rest are rusty")
    assert [shop.asked(job).get("NUT", 0) for job in jobs] == [0, 3, 2, 2]
    line.refresh_from_db()
    assert line.state == "short"
    assert not Reservation.objects.filter(lot=line.lot).exists(), "what was not picked is free for the plan again"


def test_the_rest_of_a_short_pick_is_on_the_next_round(shop, pick):
    job = shop.job("J-1")
    made = shop.start(job)
    pick(line_of(made, "NUT"), {job.pk: ONE}, reason="rusty")
    again = shop.start(job, key="again")
    assert [(line.lot.item.part_number, line.shares.get().asked / ONE) for line in again.lines.all()] == [("NUT", 3)]


def test_a_second_tap_books_nothing(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    assert pick(line, key="tap") == pick(line, key="tap")
    assert held("NUT", job__isnull=True) == 36
    assert Posting.objects.filter(kind="pick").count() == Confirmation.objects.count() == 1


def test_a_line_is_booked_once(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    pick(line, key="one")
    number = line.pick_round_id
    assert refused(pick, line, key="two") == (
        f"Line 3 of round {number} was booked already by clerk: undo that first if it is wrong."
    )
    assert held("NUT", job__isnull=True) == 36


def test_a_miscount_is_said_on_the_line(shop, pick):
    job = shop.job("J-1")
    line = line_of(shop.start(job), "NUT")
    said = pick(line, counted=37 * ONE)
    assert held("NUT", job__isnull=True) == 33
    assert held("NUT", job=job) == 4
    assert (said.count.kind, said.count.reason) == (
        "count",
        f"line 3 of round {line.pick_round_id}: H1 held 37, not 40",
    )
    line.refresh_from_db()
    assert line.state == "full"
    assert ledger_differences() == []


def test_a_miscount_with_a_short_pick_and_a_reason(shop, pick):
    job = shop.job("J-1")
    line = line_of(shop.start(job), "NUT")
    said = pick(line, {job.pk: 3 * ONE}, counted=3 * ONE, reason="counted twice")
    assert held("NUT", job__isnull=True) == 0
    assert (said.count.reason, said.reason, said.counted) == ("counted twice", "counted twice", 3 * ONE)
    assert shop.asked(job)["NUT"] == 1


def test_a_bin_that_holds_more_than_the_book_is_counted_up(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    pick(line, counted=50 * ONE)
    assert held("NUT", job__isnull=True) == 46


def test_an_empty_bin_books_nothing_but_the_count(shop, pick):
    job = shop.job("J-1")
    line = line_of(shop.start(job), "NUT")
    said = pick(line, {}, counted=0)
    assert said.pick is None
    assert held("NUT") == 0
    line.refresh_from_db()
    assert line.state == "short"
    assert shop.asked(job)["NUT"] == 4


def test_a_short_pick_from_a_full_bin_needs_a_count_or_a_reason(shop, pick):
    job = shop.job("J-1")
    line = line_of(shop.start(job), "NUT")
    assert refused(pick, line, {job.pk: ONE}) == (
        "1 of 4 taken, but by the book H1 held 40: write how many lay there, or why not all were taken."
    )
    assert held("NUT", job=job) == 0


@pytest.mark.parametrize(
    ("quantity", "said", "says"),
    [
        (5 * ONE, {}, "J-1 asks for 4 of NUT, 5 is more: put the rest back into the bin."),
        (ONE // 2, {}, "0.5 of NUT for J-1 is no quantity that can be taken: write a whole number, 0 for none."),
        (-ONE, {}, "-1 of NUT for J-1 is no quantity that can be taken: write a whole number, 0 for none."),
        (
            4 * ONE,
            {"counted": 3 * ONE},
            "H1 cannot have held 3, with 4 taken from it: write what lay there before anything was taken.",
        ),
        (0, {"counted": -ONE}, "A bin that holds -1 cannot be: count it again."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(shop, pick, quantity, said, says):
    job = shop.job("J-1")
    line = line_of(shop.start(job), "NUT")
    assert refused(pick, line, {job.pk: quantity}, **said) == says
    line.refresh_from_db()
    assert (line.state, held("NUT", job__isnull=True)) == ("open", 40)


def test_a_bag_that_is_not_on_the_line_is_refused(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    assert "gives nothing to one of the jobs named" in refused(pick, line, {shop.job("J-9").pk: ONE})


def test_what_went_from_the_bin_meanwhile_cannot_be_booked(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    shop.stock("NUT", "H-1", "H1", 2)
    assert refused(pick, line) == (
        "H1 holds 2 of lot H-1 by the book, 4 cannot come from it: count the bin and write what it held."
    )
    pick(line, counted=4 * ONE)
    assert held("NUT", job__isnull=True) == 0


def test_a_job_that_was_held_meanwhile_gets_nothing(shop, pick):
    first, second = shop.job("J-1"), shop.job("J-2", build_on=date(2026, 3, 17))
    line = line_of(shop.start(first, second), "NUT")
    Job.objects.filter(pk=second.pk).update(stage="held", held_because="no order")
    assert refused(pick, line).startswith("J-2 is held (no order) and asks for no parts")
    pick(line, {first.pk: 4 * ONE}, reason="J-2 is held")
    assert (held("NUT", job=first), held("NUT", job=second)) == (4, 0)


def test_a_lot_that_dies_before_a_build_that_was_moved_is_not_given(shop, pick):
    job = shop.job("J-1")
    line = line_of(shop.start(job), "K-END")
    Job.objects.filter(pk=job.pk).update(build_on=date(2026, 4, 1))
    assert refused(pick, line) == (
        "Lot K-1 may be used up to 31 Mar 2026, but J-1 is built on 1 Apr 2026: book 0 for it, then the plan takes "
        "another lot."
    )


def test_part_of_a_packet_is_closed_again(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "OR-210-N70")
    said = pick(line)
    assert said.opened.kind == "move"
    assert held("OR-210-N70", packet="sealed") == 0
    assert held("OR-210-N70", packet="resealed") == 38


def test_the_opened_packet_is_used_up_first(shop, pick):
    first = line_of(shop.start(shop.job("J-1"), key="one"), "OR-210-N70")
    shop.stock("OR-210-N70", "N-70", "A1", 3, packet="resealed")
    pick(first)
    assert (held("OR-210-N70", packet="sealed"), held("OR-210-N70", packet="resealed")) == (40, 1)


def test_kits_and_nuts_open_no_packet(shop, pick):
    made = shop.start(shop.job("J-1"))
    assert pick(line_of(made, "K-END"), key="one").opened is None
    assert pick(line_of(made, "NUT"), key="two").opened is None
    assert held("K-END", packet="sealed") == 8


def test_the_rest_of_an_opened_clean_packet_serves_nobody(shop, pick):
    shop.line("VALVE", "OR-110-CLEAN", 1, "renew", "clean")
    shop.stock("OR-110-CLEAN", "X-1", "A2", 2)
    first, second = shop.job("J-1", "valve"), shop.job("J-2", "valve", build_on=date(2026, 3, 17))
    line = line_of(shop.start(first), "OR-110-CLEAN")
    assert line.caution == (
        "Oxygen-clean: clean gloves, a clean bag of its own. "
        "What is left of an opened packet may not be used again: open no more than one."
    )
    pick(line)
    plan = shop.plan()
    left_out = plan.supplies.left_out[plan.demand.structure.index["OR-110-CLEAN"]]
    assert left_out == {"resealed": ONE}
    assert shop.asked(second)["OR-110-CLEAN"] == 1


def test_a_measured_part_is_cut_to_length(shop, pick):
    job = shop.job("J-1", "valve")
    pick(line_of(shop.start(job), "CORD"))
    assert (held("CORD", job__isnull=True), held("CORD", job=job)) == (690, 310)


def test_undo_puts_everything_back_and_opens_the_line(shop, pick):
    job = shop.job("J-1")
    made = shop.start(job)
    line = line_of(made, "OR-210-N70")
    pick(line, counted=39 * ONE)
    said = undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
    assert said.undone_by == shop.clerk
    assert held("OR-210-N70", packet="sealed") == 40
    assert held("OR-210-N70", packet="resealed") == held("OR-210-N70", job=job) == 0
    line.refresh_from_db()
    assert line.state == "open"
    assert line.shares.get().picked is None
    assert Reservation.objects.get(lot=line.lot).quantity == 2 * ONE
    assert shop.asked(job)["OR-210-N70"] == 2
    assert ledger_differences() == []


def test_undo_is_done_once_and_the_line_can_be_booked_again(shop, pick):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    pick(line, key="one")
    undone = [undo_line(line=line, by=shop.clerk, at=AT, request_key="undo") for _ in range(2)]
    assert undone[0] == undone[1]
    with pytest.raises(PickRefusal, match="Nothing is booked on line 3"):
        undo_line(line=line, by=shop.clerk, at=AT, request_key="undo 2")
    pick(line, key="two")
    assert held("NUT", job__isnull=True) == 36


def test_undo_of_the_last_line_takes_the_round_up_again(shop, pick):
    made = shop.start(shop.job("J-1"))
    pick_all(pick, made)
    undo_line(line=line_of(made, "NUT"), by=shop.clerk, at=AT, request_key="undo")
    made.refresh_from_db()
    assert (made.state, made.ended_at) == ("running", None)


def test_undo_after_others_took_from_the_opened_packet(shop, pick):
    made = shop.start(shop.job("J-1"), key="one")
    other = shop.start(shop.job("J-2", build_on=date(2026, 3, 17)), key="two")
    line = line_of(made, "OR-210-N70")
    pick(line, key="a")
    pick(line_of(other, "OR-210-N70"), key="b")
    undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
    assert held("OR-210-N70", packet="resealed") == 38, "the packet stays opened, and what came back lies in it"
    assert held("OR-210-N70", packet="sealed") == 0
    assert ledger_differences() == []


def test_undo_on_a_round_that_was_given_up_sets_nothing_aside(shop, pick):
    made = shop.start(shop.job("J-1"))
    line = line_of(made, "NUT")
    pick(line)
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
    line.refresh_from_db()
    assert line.state == "left"
    assert not Reservation.objects.exists()


def test_a_line_of_a_round_that_was_given_up_is_not_booked(shop, pick):
    made = shop.start(shop.job("J-1"))
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    assert refused(pick, line_of(made, "NUT")) == (
        f"Round {made.pk} was given up: start another for what is still asked for."
    )


def test_two_clerks_book_different_lines_of_one_round(shop, pick):
    made = shop.start(shop.job("J-1"))
    second = User.objects.create_user("second")
    pick(line_of(made, "NUT"), key="one")
    line = line_of(made, "K-END")
    said = confirm_line(line=line, quantities=full(line), by=second, at=AT, request_key="two")
    assert said.by == second

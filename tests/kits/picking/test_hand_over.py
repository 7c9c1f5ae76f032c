"""A bag is the storeroom's until somebody takes it; what it lacks stands on a tag; the counter; picks from paper."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest
from django.db import connection, transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.errors import Refusal
from kits.picking.actions import confirm_line, undo_line
from kits.picking.bags.actions import enter_paper_pick, hand_over, issue_extra, place_bag, take_hand_over_back
from kits.picking.bags.counter import counter_sheet
from kits.picking.bags.sheet import bag_sheet, find_bag
from kits.picking.bags.tags import check_of, lacks_says, tag_labels, tags_of
from kits.picking.changes.return_list import return_rows
from kits.picking.closing.actions import close_job
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.models import HandOver
from kits.picking.words import LeftGoes
from kits.planning.queries import plan_now
from kits.purchasing.models import OrderLine, Supplier
from kits.schedule.models import Job
from kits.stock.actions import count_shelf, take_from_bench
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf, WithJob
from kits.stock.models import Balance, KitPiece, Lot, Movement, Posting, Reservation
from kits.stock.queries import job_stock, ledger_differences
from kits.stock.suspects.actions import freeze_lot
from kits.stock.writes import JobCount, set_job_counts
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


def bag_of(job):
    return find_bag(job.bags.get().number)


def take(shop, bag, key="take", taken_by="Ana", where="bench 2"):
    return hand_over(bag=bag, taken_by=taken_by, where=where, by=shop.clerk, at=AT, key=key)


def shelf(shop, lot, place, packet="sealed"):
    return OnShelf(Lot.objects.get(lot=lot).pk, shop.places[place].pk, packet=packet)


def states(job):
    """What a job has, by part and state, in pieces."""
    rows = Balance.objects.filter(job=job, quantity__gt=0).order_by("lot__item__part_number", "state")
    return [(row.lot.item.part_number, row.state, row.quantity // ONE) for row in rows.select_related("lot__item")]


def extra(shop, job, lot="H-1", place="H1", count=1, key="extra", reason="lost at the bench", **more):
    source = shelf(shop, lot, place, **more)
    return issue_extra(job=job, source=source, quantity=count * ONE, reason=reason, by=shop.clerk, at=AT, key=key)


def paper(shop, job, picked_on, lot="H-1", place="H1", count=2, key="paper"):
    said = {"job": job, "source": shelf(shop, lot, place), "quantity": count * ONE, "by": shop.clerk, "at": AT}
    return enter_paper_pick(picked_on=picked_on, key=key, **said)


def test_a_bag_from_the_first_pick_to_the_closing_by_hand(shop):
    """Both ends take 2 kits, 4 nuts, 2 shank rings. One nut is lost and another given, one comes back.

    Nuts: 40 - 4 picked - 1 extra + 1 back = 36 on the shelf; 4 go into the pump, or are gone with it.
    """
    job = shop.job("J-1", stage="stripped")
    shop.pick(job)
    assert states(job) == [("K-END", "bagged", 2), ("NUT", "bagged", 4), ("OR-210-N70", "bagged", 2)]
    take(shop, bag_of(job))
    assert states(job) == [("K-END", "issued", 2), ("NUT", "issued", 4), ("OR-210-N70", "issued", 2)]
    extra(shop, job)
    assert states(job)[1:3] == [("NUT", "extra", 1), ("NUT", "issued", 4)]
    assert (held("NUT", job__isnull=True), shop.asked(job)) == (35, {})
    assert return_rows(shop.plan()) == [], "what was given besides is not held for nothing"
    back = {"target": shelf(shop, "H-1", "H1", "resealed"), "quantity": ONE, "reason": "", "by": shop.clerk, "at": AT}
    take_from_bench(source=WithJob(Lot.objects.get(lot="H-1").pk, job.pk, "extra"), key="bench:1", **back)
    assert (held("NUT", job__isnull=True), held("NUT", job=job)) == (36, 4)
    shop.looked_at(job)
    close_job(job=job, decisions=[], by=shop.clerk, at=AT, key="close")
    assert (states(job), held("NUT", job__isnull=True), ledger_differences()) == ([], 36, [])
    kinds = Posting.objects.filter(job=job).order_by("pk").values_list("kind", flat=True)
    assert list(kinds)[-4:] == ["issue", "extra_issue", "return_to_lot", "consume"]


def test_until_it_is_handed_over_a_bag_serves_its_job_and_the_plan_says_the_same_after(shop):
    job, other = shop.job("J-1"), shop.job("J-2", build_on=date(2026, 3, 17))
    shop.pick(job)
    before = {name: shop.plan() and shop.asked(one) for name, one in (("J-1", job), ("J-2", other))}
    take(shop, bag_of(job))
    assert {name: shop.asked(one) for name, one in (("J-1", job), ("J-2", other))} == before
    assert before == {"J-1": {}, "J-2": {"K-END": 2, "NUT": 4, "OR-210-N70": 2}}


def test_the_sheet_issued_says_bagged_before_and_issued_after(shop):
    job = shop.job("J-1", "one")
    shop.pick(job)
    place_bag(bag=bag_of(job), place=shop.places["A2"], by=shop.clerk, at=AT, key="put")
    assert {(row.state, row.place) for row in job_stock()} == {("bagged", "A2")}
    take(shop, bag_of(job))
    extra(shop, job)
    assert [(row.part_number, row.state, row.quantity // ONE) for row in job_stock()] == [
        ("K-END", "issued", 1), ("NUT", "issued", 3), ("OR-210-N70", "issued", 1),
    ]  # fmt: skip


def test_a_list_of_what_is_issued_takes_what_was_given_besides_off_first(shop):
    job, lot = shop.job("J-1", "one"), Lot.objects.get(lot="H-1")
    shop.pick(job)
    take(shop, bag_of(job))
    extra(shop, job)
    for count, left in ((3, ["extra 1", "issued 2"]), (2, ["issued 2"]), (0, [])):
        with transaction.atomic():
            set_job_counts([JobCount(job.pk, lot.pk, "issued", count * ONE)], by=None, at=AT, key=f"list {count}")
        assert [f"{state} {n}" for part, state, n in states(job) if part == "NUT"] == left
    assert ledger_differences() == []


def test_what_is_put_in_later_stands_where_the_bag_stands(shop):
    job = shop.job("J-1", "one")
    made = shop.start(job)
    place_bag(bag=bag_of(job), place=shop.places["A2"], by=shop.clerk, at=AT, key="put")
    confirm_line(line=line_of(made, "NUT"), quantities={job.pk: 2 * ONE}, by=shop.clerk, at=AT, request_key="nut")
    assert Balance.objects.get(job=job, state="bagged", quantity__gt=0).place == shop.places["A2"]


def test_a_hand_over_is_booked_once_and_by_one_of_two(shop):
    job = shop.job("J-1")
    shop.pick(job)
    assert take(shop, bag_of(job)) == take(shop, bag_of(job))
    with pytest.raises(PickRefusal, match="Ana took bag 1 on 4 Mar 2026, and nothing was put into it since"):
        take(shop, bag_of(job), key="another", taken_by="Ben")
    assert HandOver.objects.count() == 1


def test_a_bag_is_taken_by_somebody_and_not_empty(shop):
    job = shop.job("J-1")
    shop.start(job)
    with pytest.raises(PickRefusal, match="Who takes bag 1"):
        take(shop, bag_of(job), taken_by=" ")
    with pytest.raises(PickRefusal, match=r"Bag 1 is empty: there is nothing to hand over\. Pick for J-1 first"):
        take(shop, bag_of(job))


def test_a_hand_over_by_mistake_is_taken_back(shop):
    job = shop.job("J-1")
    shop.pick(job)
    taken = take(shop, bag_of(job))
    said = {"hand_over": taken, "by": shop.clerk, "at": AT}
    assert take_hand_over_back(key="back", **said) == take_hand_over_back(key="back", **said)
    assert {state for _, state, _ in states(job)} == {"bagged"}
    with pytest.raises(PickRefusal, match="taken back before"):
        take_hand_over_back(key="again", **said)
    assert take(shop, bag_of(job), key="anew", taken_by="Ben").taken_by == "Ben"
    assert ledger_differences() == []


def test_a_hand_over_is_not_taken_back_once_something_came_back(shop):
    job = shop.job("J-1")
    shop.pick(job)
    taken = take(shop, bag_of(job))
    source = WithJob(Lot.objects.get(lot="H-1").pk, job.pk, "issued")
    target = shelf(shop, "H-1", "H1", "resealed")
    take_from_bench(source=source, target=target, quantity=ONE, reason="", by=shop.clerk, at=AT, key="bench:1")
    with pytest.raises(PickRefusal, match="Bag 1 stays handed over to Ana: some of it came back"):
        take_hand_over_back(hand_over=taken, by=shop.clerk, at=AT, key="back")


def test_a_line_whose_pieces_were_handed_over_stays_booked(shop):
    job = shop.job("J-1")
    made = shop.pick(job)
    taken = take(shop, bag_of(job))
    line = line_of(made, "NUT")
    with pytest.raises(PickRefusal, match=r"does not lie in bag 1 any more\. Take the hand-over back first"):
        undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
    take_hand_over_back(hand_over=taken, by=shop.clerk, at=AT, key="back")
    undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
    assert (held("NUT", job=job), ledger_differences()) == (0, [])


def test_a_bag_with_a_suspect_lot_is_not_handed_over(shop):
    job = shop.job("J-1")
    shop.pick(job)
    freeze_lot(lot=Lot.objects.get(lot="H-1"), reason="cracked", by=shop.clerk, at=AT, key="suspect")
    with pytest.raises(StockRefusal, match="J-1 cannot be handed over: lot H-1 of NUT is under suspicion"):
        take(shop, bag_of(job))


def test_a_held_job_keeps_its_bag_in_the_storeroom(shop):
    job = shop.job("J-1")
    shop.pick(job)
    with transaction.atomic():
        mark_shop()
        Job.objects.update(stage="held", held_because="no order")
    with pytest.raises(PickRefusal, match="J-1 is held"):
        take(shop, bag_of(job))


# --- what is missing


def order(shop, part, count, promised):
    with transaction.atomic():
        mark_shop()
        supplier = Supplier.objects.create(supplier="ACME of the test")
        return OrderLine.objects.create(
            order="PO-1", line="1", item=shop.items[part], supplier=supplier, quantity=count * ONE, promised_on=promised
        )


def tags(job):
    return tags_of(plan_now(), bag_of(job), check_of(plan_now(), job))


def test_a_missing_piece_makes_a_tag_that_closes_itself_when_it_is_put_in(shop):
    job = shop.job("J-1", "one")
    made = shop.start(job)
    for part in ("K-END", "OR-210-N70"):
        line = line_of(made, part)
        confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key=part)
    nut = line_of(made, "NUT")
    said = {"by": shop.clerk, "at": AT, "counted": ONE, "reason": "bin nearly empty"}
    confirm_line(line=nut, quantities={job.pk: ONE}, request_key="nut", **said)
    assert [tag.says for tag in tags(job)] == ["1 × NUT still missing, on no order"]
    order(shop, "NUT", 5, date(2026, 3, 10))
    (tag,) = tags(job)
    assert tag.says == "1 × NUT still missing, expected on PO-1 10 Mar 2026"
    (label,) = tag_labels(bag_of(job), (tag,))
    assert (str(label.code), label.head, label.mind) == ("BAG 1", "1 × NUT", "STILL MISSING")
    assert lacks_says((tag,)) == "1 × NUT"
    shop.stock("NUT", "H-2", "H1", 9)
    assert [tag.says for tag in tags(job)] == ["1 × NUT still missing, lies at H1, not picked yet"]
    shop.pick(job, key="more")
    assert tags(job) == ()


def test_a_piece_that_a_kit_in_the_bag_is_without_has_a_tag(shop):
    job = shop.job("J-1", "one")
    shop.pick(job)
    with transaction.atomic():
        mark_shop()
        KitPiece.objects.create(kit_lot=Lot.objects.get(lot="K-1"), item=shop.items["OR-210-N90"], quantity=0)
    (tag,) = tags(job)
    assert (tag.part_number, tag.amount.text, "may be without it" in tag.comes) == ("OR-210-N90", "1", True)


# --- the counter


def test_an_extra_raises_the_need_by_what_it_gives(shop):
    job = shop.job("J-1")
    asked = shop.asked(job)
    extra(shop, job)
    assert (shop.asked(job), held("NUT", job=job, state="extra"), held("NUT", job__isnull=True)) == (asked, 1, 39)
    assert extra(shop, job).pk == extra(shop, job).pk, "a double tap gives one"
    assert held("NUT", job=job) == 1


def test_an_extra_needs_a_reason_and_pieces_that_are_nobodys(shop):
    job, other = shop.job("J-1"), shop.job("J-2")
    with pytest.raises(PickRefusal, match="Nothing says why J-1 gets more"):
        extra(shop, job, reason=" ")
    Reservation.objects.create(job=other, lot=Lot.objects.get(lot="H-1"), quantity=39 * ONE)
    with pytest.raises(PickRefusal, match="Lot H-1 has 40 on the shelf, 39 of it set aside for J-2"):
        extra(shop, job, count=2)
    extra(shop, job)


def test_an_extra_that_would_be_too_old_on_the_build_day_is_refused(shop):
    shop.stock("NUT", "OLD", "H1", 5, printed_last_use_on=date(2026, 3, 10))
    with pytest.raises(PickRefusal, match="Lot OLD may be used up to 10 Mar 2026, and J-1 is built on 16 Mar 2026"):
        extra(shop, shop.job("J-1"), lot="OLD")


def test_a_clean_job_gets_nothing_ordinary_that_nothing_opened_takes(shop):
    job = shop.job("X-1", "valve", cleanliness="lubricant_free")
    says = "NUT is ordinary, and X-1 is free of lubricant and nothing that is opened takes it: take one of its class"
    with pytest.raises(PickRefusal, match=says):
        extra(shop, job)
    with pytest.raises(PickRefusal, match=says):
        paper(shop, job, date(2026, 3, 2))
    extra(shop, job, lot="S-1", place="A2", key="seat")


def test_an_extra_ring_out_of_a_sealed_bag_leaves_the_rest_opened(shop):
    job = shop.job("J-1")
    extra(shop, job, lot="N-90", place="A1")
    assert held("OR-210-N90", job__isnull=True, packet="resealed") == 19
    assert ledger_differences() == []


def test_the_counter_shows_where_a_scanned_lot_lies_and_how_much_is_free(shop):
    job = shop.job("J-1")
    shop.stock("NUT", "OLD", "H1", 5, printed_last_use_on=date(2026, 3, 10))
    Reservation.objects.create(job=job, lot=Lot.objects.get(lot="H-1"), quantity=4 * ONE)
    rows = counter_sheet(job, "PART NUT", today=date(2026, 3, 4)).rows
    assert [(row.lot, row.place, row.lies.text, row.free.text) for row in rows] == [("H-1", "H1", "40", "36")]
    shop.pick(job)
    (has,) = counter_sheet(job, "LOT NUT H-1", today=date(2026, 3, 4)).has
    assert (has.quantity.text, has.state_says) == ("4", "in the bag")
    assert counter_sheet(job, "LOT NUT OLD", today=date(2026, 3, 4)).says.startswith("What lies on the shelf of")
    assert "neither a lot nor a part" in counter_sheet(job, "BAG 9", today=date(2026, 3, 4)).says


def test_an_extra_is_used_up_with_the_rest_unless_it_is_left_over(shop):
    job = shop.job("J-1", stage="stripped")
    shop.pick(job)
    take(shop, bag_of(job))
    extra(shop, job)
    shop.looked_at(job)
    assert all(not row.surplus for row in bag_sheet(plan_now(), bag_of(job)).rows)
    left = [LeftOver(Lot.objects.get(lot="H-1").pk, ONE, LeftGoes.BACK)]
    close_job(job=job, decisions=left, by=shop.clerk, at=AT, key="close")
    used = Movement.objects.filter(posting__kind="consume", balance__lot__lot="H-1")
    assert (sum(row.quantity for row in used), held("NUT", job__isnull=True)) == (-4 * ONE, 36)


# --- from paper


def received(lot, on):
    Lot.objects.filter(lot=lot).update(received_on=on)


def test_a_pick_from_paper_keeps_its_day_and_goes_into_the_bag(shop):
    received("H-1", date(2026, 2, 2))
    job = shop.job("J-1")
    Reservation.objects.create(job=job, lot=Lot.objects.get(lot="H-1"), quantity=4 * ONE)
    posting = paper(shop, job, date(2026, 3, 2))
    assert paper(shop, job, date(2026, 3, 2)) == posting
    assert (posting.kind, posting.paper_pick.picked_on, posting.at) == ("pick", date(2026, 3, 2), AT)
    assert states(job) == [("NUT", "bagged", 2)]
    assert Reservation.objects.get().quantity == 2 * ONE
    assert shop.asked(job)["NUT"] == 2
    (row,) = bag_sheet(plan_now(), bag_of(job)).paper
    assert (row.lot, row.quantity.text, row.picked_on) == ("H-1", "2", date(2026, 3, 2))


@pytest.mark.parametrize(
    ("day", "says"),
    [
        (date(2026, 3, 5), "5 Mar 2026 is still to come"),
        (date(2026, 3, 1), "Lot H-1 came on 2 Mar 2026, so none of it was picked on 1 Mar 2026"),
    ],
)
def test_a_pick_from_paper_was_neither_before_the_receipt_nor_in_the_future(shop, day, says):
    received("H-1", date(2026, 3, 2))
    with pytest.raises(PickRefusal, match=says):
        paper(shop, shop.job("J-1"), day)


def test_a_pick_from_paper_is_not_entered_behind_a_count(shop):
    received("H-1", date(2026, 2, 2))
    account = shelf(shop, "H-1", "H1")
    counted = {"account": account, "counted": 38 * ONE, "reason": "counted", "by": shop.clerk}
    count_shelf(at=AT - timedelta(days=1), key="count", **counted)
    job = shop.job("J-1")
    for day in (date(2026, 3, 2), date(2026, 3, 3)):
        with pytest.raises(PickRefusal, match="was counted there on 3 Mar 2026, and that count took what was picked"):
            paper(shop, job, day)
    paper(shop, job, date(2026, 3, 4))
    assert (held("NUT", job__isnull=True), ledger_differences()) == (36, [])


# --- two at once


@pytest.mark.django_db(transaction=True)
def test_two_hands_at_one_bag_book_one_hand_over(shop):
    job = shop.job("J-1")
    shop.pick(job)
    bag = bag_of(job)

    def tap(name):
        try:
            return take(shop, bag, key=name, taken_by=name).taken_by
        except Refusal as refusal:
            return str(refusal)
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as hands:
        said = list(hands.map(tap, ["Ana", "Ben"]))
    (taken,) = HandOver.objects.all()
    assert taken.taken_by in said
    assert any("nothing was put into it since" in one for one in said)
    assert ledger_differences() == []

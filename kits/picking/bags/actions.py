"""What people do with a bag: move it, hand it over, take that back, give more over the counter, enter
a pick from paper, put another part in the place of a missing one, ask whether pieces are missing in the pump.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from kits.catalog.caching.revisions import hold_marks, mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.bags.contents import balances_in
from kits.picking.bags.giving import (
    give,
    job_and_lot,
    refuse_item,
    refuse_set_aside,
    refuse_unfit,
    refuse_untrained_hand,
)
from kits.picking.bags.instead import refuse_instead, refuse_more
from kits.picking.cautions.unsuited import refuse_unsuited, unsuited_pieces
from kits.picking.closing.surplus import open_questions
from kits.picking.errors import PickRefusal
from kits.picking.models import Bag, HandOver, PaperPick, PumpQuestion
from kits.picking.queries import bag_balances
from kits.picking.rounds.line_check import refuse_quiet_job
from kits.picking.words import PumpAnswer
from kits.picking.writes import bags_for, release
from kits.planning.queries import today
from kits.schedule.models import Job
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, account_of, post, posted, reverse
from kits.stock.models import Balance, Lot, Movement, Place, Posting, StandIn
from kits.stock.suspects.with_jobs import refuse_undecided
from kits.stock.words import HeldAs, PostingKind


def place_bag(*, bag: Bag, place: Place, by: User, at: datetime, key: str) -> Bag:
    """Say where a bag stands in the storeroom."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        held = Bag.objects.select_for_update(of=("self",)).select_related("job").get(pk=bag.pk)
        held.place = place
        held.save(update_fields=["place"])
        lies = balances_in(held, state=HeldAs.BAGGED, whatever=True)
        Balance.objects.filter(pk__in=[balance.pk for balance in lies]).update(place=place)
        return held


def hand_over(*, bag: Bag, taken_by: str, where: str, by: User, at: datetime, key: str) -> HandOver:
    """Hand what lies in a bag over to the bench, in one step and once per key; it is issued from then on."""
    if not taken_by.strip():
        raise PickRefusal(f"Who takes bag {bag.number}? Write the name, so that everybody knows whom to ask for it.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return HandOver.objects.get(posting=earlier)
        held = Bag.objects.select_for_update(of=("self",)).select_related("job").get(pk=bag.pk)
        refuse_quiet_job(held.job)
        lies = balances_in(held, state=HeldAs.BAGGED)
        if not lies:
            raise PickRefusal(_nothing_says(held))
        refuse_undecided(held.job, "handed over", [balance.lot_id for balance in lies])
        entries = []
        for balance in lies:
            entries.append(Entry(account_of(balance), -balance.quantity))
            entries.append(Entry(WithJob(balance.lot_id, held.job_id, HeldAs.ISSUED.value), balance.quantity))
        says = f"bag {held.number} handed over to {taken_by.strip()}"
        posting = post(entries=entries, kind=PostingKind.ISSUE, by=by, at=at, key=key, reason=says, job=held.job)
        return HandOver.objects.create(bag=held, posting=posting, taken_by=taken_by.strip(), where=where.strip())


def take_hand_over_back(*, hand_over: HandOver, by: User, at: datetime, key: str) -> Posting:
    """Say once that a bag was not handed over after all: what it held is the storeroom's again."""
    bag = hand_over.bag
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        refuse_quiet_job(Job.objects.get(pk=bag.job_id))
        posting = Posting.objects.get(pk=hand_over.posting_id)
        says = f"bag {bag.number} was not handed over to {hand_over.taken_by}"
        try:
            return reverse(posting=posting, by=by, at=at, key=key, reason=says)
        except StockRefusal as error:
            raise PickRefusal(
                f"Bag {bag.number} stays handed over to {hand_over.taken_by}: some of it came back from the bench "
                "since, or this was taken back before. Bring back one by one what is still there."
            ) from error


def issue_extra(*, job: Job, source: OnShelf, quantity: int, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Give pieces to a job over the counter besides what its lists ask for, with the reason, once per key."""
    if not reason.strip():
        raise PickRefusal(f"Nothing says why {job} gets more than its lists ask for: choose or write the reason.")
    refuse_item(job, Lot.objects.select_related("item").get(pk=source.lot_id).item)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        held, lot = job_and_lot(job, source, quantity)
        refuse_untrained_hand(by, held, lot)
        refuse_unfit(held, lot, source, max(held.build_on, today()))
        refuse_set_aside(lot, source, quantity)
        account = WithJob(lot.pk, held.pk, HeldAs.EXTRA.value)
        return give(source, account, quantity, PostingKind.EXTRA_ISSUE, lot, held, by, at, key, reason.strip())


def enter_paper_pick(
    *, job: Job, source: OnShelf, quantity: int, picked_on: date, by: User, at: datetime, key: str
) -> Posting:
    """Post once what was picked for a job earlier and written on paper; the day is kept beside that of posting."""
    day = today()
    if picked_on > day:
        raise PickRefusal(f"{in_full(picked_on)} is still to come: write the day on which it was picked.")
    refuse_item(job, Lot.objects.select_related("item").get(pk=source.lot_id).item)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        held, lot = job_and_lot(job, source, quantity)
        refuse_untrained_hand(by, held, lot)
        refuse_unfit(held, lot, source, max(held.build_on, picked_on))
        _refuse_wrong_day(lot, source, picked_on)
        (bag,) = bags_for([held], [(held.pk, lot.pk)])
        account = WithJob(lot.pk, held.pk, HeldAs.BAGGED.value, bag.place_id)
        says = f"picked on paper, {in_full(picked_on)}"
        posting = give(source, account, quantity, PostingKind.PICK, lot, held, by, at, key, says)
        PaperPick.objects.create(posting=posting, picked_on=picked_on)
        release([(held.pk, lot.pk, source.place_id, quantity)])
        return posting


def give_stand_in(
    *, job: Job, wanted: Item, source: OnShelf, quantity: int, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Put pieces into the bag of a job in the place of a part that it lacks, with the reason, once per key.

    They count as that part from then on, so that the plan asks for it no more for this job.
    """
    if not reason.strip():
        raise PickRefusal(f"Nothing says why something else goes in for {wanted}: choose or write the reason.")
    item = Lot.objects.select_related("item").get(pk=source.lot_id).item
    refuse_unsuited(unsuited_pieces(item, [job]))
    refuse_instead(job, wanted, item)
    with transaction.atomic(durable=True):
        hold_marks()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        refuse_more(job, wanted, quantity)
        mark_shop()
        held, lot = job_and_lot(job, source, quantity)
        refuse_untrained_hand(by, held, lot)
        refuse_unfit(held, lot, source, max(held.build_on, today()))
        refuse_set_aside(lot, source, quantity)
        (bag,) = bags_for([held], [(held.pk, lot.pk)])
        account = WithJob(lot.pk, held.pk, HeldAs.BAGGED.value, bag.place_id)
        says = f"in the place of {wanted}: {reason.strip()}"
        posting = give(source, account, quantity, PostingKind.PICK, lot, held, by, at, key, says)
        StandIn.objects.create(
            posting=posting, job=held, wanted=wanted, lot=lot, quantity=quantity, reason=reason.strip()[:300]
        )
        return posting


def ask_about_pump(
    *, job: Job, forgotten: Sequence[tuple[int, int]], by: User, at: datetime, key: str
) -> list[PumpQuestion]:
    """Ask once whether pieces that are left over (lots and millionths) are missing in the pump: it is not closed."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return list(PumpQuestion.objects.filter(key=key))
        held = Job.objects.select_for_update().get(pk=job.pk)
        refuse_quiet_job(held)
        lies: dict[int, int] = defaultdict(int)
        for balance in bag_balances(held):
            lies[balance.lot_id] += balance.quantity
        asked = set(open_questions(held).values_list("lot", flat=True))
        if any(quantity <= 0 or quantity > lies[lot] for lot, quantity in forgotten):
            raise PickRefusal(f"The bag of {held} does not hold so many by now: look at it again.")
        return PumpQuestion.objects.bulk_create(
            [
                PumpQuestion(job=held, lot_id=lot, quantity=quantity, key=key, by=by, at=at)
                for lot, quantity in forgotten
                if lot not in asked
            ]
        )


def answer_about_pump(*, question: PumpQuestion, answer: PumpAnswer, by: User, at: datetime, key: str) -> PumpQuestion:
    """Say once what was found when somebody looked into the pump."""
    with transaction.atomic(durable=True):
        mark_shop()
        if log_request(key):
            said = {"answer": answer, "answered_by": by, "answered_at": at}
            if not PumpQuestion.objects.filter(pk=question.pk, answered_at__isnull=True).update(**said):
                raise PickRefusal(f"Somebody has answered that about {question.lot} by now: look at the page again.")
        question.refresh_from_db()
        return question


def _nothing_says(bag: Bag) -> str:
    last = HandOver.objects.filter(bag=bag, posting__reversed_by__isnull=True).select_related("posting").first()
    if last is None:
        return f"Bag {bag.number} is empty: there is nothing to hand over. Pick for {bag.job} first."
    on = in_full(timezone.localtime(last.posting.at).date())
    return f"{last.taken_by} took bag {bag.number} on {on}, and nothing was put into it since."


def _refuse_wrong_day(lot: Lot, source: OnShelf, picked_on: date) -> None:
    """Refuse a day before the lot came, and one before a count, which has the pick in it already."""
    account = Balance.objects.filter(
        lot=lot, place=source.place_id, job__isnull=True, condition=source.condition, packet=source.packet
    ).first()
    came_on = lot.received_on or _first_moved_on(lot)
    if came_on is not None and picked_on < came_on:
        raise PickRefusal(
            f"Lot {lot.lot} came on {in_full(came_on)}, so none of it was picked on {in_full(picked_on)}: check the "
            "lot and the day."
        )
    counted_on = timezone.localtime(account.counted_at).date() if account and account.counted_at else None
    if counted_on is not None and picked_on <= counted_on:
        raise PickRefusal(
            f"Lot {lot.lot} was counted there on {in_full(counted_on)}, and that count took what was picked on "
            f"{in_full(picked_on)} off the books already: take the count back first, or check the day."
        )


def _first_moved_on(lot: Lot) -> date | None:
    first = (
        Movement.objects.filter(balance__lot=lot).order_by("posting__at").values_list("posting__at", flat=True).first()
    )
    return timezone.localtime(first).date() if first else None

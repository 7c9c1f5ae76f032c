"""What people do with a bag: move it, hand it over, take that back, give more over the counter, enter
a pick from paper, ask whether pieces are missing in the pump.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.picking.bags.contents import balances_in
from kits.picking.cautions.unsuited import refuse_unsuited, unsuited_pieces
from kits.picking.clean_work import refuse_untrained
from kits.picking.closing.surplus import open_questions
from kits.picking.errors import PickRefusal
from kits.picking.models import Bag, HandOver, PaperPick, PumpQuestion
from kits.picking.queries import bag_balances
from kits.picking.rounds.line_check import refuse_quiet_job
from kits.picking.words import CLASS_SAYS, PumpAnswer
from kits.picking.writes import bags_for, release
from kits.planning.queries import plan_now, reading_of, today
from kits.planning.sheets.jobs.instances import read_instances
from kits.planning.sheets.jobs.strip_page import job_strip
from kits.schedule.models import Job
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, account_of, post, posted, reverse
from kits.stock.models import Balance, Lot, Movement, Place, Posting, Reservation
from kits.stock.packets import is_kept_sealed, usable_packets
from kits.stock.suspects.with_jobs import refuse_undecided
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, HeldAs, Packet, PostingKind
from kits.stock.writes import refuse_part_of_a_piece


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
    _refuse_item(job, Lot.objects.select_related("item").get(pk=source.lot_id).item)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        held, lot = _job_and_lot(job, source, quantity)
        _refuse_untrained_hand(by, held, lot)
        _refuse_unfit(held, lot, source, max(held.build_on, today()))
        _refuse_set_aside(lot, source, quantity)
        account = WithJob(lot.pk, held.pk, HeldAs.EXTRA.value)
        return _give(source, account, quantity, PostingKind.EXTRA_ISSUE, lot, held, by, at, key, reason.strip())


def enter_paper_pick(
    *, job: Job, source: OnShelf, quantity: int, picked_on: date, by: User, at: datetime, key: str
) -> Posting:
    """Post once what was picked for a job earlier and written on paper; the day is kept beside that of posting."""
    day = today()
    if picked_on > day:
        raise PickRefusal(f"{in_full(picked_on)} is still to come: write the day on which it was picked.")
    _refuse_item(job, Lot.objects.select_related("item").get(pk=source.lot_id).item)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        held, lot = _job_and_lot(job, source, quantity)
        _refuse_untrained_hand(by, held, lot)
        _refuse_unfit(held, lot, source, max(held.build_on, picked_on))
        _refuse_wrong_day(lot, source, picked_on)
        (bag,) = bags_for([held], [(held.pk, lot.pk)])
        account = WithJob(lot.pk, held.pk, HeldAs.BAGGED.value, bag.place_id)
        says = f"picked on paper, {in_full(picked_on)}"
        posting = _give(source, account, quantity, PostingKind.PICK, lot, held, by, at, key, says)
        PaperPick.objects.create(posting=posting, picked_on=picked_on)
        release([(held.pk, lot.pk, source.place_id, quantity)])
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


def _job_and_lot(job: Job, source: OnShelf, quantity: int) -> tuple[Job, Lot]:
    """The job, locked, and the lot; refuse a job that asks for nothing and what is no quantity."""
    held = Job.objects.select_for_update().get(pk=job.pk)
    refuse_quiet_job(held)
    if quantity <= 0:
        raise PickRefusal(f"{quantity_text(quantity)} cannot be given: write how many.")
    return held, refuse_part_of_a_piece(source.lot_id, quantity)


def _refuse_item(job: Job, item: Item) -> None:
    """Refuse what the fluid of a job forbids, and what is ordinary where nothing that a clean job opens takes it.

    Both are read off the plan, before a lock is taken.
    """
    refuse_unsuited(unsuited_pieces(item, [job]))
    if job.cleanliness in (Cleanliness.NORMAL, item.cleanliness):
        return
    plan = plan_now()
    reading = reading_of(plan)
    asker = reading.jobs.get(job.job)
    opened = read_instances(reading, asker, job_strip(plan, job)) if asker else ()
    if any(part.name.part_number == item.part_number for one in opened for part in one.parts):
        return
    ordinary, clean = CLASS_SAYS[Cleanliness(item.cleanliness)], CLASS_SAYS[Cleanliness(job.cleanliness)]
    raise PickRefusal(
        f"{item} is {ordinary}, and {job} is {clean} and nothing that is opened takes it: take one of its class."
    )


def _refuse_untrained_hand(by: User, job: Job, lot: Lot) -> None:
    """What is of the class of a clean job is given by people trained for it."""
    if lot.item.cleanliness == job.cleanliness:
        refuse_untrained(by, job.cleanliness, job)


def _refuse_unfit(job: Job, lot: Lot, source: OnShelf, on: date) -> None:
    """What may not go into the pump, whoever asks for it."""
    if lot.pk in lots_under_suspicion():
        raise PickRefusal(f"{lot} is under suspicion: leave it where it lies, and take another lot.")
    if source.condition != Condition.USABLE:
        raise PickRefusal(f"{lot} lies in quarantine there: leave it, and take another lot.")
    if source.packet not in usable_packets(lot.item):
        raise PickRefusal(f"{lot.item} may not be used from an opened packet: take a sealed one.")
    if lot.last_use_on is not None and lot.last_use_on < on:
        raise PickRefusal(
            f"Lot {lot.lot} may be used up to {in_full(lot.last_use_on)}, and {job} is built on {in_full(on)}: take "
            "another lot."
        )
    if lot.owner and lot.owner != job.customer:
        raise PickRefusal(f"Lot {lot.lot} belongs to {lot.owner}, and {job} is for somebody else: take another lot.")


def _refuse_set_aside(lot: Lot, source: OnShelf, quantity: int) -> None:
    """Refuse pieces that wait for jobs: what is given besides is nobody's."""
    shelf = Balance.objects.on_shelf().filter(lot=lot, condition=Condition.USABLE)
    lies = shelf.aggregate(lies=Sum("quantity"))["lies"] or 0
    waiting = Reservation.objects.filter(lot=lot).select_related("job").order_by("job__build_on")
    aside = sum(row.quantity for row in waiting)
    if aside and quantity > lies - aside:
        named = ", ".join(dict.fromkeys(row.job.job for row in waiting))
        raise PickRefusal(
            f"{quantity_text(lies)} of lot {lot.lot} lie on the shelf, and {quantity_text(aside)} of them are set "
            f"aside for {named}: take another lot, or let the planner free them."
        )


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


def _give(
    source: OnShelf,
    target: WithJob,
    quantity: int,
    kind: PostingKind,
    lot: Lot,
    job: Job,
    by: User,
    at: datetime,
    key: str,
    reason: str,
) -> Posting:
    """Post what leaves the shelf for a job; what is left of a sealed packet that was opened is closed again."""
    entries = [Entry(source, -quantity), Entry(target, quantity)]
    posting = post(entries=entries, kind=kind, by=by, at=at, key=key, reason=reason, job=job)
    rest = Balance.objects.get(movements__posting=posting, job__isnull=True)
    if is_kept_sealed(lot.item) and source.packet == Packet.SEALED and rest.quantity:
        opened = OnShelf(source.lot_id, source.place_id, source.condition, Packet.RESEALED.value)
        off = [Entry(source, -rest.quantity), Entry(opened, rest.quantity)]
        post(entries=off, kind=PostingKind.MOVE, by=by, at=at, key=f"{key}:opened", reason="packet opened for a pick")
    return posting

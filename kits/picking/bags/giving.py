"""What is asked before pieces leave the shelf for a job at the counter, and the posting of them."""

from __future__ import annotations

from datetime import date, datetime

from django.db.models import Sum

from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.picking.cautions.unsuited import refuse_unsuited, unsuited_pieces
from kits.picking.clean_work import refuse_untrained
from kits.picking.errors import PickRefusal
from kits.picking.rounds.line_check import refuse_quiet_job
from kits.picking.words import CLASS_SAYS
from kits.planning.queries import plan_now, reading_of
from kits.planning.sheets.jobs.instances import read_instances
from kits.planning.sheets.jobs.strip_page import job_strip
from kits.schedule.models import Job
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance, Lot, Posting, Reservation
from kits.stock.packets import is_kept_sealed, usable_packets
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, Packet, PostingKind
from kits.stock.writes import refuse_part_of_a_piece


def job_and_lot(job: Job, source: OnShelf, quantity: int) -> tuple[Job, Lot]:
    """The job, locked, and the lot; refuse a job that asks for nothing and what is no quantity."""
    held = Job.objects.select_for_update().get(pk=job.pk)
    refuse_quiet_job(held)
    if quantity <= 0:
        raise PickRefusal(f"{quantity_text(quantity)} cannot be given: write how many.")
    return held, refuse_part_of_a_piece(source.lot_id, quantity)


def refuse_item(job: Job, item: Item) -> None:
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


def refuse_untrained_hand(by: User, job: Job, lot: Lot) -> None:
    """What is of the class of a clean job is given by people trained for it."""
    if lot.item.cleanliness == job.cleanliness:
        refuse_untrained(by, job.cleanliness, job)


def refuse_unfit(job: Job, lot: Lot, source: OnShelf, on: date) -> None:
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


def refuse_set_aside(lot: Lot, source: OnShelf, quantity: int) -> None:
    """Refuse pieces that wait for jobs: what is given besides is nobody's."""
    shelf = Balance.objects.on_shelf().filter(lot=lot, condition=Condition.USABLE)
    lies = shelf.aggregate(lies=Sum("quantity"))["lies"] or 0
    waiting = Reservation.objects.filter(lot=lot).select_related("job").order_by("job__build_on")
    aside = sum(row.quantity for row in waiting)
    if aside and quantity > lies - aside:
        named = ", ".join(dict.fromkeys(row.job.job for row in waiting))
        raise PickRefusal(
            f"Lot {lot.lot} has {quantity_text(lies)} on the shelf, {quantity_text(aside)} of it set aside for "
            f"{named}: take another lot, or let the planner free it."
        )


def give(
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

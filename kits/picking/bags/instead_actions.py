"""Another part put into the bag of a job in the place of the one that its lists ask for."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import hold_marks, mark_shop
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.picking.bags.giving import give, job_and_lot, refuse_set_aside, refuse_unfit, refuse_untrained_hand
from kits.picking.bags.instead import lacking
from kits.picking.cautions.unsuited import refuse_unsuited, unsuited_pieces
from kits.picking.errors import PickRefusal
from kits.picking.stand_ins.allowed import may_stand_in
from kits.picking.words import CLASS_SAYS
from kits.picking.writes import bags_for
from kits.planning.queries import plan_now, today
from kits.schedule.models import Job
from kits.stock.ledger import OnShelf, WithJob, posted
from kits.stock.models import Lot, Posting, StandIn
from kits.stock.words import HeldAs, PostingKind


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
    _refuse_other_way(wanted, item)
    _refuse_class(job, wanted, item)
    with transaction.atomic(durable=True):
        hold_marks()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        _refuse_more(job, wanted, quantity)
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


def _refuse_other_way(wanted: Item, item: Item) -> None:
    """Refuse what nobody allowed, the other way round included."""
    if item.pk not in {other.pk for _, other in may_stand_in(wanted)}:
        raise PickRefusal(
            f"{item} is not allowed in the place of {wanted}: take what is, or ask the service lead, who keeps the "
            "list of substitutes."
        )


def _refuse_class(job: Job, wanted: Item, item: Item) -> None:
    if job.cleanliness != Cleanliness.NORMAL and item.cleanliness not in (job.cleanliness, wanted.cleanliness):
        is_of, asks = CLASS_SAYS[Cleanliness(item.cleanliness)], CLASS_SAYS[Cleanliness(wanted.cleanliness)]
        raise PickRefusal(f"{item} is {is_of}, and {wanted} for {job} is {asks}: take one of its class.")


def _refuse_more(job: Job, wanted: Item, quantity: int) -> None:
    """Refuse more than the bag lacks at this moment; the plan of it is asked for while nobody else writes."""
    lacks = lacking(plan_now(), job, wanted)
    if quantity > lacks:
        raise PickRefusal(
            f"The bag of {job} lacks {quantity_text(lacks)} of {wanted} by now, so {quantity_text(quantity)} cannot "
            "stand in: look at its bag again."
        )

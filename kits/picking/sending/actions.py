"""Jobs sent to the storeroom, and taken back: their lots set aside, and what they ask for kept as it was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import hold_marks, mark_shop
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.changes.actions import refuse_open_lines
from kits.picking.errors import PickRefusal
from kits.picking.models import SentJob, SentNeed, SentPiece
from kits.picking.sending.draft import SendingDraft, draft_sending
from kits.picking.writes import hold, release
from kits.planning.queries import plan_now
from kits.planning.words.states import in_words
from kits.schedule.models import Job
from kits.stock.lists.stand_ins import StandingIn
from kits.stock.models import Balance, Lot, Place
from kits.stock.words import HeldAs

OVERTAKEN = "What lies on the shelf has changed since the page was opened, so nothing was set aside: look at it anew."


def send_jobs(
    *, jobs: Sequence[Job], from_others: bool, seen: Sequence[str], by: User, at: datetime, key: str
) -> list[SentJob]:
    """Set aside for jobs what ``seen`` shows, keep what they ask for, and send them to the storeroom; once per key."""
    if not jobs:
        raise PickRefusal("No job is named, so nothing can be set aside: tick the jobs that are to be sent.")
    with transaction.atomic(durable=True):
        hold_marks()
        log_request(key)
        if earlier := list(SentJob.objects.filter(key=key)):
            return earlier
        gone = SentJob.objects.filter(job__in=[job.pk for job in jobs], back_at__isnull=True)
        if names := [str(name) for name in gone.values_list("job__job", flat=True)]:
            raise PickRefusal(f"{in_words(names)} was sent to the storeroom already: untick it, or take it back first.")
        draft = draft_sending(plan_now(), jobs, from_others=from_others)
        if draft.shows != tuple(seen):
            raise PickRefusal(OVERTAKEN)
        mark_shop()
        return _store(draft, by, at, key)


def _store(draft: SendingDraft, by: User, at: datetime, key: str) -> list[SentJob]:
    made = SentJob.objects.bulk_create(
        [SentJob(job=job, key=key, build_on=job.build_on, by=by, at=at) for job in draft.jobs]
    )
    sent = {one.job.job: one for one in made}
    parts = {part for asked in draft.asked.values() for part in asked} | {one.lot.part_number for one in draft.lines}
    items = dict(Item.objects.filter(part_number__in=parts).values_list("part_number", "pk"))
    lots = {
        (item, lot): pk
        for item, lot, pk in Lot.objects.filter(item__in=items.values()).values_list("item__part_number", "lot", "pk")
    }
    places = dict(Place.objects.values_list("place", "pk"))
    taken: dict[tuple[str, int, int], int] = defaultdict(int)
    for line in draft.lines:
        taken[line.job, lots[line.lot.part_number, line.lot.lot], places[line.lot.place]] += line.quantity
    SentPiece.objects.bulk_create(
        [
            SentPiece(sent=sent[job], lot_id=lot, place_id=place, quantity=quantity)
            for (job, lot, place), quantity in taken.items()
        ]
    )
    SentNeed.objects.bulk_create(
        [
            SentNeed(sent=sent[job], item_id=items[part], quantity=quantity)
            for job, asked in draft.asked.items()
            for part, quantity in asked.items()
        ]
    )
    hold((sent[job].job_id, lot, place, quantity) for (job, lot, place), quantity in taken.items())
    return made


def take_back_sending(*, sendings: Sequence[SentJob], by: User, at: datetime, key: str) -> int:
    """Take jobs back from the storeroom, once per key: what still lies on the shelf is set aside for them no more.

    Returns how many were taken back; what is in a bag already stays there.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        still = SentJob.objects.select_for_update().filter(pk__in=[one.pk for one in sendings], back_at__isnull=True)
        rows = list(still.order_by("pk").select_related("job"))
        if not rows:
            raise PickRefusal("These jobs were taken back by somebody else meanwhile.")
        for row in rows:
            refuse_open_lines(row.job, "taken back")
        bagged: dict[tuple[int, int], int] = defaultdict(int)
        in_bags = Balance.objects.of_jobs().filter(job__in=[row.job_id for row in rows], quantity__gt=0)
        in_bags = in_bags.exclude(state=HeldAs.EXTRA)  # what is given besides was set aside for nobody
        standing = StandingIn()
        for balance in in_bags.select_related("lot__item"):
            for counts_as, quantity in standing.of_balance(balance):
                if counts_as == balance.lot.item.part_number:  # what stands in was taken from what is free
                    bagged[balance.job_id or 0, balance.lot_id] += quantity
        holds = []
        for piece in SentPiece.objects.filter(sent__in=rows).select_related("sent").order_by("pk"):
            of = piece.sent.job_id, piece.lot_id
            in_bag = min(bagged[of], piece.quantity)
            bagged[of] -= in_bag
            holds.append((*of, piece.place_id or 0, piece.quantity - in_bag))
        release(holds)
        still.update(back_by=by, back_at=at)
        return len(rows)

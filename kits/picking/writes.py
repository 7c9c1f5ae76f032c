"""Stores of picking, inside a transaction only: a round as laid out, and what its open lines hold on the shelf."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from django.db.models import Max

from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.picking.clean_work import class_of_bag
from kits.picking.models import Bag, PickLine, PickNote, PickRound, PickShare, Walker
from kits.picking.rounds.layout import RoundDraft
from kits.picking.words import LineState, RoundState
from kits.schedule.models import Job
from kits.stock.models import Lot, Reservation

HeldPieces = tuple[int, int, int, int]
"""Job, lot, place, millionths."""


def store_round(draft: RoundDraft, *, for_what: str, as_of: date, by: User, at: datetime, key: str) -> PickRound:
    """Store a round as laid out and set its pieces aside for their jobs, which are all of one class."""
    made = PickRound.objects.create(
        key=key,
        for_what=for_what,
        cleanliness=draft.jobs[0].cleanliness,
        as_of=as_of,
        started_by=by,
        started_at=at,
    )
    walker = Walker.objects.create(pick_round=made, person=by) if by else None
    lines = PickLine.objects.bulk_create(
        [
            PickLine(
                pick_round=made,
                number=number,
                lot_id=line.lot_id,
                place_id=line.place_id,
                last_use_on=line.last_use_on,
                why=line.why,
                look_alike=line.look_alike,
                caution=line.caution,
                walker=walker,
            )
            for number, line in enumerate(draft.lines, 1)
        ]
    )
    drafts = [(line, share) for line, drawn in zip(lines, draft.lines, strict=True) for share in drawn.shares]
    bags = bags_for(draft.jobs, [(share.job_id, line.lot_id) for line, share in drafts])
    PickShare.objects.bulk_create(
        [
            PickShare(line=line, bag=bag, asked=share.asked, set_aside=share.set_aside)
            for (line, share), bag in zip(drafts, bags, strict=True)
        ]
    )
    PickNote.objects.bulk_create(
        [
            PickNote(
                pick_round=made,
                job_id=note.job_id,
                kind=note.kind,
                item_id=note.item_id,
                quantity=note.quantity,
                says=note.says,
            )
            for note in draft.notes
        ]
    )
    hold((share.job_id, line.lot_id, line.place_id, share.asked - share.set_aside) for line, share in drafts)
    return made


def bags_for(jobs: Sequence[Job], given: Sequence[tuple[int, int]]) -> list[Bag]:
    """The bag for each share, by job and lot; one that a job has already goes on, a new one gets the next number.

    What a clean job takes of its class goes into its clean bag, what it takes besides into another.
    """
    classes = dict(Lot.objects.filter(pk__in={lot for _, lot in given}).values_list("pk", "item__cleanliness"))
    asks = {job.pk: job.cleanliness for job in jobs}
    wanted = [(job, class_of_bag(asks[job], classes[lot])) for job, lot in given]
    found = {(bag.job_id, bag.cleanliness): bag for bag in Bag.objects.filter(job__in=asks)}
    last = Bag.objects.aggregate(last=Max("number"))["last"] or 0
    order = list(asks)
    missing = sorted(set(wanted) - set(found), key=lambda key: (order.index(key[0]), key[1] == Cleanliness.NORMAL))
    made = [Bag(job_id=job, cleanliness=kind, number=last + n) for n, (job, kind) in enumerate(missing, 1)]
    found |= {(bag.job_id, bag.cleanliness): bag for bag in Bag.objects.bulk_create(made)}
    return [found[key] for key in wanted]


def settle_line(
    line: PickLine, shares: Sequence[PickShare], picked: Mapping[int, int], state: LineState, at: datetime
) -> None:
    """Store what went into each bag, set nothing aside any more, and end the round with its last line."""
    for share in shares:
        share.picked = picked[share.pk]
    PickShare.objects.bulk_update(shares, ["picked"])
    release((share.bag.job_id, line.lot_id, line.place_id, share.asked) for share in shares)
    PickLine.objects.filter(pk=line.pk).update(state=state)
    _end_without_lines(line.pick_round_id, at)


def leave_lines(job: Job, at: datetime) -> None:
    """Leave the open lines of running rounds that are for this job alone, and end the rounds that have no other."""
    mine = PickShare.objects.filter(
        line__state=LineState.OPEN, line__pick_round__state=RoundState.RUNNING, bag__job=job
    )
    others = PickShare.objects.filter(line__in=mine.values("line")).exclude(bag__job=job)
    alone = dict(mine.exclude(line__in=others.values("line")).values_list("line", "line__pick_round"))
    PickLine.objects.filter(pk__in=alone).update(state=LineState.LEFT)
    for pick_round in sorted(set(alone.values())):
        _end_without_lines(pick_round, at)


def _end_without_lines(pick_round: int, at: datetime) -> None:
    if not PickLine.objects.filter(pick_round=pick_round, state=LineState.OPEN).exists():
        PickRound.objects.filter(pk=pick_round, state=RoundState.RUNNING).update(state=RoundState.FINISHED, ended_at=at)


def reopen_line(line: PickLine, shares: Sequence[PickShare]) -> None:
    """Open a line again and set its pieces aside; on a round that was given up it is left as not picked."""
    given_up = line.pick_round.state == RoundState.GIVEN_UP
    PickShare.objects.filter(line=line).update(picked=None, bag_scanned=False)
    PickLine.objects.filter(pk=line.pk).update(state=LineState.LEFT if given_up else LineState.OPEN, scanned="")
    if given_up:
        return
    hold((share.bag.job_id, line.lot_id, line.place_id, share.asked) for share in shares)
    PickRound.objects.filter(pk=line.pick_round_id, state=RoundState.FINISHED).update(
        state=RoundState.RUNNING, ended_at=None
    )


def hold(holds: Iterable[HeldPieces]) -> None:
    """Set pieces aside on the shelf for jobs, on top of what is set aside already."""
    added: dict[tuple[int, int], int] = defaultdict(int)
    places: dict[tuple[int, int], set[int]] = defaultdict(set)
    for job_id, lot_id, place_id, quantity in holds:
        added[job_id, lot_id] += quantity
        places[job_id, lot_id].add(place_id)
    found = _reservations(added)
    new = []
    for key, quantity in added.items():
        only: int | None = next(iter(places[key])) if len(places[key]) == 1 else None
        known = found.get(key)
        if known is not None:
            # A lot that is set aside at more than one place is set aside wherever it lies.
            same = only if known.place_id == only else None
            Reservation.objects.filter(pk=known.pk).update(quantity=known.quantity + quantity, place_id=same)
        elif quantity > 0:
            new.append(Reservation(job_id=key[0], lot_id=key[1], quantity=quantity, place_id=only))
    Reservation.objects.bulk_create(new)


def release(holds: Iterable[HeldPieces]) -> None:
    """Set no longer aside what was held for jobs; what is not held any more is passed over."""
    off: dict[tuple[int, int], int] = defaultdict(int)
    for job_id, lot_id, _, quantity in holds:
        off[job_id, lot_id] += quantity
    for key, known in _reservations(off).items():
        left = known.quantity - off[key]
        if left > 0:
            Reservation.objects.filter(pk=known.pk).update(quantity=left)
        else:
            Reservation.objects.filter(pk=known.pk).delete()


def _reservations(keys: Iterable[tuple[int, int]]) -> dict[tuple[int, int], Reservation]:
    """The reservations of these jobs and lots, locked in a fixed order."""
    wanted = set(keys)
    rows = (
        Reservation.objects.select_for_update()
        .filter(job__in={job_id for job_id, _ in wanted}, lot__in={lot_id for _, lot_id in wanted})
        .order_by("pk")
    )
    return {key: row for row in rows if (key := (row.job_id, row.lot_id)) in wanted}

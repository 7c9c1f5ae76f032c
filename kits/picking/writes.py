"""Stores of picking, inside a transaction only: a round as laid out, and what its open lines hold on the shelf."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from kits.people.models import User
from kits.picking.models import Bag, PickLine, PickNote, PickRound, PickShare
from kits.picking.round_layout import RoundDraft
from kits.picking.words import LineState, RoundState
from kits.schedule.models import Job
from kits.stock.models import Reservation

Hold = tuple[int, int, int, int]
"""Job, lot, place, millionths."""


def store_round(draft: RoundDraft, *, for_what: str, as_of: date, by: User, at: datetime, key: str) -> PickRound:
    """Store a round as laid out and set its pieces aside for their jobs."""
    made = PickRound.objects.create(key=key, for_what=for_what, as_of=as_of, started_by=by, started_at=at)
    bags = Bag.objects.bulk_create(
        [Bag(pick_round=made, job=job, number=number) for number, job in enumerate(draft.jobs, 1)]
    )
    bag_of = {bag.job_id: bag for bag in bags}
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
            )
            for number, line in enumerate(draft.lines, 1)
        ]
    )
    drafts = [(line, share) for line, drawn in zip(lines, draft.lines, strict=True) for share in drawn.shares]
    PickShare.objects.bulk_create(
        [
            PickShare(line=line, bag=bag_of[share.job_id], asked=share.asked, set_aside=share.set_aside)
            for line, share in drafts
        ]
    )
    PickNote.objects.bulk_create(
        [
            PickNote(
                pick_round=made,
                bag=bag_of[note.job_id],
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
    PickShare.objects.filter(line=line).update(picked=None)
    PickLine.objects.filter(pk=line.pk).update(state=LineState.LEFT if given_up else LineState.OPEN)
    if given_up:
        return
    hold((share.bag.job_id, line.lot_id, line.place_id, share.asked) for share in shares)
    PickRound.objects.filter(pk=line.pick_round_id, state=RoundState.FINISHED).update(
        state=RoundState.RUNNING, ended_at=None
    )


def hold(holds: Iterable[Hold]) -> None:
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


def release(holds: Iterable[Hold]) -> None:
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

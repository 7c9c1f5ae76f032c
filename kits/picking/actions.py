"""What people do in picking: start a round, confirm or reopen a line, give a round up."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from django.db import transaction

from bom.plan import Plan
from kits.catalog.caching.revisions import hold_marks, mark_shop
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.cautions.unsuited import refuse_unsuited, unsuited_compounds, unsuited_pieces
from kits.picking.clean_work import refuse_mixed, refuse_untrained
from kits.picking.errors import PickRefusal
from kits.picking.models import Confirmation, PickLine, PickRound, PickShare
from kits.picking.queries import held_on_rounds
from kits.picking.rounds.layout import RoundDraft, lay_out_round
from kits.picking.rounds.line_check import Damage, LineBooking, book_line, refuse_quiet_job, refuse_unscanned
from kits.picking.walkers.walking import refuse_other_hand
from kits.picking.words import LeftGoes, LineState, RoundState
from kits.picking.writes import release, reopen_line, settle_line, store_round
from kits.planning.queries import plan_now, today
from kits.planning.snapshot.shop import stamp_of
from kits.planning.words.states import in_words
from kits.schedule.models import Job
from kits.schedule.stages import is_done
from kits.service.quoting.queries import go_ahead_open
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, account_of, post, reverse
from kits.stock.models import Balance, Hold, Place, Posting
from kits.stock.packets import usable_packets
from kits.stock.words import Condition, Decides, PlaceKind, PostingKind

TRIES = 5


def start_round(*, jobs: Sequence[Job], by: User, at: datetime, key: str) -> PickRound:
    """Lay out a round from the plan of this moment, set its pieces aside, and return it; once per key."""
    if not jobs:
        raise PickRefusal("A round needs at least one job: tick the jobs that are to be picked.")
    for _ in range(TRIES):
        plan = plan_now()
        draft = _lay_out(plan, jobs, by)
        with transaction.atomic(durable=True):
            marks = hold_marks()
            log_request(key)
            if (earlier := PickRound.objects.filter(key=key).first()) is not None:
                return earlier
            # Somebody wrote while the round was laid out: its lots may be gone, so it is laid out anew.
            if stamp_of(marks) == plan.shop.stamp:
                return _store_draft(draft, plan.shop.as_of, by, at, key)
    with transaction.atomic(durable=True):
        # Others write faster than a round is laid out: now they wait for as long as that takes.
        hold_marks()
        log_request(key)
        if (earlier := PickRound.objects.filter(key=key).first()) is not None:
            return earlier
        plan = plan_now()
        return _store_draft(_lay_out(plan, jobs, by), plan.shop.as_of, by, at, key)


def confirm_line(
    *,
    line: PickLine,
    quantities: Mapping[int, int],
    by: User,
    at: datetime,
    request_key: str,
    reason: str = "",
    counted: int | None = None,
    damage: Damage | None = None,
) -> Confirmation:
    """Book what went into each job's bag (millionths by job), once per request key, and what the bin was found to hold.

    Pieces lie in the bag of their job until it is handed over. What is missing is set aside no longer, so that the plan
    asks for it anew, and what is damaged leaves the bin in one movement, so that nobody is sent to it again.
    """
    day = today()
    _refuse_unsuited_pieces(line, quantities)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(request_key)
        if (earlier := _booked_before(line, request_key)) is not None:
            return earlier
        line = _open_line(line)
        _refuse_hand(line, by)
        shares = tuple(line.shares.select_related("bag__job"))
        cage = Place.objects.filter(kind=PlaceKind.QUARANTINE).first()
        booking = book_line(
            line,
            shares,
            _usable_balances(line),
            quantities,
            counted=counted,
            damage=damage,
            cage_id=cage.pk if cage else None,
            reason=reason,
            today=day,
        )
        confirmation = Confirmation.objects.create(
            line=line,
            key=request_key,
            by=by,
            at=at,
            reason="; ".join(filter(None, (reason.strip(), booking.damage_says)))[:300],
            scanned=line.scanned,
            counted=counted,
            **_post_booking(booking, line, damage, _only_job(booking, shares), by, at, request_key),
        )
        settle_line(line, shares, booking.picked, LineState.SHORT if booking.short else LineState.FULL, at)
        return confirmation


def _refuse_hand(line: PickLine, by: User) -> None:
    """Refuse a line to who was not trained for its class or does not walk it, and one that wants a scan first."""
    refuse_untrained(by, line.pick_round.cleanliness, line.pick_round)
    refuse_other_hand(line, by)
    refuse_unscanned(line)


def _refuse_unsuited_pieces(line: PickLine, quantities: Mapping[int, int]) -> None:
    """Refuse what the fluid of a job forbids, before the lock is taken: it is read off the plan."""
    given = Job.objects.filter(pk__in=[job for job, quantity in quantities.items() if quantity])
    refuse_unsuited(unsuited_pieces(line.lot.item, list(given)))


def _booked_before(line: PickLine, request_key: str) -> Confirmation | None:
    earlier = Confirmation.objects.filter(key=request_key).first()
    if earlier is not None and earlier.undone_at is not None:
        raise PickRefusal(
            f"{line} was booked by this page and taken back since: open the round anew, look, and book it then."
        )
    return earlier


def _only_job(booking: LineBooking, shares: Iterable[PickShare]) -> Job | None:
    """The job that everything went to, None where several got some."""
    jobs = {share.bag.job for share in shares if booking.picked[share.pk]}
    return jobs.pop() if len(jobs) == 1 else None


def _post_booking(
    booking: LineBooking, line: PickLine, damage: Damage | None, job: Job | None, by: User, at: datetime, key: str
) -> dict[str, Posting | None]:
    """Post what a line comes to, the count first, by the field in which the confirmation keeps each."""
    return {
        "count": _post(booking.count, PostingKind.COUNT, by, at, f"{key}:count", booking.count_says),
        "damage": _post_damage(line, damage, booking, by, at, f"{key}:damage"),
        "pick": _post(booking.pick, PostingKind.PICK, by, at, f"{key}:pick", str(line), job),
        "opened": _post(booking.opened, PostingKind.MOVE, by, at, f"{key}:opened", "packet opened for a pick"),
    }


def undo_line(*, line: PickLine, by: User, at: datetime, request_key: str, reason: str = "") -> Confirmation:
    """Take back what was booked on a line, once per request key, and open the line again."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(request_key)
        if (earlier := Confirmation.objects.filter(undo_key=request_key).first()) is not None:
            if line.confirmations.filter(undone_at__isnull=True).exists():
                raise PickRefusal(
                    f"{line} was taken back by this page and booked anew since: open the round anew and look at it."
                )
            return earlier
        line = (
            PickLine.objects.select_for_update(of=("self",)).select_related("pick_round", "lot__item").get(pk=line.pk)
        )
        refuse_untrained(by, line.pick_round.cleanliness, line.pick_round)
        standing = (
            line.confirmations.filter(undone_at__isnull=True)
            .select_related("pick", "opened", "damage", "count")
            .first()
        )
        if standing is None:
            raise PickRefusal(f"Nothing is booked on {line}, so nothing can be taken back: look at the round again.")
        shares = tuple(line.shares.select_related("bag__job"))
        _refuse_closed(share.bag.job for share in shares if share.picked)
        says = reason.strip() or f"{line} taken back"
        if standing.pick is not None:
            _take_out_of_bags(line, standing.pick, shares, by, at, f"{request_key}:pick", says)
        if standing.opened is not None:
            _close_packet(standing, by, at, request_key, says)
        if standing.damage is not None:
            _take_damage_back(line, standing.damage, by, at, f"{request_key}:damage", says)
        if standing.count is not None:
            reverse(posting=standing.count, by=by, at=at, key=f"{request_key}:count", reason=says)
        Confirmation.objects.filter(pk=standing.pk).update(undone_by=by, undone_at=at, undo_key=request_key)
        reopen_line(line, shares)
        standing.refresh_from_db()
        return standing


def _take_out_of_bags(
    line: PickLine, pick: Posting, shares: Sequence[PickShare], by: User, at: datetime, key: str, reason: str
) -> None:
    try:
        reverse(posting=pick, by=by, at=at, key=key, reason=reason)
    except StockRefusal as error:
        bags = in_words([f"bag {share.bag.number}" for share in shares if share.picked])
        raise PickRefusal(
            f"{line} stays booked: what was picked on it does not lie in {bags} any more. Take the hand-over back "
            "first, or bring the pieces back from the bench."
        ) from error


def give_up_round(*, pick_round: PickRound, by: User, at: datetime, key: str = "") -> PickRound:
    """End a round whose open lines will not be walked: their pieces are free for the plan again."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        ended = PickRound.objects.filter(pk=pick_round.pk, state=RoundState.RUNNING).update(
            state=RoundState.GIVEN_UP, ended_at=at
        )
        if ended:
            still = PickShare.objects.filter(line__pick_round=pick_round, line__state=LineState.OPEN)
            shares = still.select_related("line", "bag")
            release((s.bag.job_id, s.line.lot_id, s.line.place_id, s.asked - s.set_aside) for s in shares)
            PickLine.objects.filter(pick_round=pick_round, state=LineState.OPEN).update(state=LineState.LEFT)
    pick_round.refresh_from_db()
    return pick_round


def _post(
    entries: Sequence[Entry], kind: PostingKind, by: User, at: datetime, key: str, reason: str, job: Job | None = None
) -> Posting | None:
    if not entries:
        return None
    return post(entries=entries, kind=kind, by=by, at=at, key=key, reason=reason, job=job)


def _lay_out(plan: Plan, jobs: Sequence[Job], by: User) -> RoundDraft:
    """A round for the jobs as they stand now, not as they stood on the page that was ticked."""
    standing = list(Job.objects.filter(pk__in=[job.pk for job in jobs]).order_by("build_on", "folded"))
    for job in standing:
        refuse_quiet_job(job)
        if says := go_ahead_open(job):
            raise PickRefusal(f"{job} cannot be picked yet: {says}. Write the go-ahead down on its quote first.")
    refuse_mixed(standing)
    refuse_untrained(by, standing[0].cleanliness, standing[0])
    refuse_unsuited(unsuited_compounds(plan, standing))
    return lay_out_round(plan, standing, held_on_rounds([job.pk for job in standing]))


def _store_draft(draft: RoundDraft, as_of: date, by: User, at: datetime, key: str) -> PickRound:
    if not draft.lines:
        raise PickRefusal(
            f"Nothing lies on the shelf to be picked for {in_words([job.job for job in draft.jobs])}: "
            "what they ask for is packed, ordered, or on another round."
        )
    mark_shop()
    named = in_words([job.job for job in draft.jobs], longest=6)
    return store_round(draft, for_what=named, as_of=as_of, by=by, at=at, key=key)


def _open_line(line: PickLine) -> PickLine:
    """The line, locked, or a refusal where it is not to be booked any more."""
    line = (
        PickLine.objects.select_for_update(of=("self",))
        .select_related("pick_round", "lot__item", "place")
        .get(pk=line.pk)
    )
    if line.pick_round.state == RoundState.GIVEN_UP:
        raise PickRefusal(f"Round {line.pick_round_id} was given up: start another for what is still asked for.")
    if line.state != LineState.OPEN:
        standing = line.confirmations.filter(undone_at__isnull=True).select_related("by").first()
        who = f" by {standing.by}" if standing and standing.by else ""
        raise PickRefusal(
            f"Line {line.number} of {line.pick_round} was booked already{who}: undo that first if it is wrong."
        )
    return line


def _post_damage(
    line: PickLine, damage: Damage | None, booking: LineBooking, by: User, at: datetime, key: str
) -> Posting | None:
    """Take what is damaged out of the bin; what goes into quarantine waits there for the service lead."""
    if damage is None:
        return None
    reason = f"{line}: {booking.damage_says}"[:500]
    if damage.goes == LeftGoes.SCRAP:
        return post(entries=booking.damaged, kind=PostingKind.SCRAP, by=by, at=at, key=key, reason=reason)
    Hold.objects.create(lot=line.lot, decides=Decides.LEAD, reason=reason, by=by, at=at)
    return post(entries=booking.damaged, kind=PostingKind.TO_QUARANTINE, by=by, at=at, key=key, reason=reason)


def _take_damage_back(line: PickLine, damage: Posting, by: User, at: datetime, key: str, reason: str) -> None:
    try:
        reverse(posting=damage, by=by, at=at, key=key, reason=reason)
    except StockRefusal as error:
        raise PickRefusal(
            f"{line} stays booked: what was found damaged on it does not lie in quarantine any more, somebody decided "
            "on it since. Take back what came of that first, or bring the picked pieces back from the bench."
        ) from error


def _usable_balances(line: PickLine) -> list[Balance]:
    """What lies there in packets that may be taken from, the opened ones first; locked."""
    packets = usable_packets(line.lot.item)
    found = Balance.objects.select_for_update().filter(
        lot=line.lot, place=line.place, job__isnull=True, condition=Condition.USABLE, packet__in=packets
    )
    return sorted(found.order_by("pk"), key=lambda balance: packets.index(balance.packet))


def _close_packet(standing: Confirmation, by: User, at: datetime, key: str, reason: str) -> None:
    """Take back that a packet was opened, unless pieces went from it since: then what came back lies in it, opened."""
    assert standing.opened is not None, "asked only where a packet was opened"
    try:
        reverse(posting=standing.opened, by=by, at=at, key=f"{key}:opened", reason=reason)
    except StockRefusal:
        sealed, opened = (
            account_of(movement.balance)
            for movement in standing.opened.movements.select_related("balance").order_by("quantity")
        )
        came_back = (
            sum(
                -movement.quantity
                for movement in standing.pick.movements.select_related("balance")
                if account_of(movement.balance) == sealed
            )
            if standing.pick
            else 0
        )
        _post((Entry(sealed, -came_back), Entry(opened, came_back)), PostingKind.MOVE, by, at, f"{key}:back", reason)


def _refuse_closed(jobs: Iterable[Job]) -> None:
    for job in jobs:
        if is_done(job.stage):
            raise PickRefusal(
                f"{job} is {job.get_stage_display().lower()}, so its bag is decided upon: open the job again first, "
                "or move stock in the storeroom instead."
            )

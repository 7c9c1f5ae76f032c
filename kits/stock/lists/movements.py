"""Movements as they are read: when, who, what, where, why; which of them may be taken back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Q
from django.utils import timezone

from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.stock.lists.words import KIND_SAYS, account_says
from kits.stock.models import Lot, Movement, Posting
from kits.stock.words import PostingKind

DAYS_SHOWN = 30
BENCH_KEY, ROUND_KEY = "bench:", "line:"
"""How the keys begin of what came back from the bench, and of what was booked on a pick round."""
TAKEN_BACK_ANYWHERE = frozenset(
    {
        PostingKind.RECEIVE,
        PostingKind.COUNT,
        PostingKind.MOVE,
        PostingKind.ADJUST,
        PostingKind.OPEN_PACKET,
        PostingKind.CLOSE_PACKET,
        PostingKind.RELEASE,
        PostingKind.DISPOSE,
    }
)
"""Kinds that stand for themselves. What belongs to a round, a job's end, a kit or a suspicion is taken back there."""


@dataclass(frozen=True, slots=True)
class MovementRow:
    """What one posting did to one account."""

    posting: int
    at: datetime
    by: str
    kind: str
    part_number: str
    item_kind: str
    lot: str
    lot_id: int
    where: str
    change: Amount
    sign: str
    job: str
    reason: str
    standing: str  # "", "taken back", "takes back"
    may_be_taken_back: bool


@dataclass(frozen=True, slots=True)
class MovementFilter:
    """Which movements are asked for; ``since`` and ``until`` are days, both included."""

    part: str = ""
    lot: str = ""
    place: str = ""
    job: str = ""
    kind: str = ""
    by: str = ""
    since: date | None = None
    until: date | None = None

    @property
    def narrow(self) -> bool:
        """Whether a part, lot, place or job is named."""
        return bool(self.part or self.lot or self.place or self.job)


def movement_rows(asked: MovementFilter, *, today: date) -> list[MovementRow]:
    """The movements asked for, the last first; of all parts and places only those of the last days; one statement."""
    since = asked.since
    if since is None and not asked.narrow:
        since = (asked.until or today) - timedelta(days=DAYS_SHOWN)
    found = Q()
    if asked.part:
        found &= Q(balance__lot__item__folded=fold(asked.part))
    if asked.lot:
        found &= Q(balance__lot__folded=fold(asked.lot))
    if asked.place:
        found &= Q(balance__place__folded=fold(asked.place))
    if asked.job:
        found &= Q(balance__job__folded=fold(asked.job)) | Q(posting__job__folded=fold(asked.job))
    if asked.kind in PostingKind.values:
        found &= Q(posting__kind=asked.kind)
    if asked.by:
        found &= Q(posting__by__username=asked.by)
    if since:
        found &= Q(posting__at__gte=_starts(since))
    if asked.until:
        found &= Q(posting__at__lt=_starts(asked.until + timedelta(days=1)))
    return _rows(found)


def item_movements(item: Item, most: int) -> list[MovementRow]:
    """The last movements of one item; one statement."""
    return _rows(Q(balance__lot__item=item), most)


def lot_movements(lot: Lot) -> list[MovementRow]:
    """All movements of one lot; one statement."""
    return _rows(Q(balance__lot=lot))


def may_be_taken_back(posting: Posting, *, reversed_already: bool) -> bool:
    """Whether a posting may be taken back by itself."""
    if reversed_already or posting.key.startswith(ROUND_KEY):
        return False
    kind = PostingKind(posting.kind)
    if kind in (PostingKind.SCRAP, PostingKind.TO_QUARANTINE):
        return posting.job_id is None or posting.key.startswith(BENCH_KEY)
    if kind == PostingKind.RETURN_TO_LOT:
        return posting.key.startswith(BENCH_KEY)
    return kind in TAKEN_BACK_ANYWHERE


def reason_says(posting: Posting) -> str:
    """Why, with what a reversal takes back."""
    takes_back = f"takes back posting {posting.reverses_id}" if posting.reverses_id else ""
    return ": ".join(filter(None, (takes_back, posting.reason)))


def _rows(found: Q, most: int | None = None) -> list[MovementRow]:
    movements = (
        Movement.objects.filter(found)
        .select_related(
            "posting__by",
            "posting__job",
            "posting__reversed_by",
            "balance__lot__item",
            "balance__place",
            "balance__job",
        )
        .order_by("-posting_id", "id")
    )
    return list(_shown(movements[:most] if most else movements))


def _shown(movements: Iterable[Movement]) -> Iterable[MovementRow]:
    for movement in movements:
        posting, lot = movement.posting, movement.balance.lot
        is_reversed = hasattr(posting, "reversed_by")
        yield MovementRow(
            posting=posting.pk,
            at=posting.at,
            by=(posting.by.get_full_name() or posting.by.username) if posting.by else "",
            kind=KIND_SAYS[PostingKind(posting.kind)],
            part_number=lot.item.part_number,
            item_kind=lot.item.kind,
            lot=lot.lot,
            lot_id=lot.pk,
            where=account_says(movement.balance),
            change=Amount.of(movement.quantity, lot.item.stock_unit),
            sign="+" if movement.quantity > 0 else "",
            job=posting.job.job if posting.job else movement.balance.job.job if movement.balance.job else "",
            reason=reason_says(posting),
            standing="taken back" if is_reversed else "takes back" if posting.reverses_id else "",
            may_be_taken_back=may_be_taken_back(posting, reversed_already=is_reversed),
        )


def _starts(on: date) -> datetime:
    return timezone.make_aware(datetime.combine(on, time.min))

"""Movements as they are read: when, who, what, where, why; which of them may be taken back."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import Any

from django.db.models import Case, CharField, F, Q, QuerySet, Value, When
from django.db.models.functions import Coalesce, Concat, Lower, NullIf, Trim

from kits.catalog.amounts import Amount
from kits.catalog.days.moments import start_of
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.stock.lists.words import KIND_SAYS, account_says
from kits.stock.models import Lot, Movement, Posting
from kits.stock.words import PostingKind

DAYS_SHOWN = 30
MOST_OF_A_POSTING = 200
AT_ONCE = 1000
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


class MovementList:
    """Movements that were asked for: counted, sorted and cut into pages by the database, one statement each."""

    def __init__(self, found: Q, sort: str = "") -> None:
        self._found, self._sort = found, sort

    def sorted_by(self, sort: str) -> MovementList:
        """The same movements by a column of `SORTS`, downwards with a dash before it; blanks last either way."""
        return MovementList(self._found, sort)

    def count(self) -> int:
        """How many there are."""
        return Movement.objects.filter(self._found).count()

    def __len__(self) -> int:
        return self.count()

    def __getitem__(self, part: slice) -> list[MovementRow]:
        return list(_shown(_ordered(self._found, self._sort)[part]))

    def __iter__(self) -> Iterator[MovementRow]:
        return _shown(_ordered(self._found, self._sort))


def movement_rows(asked: MovementFilter, *, today: date) -> MovementList:
    """The movements asked for, the last first; of all parts and places only those of the last days."""
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
        found &= Q(posting__at__gte=start_of(since))
    if asked.until:
        found &= Q(posting__at__lt=start_of(asked.until + timedelta(days=1)))
    return MovementList(found)


def item_movements(item: Item, most: int) -> list[MovementRow]:
    """The last movements of one item; two statements."""
    return _rows(Q(balance__lot__item=item), most)


def lot_movements(lot: Lot, most: int) -> list[MovementRow]:
    """The last movements of one lot; two statements."""
    return _rows(Q(balance__lot=lot), most)


def posting_movements(posting: Posting) -> list[MovementRow]:
    """The movements of one posting; two statements."""
    return _rows(Q(posting=posting), MOST_OF_A_POSTING)


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


_FULL_NAME = NullIf(Trim(Concat("posting__by__first_name", Value(" "), "posting__by__last_name")), Value(""))
_KIND_SAYS = Case(
    *(When(posting__kind=kind, then=Value(says)) for kind, says in KIND_SAYS.items()), output_field=CharField()
)
_STANDING = Case(
    When(posting__reversed_by__isnull=False, then=Value("taken back")),
    When(posting__reverses__isnull=False, then=Value("takes back")),
    output_field=CharField(),
)
SORTS: dict[str, Any] = {
    "at": F("posting__at"),
    "kind": _KIND_SAYS,
    "part": F("balance__lot__item__folded"),
    "lot": F("balance__lot__folded"),
    "where": Coalesce("balance__place__folded", "balance__job__folded"),
    "change": F("quantity"),
    "job": Coalesce("posting__job__folded", "balance__job__folded"),
    "by": Lower(Coalesce(_FULL_NAME, "posting__by__username")),
    "reason": NullIf(Lower("posting__reason"), Value("")),
    "standing": _STANDING,
}
"""What the database sorts movements by, for each column of the list."""


def _rows(found: Q, most: int) -> list[MovementRow]:
    return list(_shown(_ordered(found)[:most]))


def _ordered(found: Q, sort: str = "") -> QuerySet[Movement]:
    movements = Movement.objects.filter(found).select_related(
        "posting__by",
        "posting__job",
        "balance__lot__item",
        "balance__place",
        "balance__job",
    )
    column = SORTS.get(sort.removeprefix("-"))
    if column is None:
        return movements.order_by("-posting_id", "id")
    by = F("sorts").desc(nulls_last=True) if sort.startswith("-") else F("sorts").asc(nulls_last=True)
    ordered: QuerySet[Movement] = movements.annotate(sorts=column).order_by(by, "-posting_id", "id")
    return ordered


def _shown(movements: QuerySet[Movement]) -> Iterator[MovementRow]:
    """The rows, and beside each thousand of them which were taken back: joined, that would be looked for in all."""
    rows = iter(movements)
    while some := list(islice(rows, AT_ONCE)):
        postings = Posting.objects.filter(reverses__in={movement.posting_id for movement in some})
        yield from _rows_of(some, set(postings.order_by().values_list("reverses_id", flat=True)))


def _rows_of(movements: Iterable[Movement], taken_back: Container[int | None]) -> Iterator[MovementRow]:
    for movement in movements:
        posting, lot = movement.posting, movement.balance.lot
        is_reversed = posting.pk in taken_back
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

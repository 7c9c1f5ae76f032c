"""The replies that came back, and the lines of one of them as a page shows them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Q, QuerySet

from kits.catalog.amounts import price_text
from kits.catalog.days.words import in_full
from kits.people.names import name_of
from kits.purchasing.models import Reply, ReplyLine, ReplyState, SupplierQuote

WORDS = (
    ("part", "Our number"),
    ("supplier", "Supplier"),
    ("refused", "Does not bid"),
    ("price", "Price per pack"),
    ("currency", "Currency"),
    ("breaks", "Price breaks"),
    ("pack", "Pack"),
    ("quantity", "Quantity"),
    ("promised", "Promised"),
    ("valid", "Valid to"),
    ("lead", "Lead, working days"),
    ("alternative", "Other number"),
    ("note", "Note"),
)
"""What a line may say, in the order in which it is shown."""

DAYS = frozenset({"promised", "valid", "needed"})
"""What of it is a day, kept as files write it."""


@dataclass(frozen=True, slots=True)
class ReplyRow:
    """One reply, with how many of its lines still wait."""

    pk: int
    file_name: str
    by: str
    at: datetime
    written_on: date | None
    lines: int
    open: int
    accepted: int


@dataclass(frozen=True, slots=True)
class Word:
    """One thing that a line says: before, and after it is accepted."""

    says: str
    before: str
    after: str
    asked: bool

    @property
    def is_silent(self) -> bool:
        """Whether an answer was asked for and none came."""
        return self.asked and not self.after

    @property
    def changes(self) -> bool:
        """Whether accepting it makes a difference."""
        return bool(self.after) and self.before != self.after


@dataclass(frozen=True, slots=True)
class ReplyLineRow:
    """One line of a reply."""

    pk: int
    where: str
    key: str
    part_number: str
    what: str
    words: tuple[Word, ...]
    short: str
    needed: str
    notes: tuple[str, ...]
    remarks: tuple[str, ...]
    asks: tuple[str, ...]
    answers: tuple[tuple[str, str], ...]
    is_plain: bool
    state: str
    outcome: str
    decided_by: str
    decided_at: datetime | None
    is_promise: bool

    @property
    def is_open(self) -> bool:
        """Whether nobody has decided about it."""
        return self.state == ReplyState.OPEN


@dataclass(frozen=True, slots=True)
class ReplySheet:
    """A reply with all its lines, the open ones first."""

    reply: ReplyRow
    remarks: tuple[str, ...]
    lines: tuple[ReplyLineRow, ...]
    to_order: tuple[tuple[str, int], ...]

    @property
    def plain(self) -> int:
        """How many open lines may be accepted together, since nothing stands beside them."""
        return sum(line.is_open and line.is_plain for line in self.lines)


def reply_list() -> tuple[ReplyRow, ...]:
    """Every reply, the latest first; one statement."""
    return tuple(_reply_row(reply) for reply in _counted())


def reply_sheet(number: int) -> ReplySheet | None:
    """One reply, or None where there is none, with how many of its quotes wait for an order; three statements."""
    reply = _counted().filter(pk=number).first()
    if reply is None:
        return None
    lines = [line_row(line) for line in ReplyLine.objects.filter(reply=reply).select_related("item", "decided_by")]
    lines.sort(key=lambda line: not line.is_open)
    waiting = SupplierQuote.objects.waiting().filter(reply_line__reply=reply).values_list("supplier__supplier")
    to_order = waiting.annotate(count=Count("pk")).order_by("supplier__folded")
    return ReplySheet(_reply_row(reply), tuple(reply.remarks), tuple(lines), tuple(to_order))


def find_reply_line(number: int) -> ReplyLine | None:
    """One line of a reply, or None where there is none."""
    return ReplyLine.objects.select_related("item", "decided_by", "reply").filter(pk=number).first()


def line_row(line: ReplyLine) -> ReplyLineRow:
    """A line as it is shown."""
    before, stated = line.before, line.stated
    return ReplyLineRow(
        pk=line.pk,
        where=f"{line.sheet}, row {line.row}",
        key=line.key,
        part_number=line.item.part_number if line.item else "",
        what=line.item.description if line.item else "",
        words=tuple(
            Word(says, _shown(name, before.get(name, "")), _shown(name, stated.get(name, "")), _asks(name, line))
            for name, says in WORDS
            if before.get(name) or stated.get(name)
        ),
        short=before.get("short", ""),
        needed=_shown("needed", before.get("needed", "")),
        notes=tuple(line.notes),
        remarks=tuple(line.remarks),
        asks=tuple(says for question in line.questions for says in question["says"]),
        answers=tuple(line.answers.items()),
        is_plain=line.is_plain,
        state=ReplyState(line.state).label.lower(),
        outcome=line.outcome,
        decided_by=name_of(line.decided_by),
        decided_at=line.decided_at,
        is_promise=line.sheet == "Expedite",
    )


def _shown(name: str, text: str) -> str:
    if text and name in DAYS:
        return in_full(date.fromisoformat(text))
    return price_text(Decimal(text)) if name == "price" and text else text


def _asks(name: str, line: ReplyLine) -> bool:
    """What the sheet asks the supplier: of an order only another day."""
    if "refused" in line.stated:
        return False
    return name == "promised" if line.sheet == "Expedite" else name in ("price", "quantity", "promised")


def _counted() -> QuerySet[Reply]:
    return (
        Reply.objects.defer("content")
        .select_related("by")
        .annotate(
            count=Count("lines"),
            waiting=Count("lines", filter=Q(lines__state=ReplyState.OPEN)),
            taken=Count("lines", filter=Q(lines__state=ReplyState.ACCEPTED)),
        )
        .order_by("-pk")
    )


def _reply_row(reply: Reply) -> ReplyRow:
    counts = vars(reply)
    return ReplyRow(
        pk=reply.pk,
        file_name=reply.file_name,
        by=name_of(reply.by),
        at=reply.at,
        written_on=reply.written_on,
        lines=counts["count"],
        open=counts["waiting"],
        accepted=counts["taken"],
    )

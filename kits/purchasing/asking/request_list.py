"""Requests as they are listed and read: how far each was answered, in words, and what it asks for line by line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.caching.late_rows import LateRows, QueryFacts
from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.catalog.rings.sizes import written_size
from kits.people.names import name_of
from kits.purchasing.models import PriceRequest, ReplyLine, ReplyState, RequestLine, Supplier


@dataclass(frozen=True, slots=True)
class RequestRow:
    """One request, with how many of its lines were answered; ``mark`` is the shape beside its state."""

    pk: int
    number: str
    supplier: str
    asked_on: date
    sent_on: date | None
    reply_by: date
    lines: int
    answered: int
    state: str
    mark: str


@dataclass(frozen=True, slots=True)
class AskedRow:
    """One line of a request, as the supplier reads it; ``key`` tells it from every other line of every request."""

    pk: int
    place: int
    key: str
    part_number: str
    supplier_part_number: str
    maker_code: str
    maker_number: str
    description: str
    inch: str
    metric: str
    compound: str
    hardness: str
    quantity: Amount
    unit: str
    packs: int
    pack_size: Decimal
    wanted_on: date | None
    oldest_cure: str
    with_certificate: bool
    note: str

    @property
    def packs_say(self) -> str:
        """The quantity in packs as the supplier sells them, where a pack is more than one piece or unit."""
        if self.pack_size == 1:
            return ""
        return f"{self.packs} pack{'' if self.packs == 1 else 's'} of {self.pack_size.normalize():f}"

    @property
    def details(self) -> str:
        """Size, compound, the maker's number and what else the pieces have to be, in one line."""
        size = " = ".join(filter(None, (self.inch, self.metric)))
        compound = " ".join(filter(None, (self.compound, self.hardness)))
        maker = " ".join(filter(None, (self.maker_code, self.maker_number)))
        parts = (
            size,
            compound,
            f"maker’s number {maker}" if self.maker_number else "",
            f"cured {self.oldest_cure} or later" if self.oldest_cure else "",
            "with certificate" if self.with_certificate else "",
            self.note,
        )
        return "; ".join(filter(None, parts))


@dataclass(frozen=True, slots=True)
class RequestSheet:
    """A request as a document: who asks whom, until when, and its lines. ``replies`` are those that answered it."""

    request: RequestRow
    shop_name: str
    shop_address: tuple[str, ...]
    shop_contact: tuple[str, ...]
    note: str
    made_by: str
    made_at: datetime
    sent_by: str
    currency: str
    lines: tuple[AskedRow, ...]
    replies: tuple[int, ...]
    is_withdrawn: bool


def request_list(*, today: date, supplier: str = "") -> Sequence[RequestRow]:
    """Requests, the latest first, to one supplier if asked; read page by page."""
    found = _counted()
    if supplier:
        found = found.filter(supplier__folded=fold(supplier))
    return LateRows(QueryFacts(found.order_by("-pk")), lambda request: request_row(request, today))


def suppliers_asked() -> tuple[str, ...]:
    """Who was asked so far; one statement."""
    names = Supplier.objects.filter(requests__isnull=False).distinct().order_by("folded")
    return tuple(names.values_list("supplier", flat=True))


def count_silent(today: date) -> int:
    """How many requests were sent, are past their day, and have no answer at all; one statement."""
    sent = PriceRequest.objects.filter(sent_on__isnull=False, withdrawn_at=None, reply_by__lt=today)
    heard = ReplyLine.objects.filter(asked_line__request=OuterRef("pk")).exclude(state=ReplyState.SET_ASIDE)
    return sent.filter(~Exists(heard)).count()


def request_sheet(number: str, today: date) -> RequestSheet | None:
    """One request as a document, or None where there is none of this number; four statements."""
    request = _counted().filter(folded=fold(number)).first()
    if request is None:
        return None
    settings = read_settings()
    lines = RequestLine.objects.filter(request=request).select_related("item", "request").order_by("place")
    replies = ReplyLine.objects.filter(asked_line__request=request).values_list("reply", flat=True)
    return RequestSheet(
        request=request_row(request, today),
        shop_name=settings.text("shop_name"),
        shop_address=_lines_of(settings.text("shop_address")),
        shop_contact=_lines_of(settings.text("shop_contact")),
        note=request.note,
        made_by=name_of(request.by),
        made_at=request.at,
        sent_by=name_of(request.sent_by),
        currency=request.supplier.currency or settings.currency,
        lines=tuple(asked_row(line) for line in lines),
        replies=tuple(sorted(set(replies))),
        is_withdrawn=request.withdrawn_at is not None,
    )


def request_row(request: PriceRequest, today: date) -> RequestRow:
    """A request as it is listed."""
    counts = vars(request)
    asked, answered = counts["asked"], counts["answered"]
    state, mark = _state(request, asked, answered, today)
    return RequestRow(
        pk=request.pk,
        number=request.number,
        supplier=request.supplier.supplier,
        asked_on=request.asked_on,
        sent_on=request.sent_on,
        reply_by=request.reply_by,
        lines=asked,
        answered=answered,
        state=state,
        mark=mark,
    )


def asked_row(line: RequestLine) -> AskedRow:
    """One line as the supplier reads it."""
    item, size = line.item, written_size(line.item.size)
    inch, metric = (size.inches, size.millimetres) if size else (item.size, "")
    return AskedRow(
        pk=line.pk,
        place=line.place,
        key=str(line),
        part_number=item.part_number,
        supplier_part_number=line.supplier_part_number,
        maker_code=item.maker_code,
        maker_number=item.maker_number,
        description=item.description,
        inch=inch,
        metric=metric,
        compound=item.material,
        hardness=item.hardness,
        quantity=Amount.of(line.quantity, item.stock_unit),
        unit=item.stock_unit,
        packs=line.packs,
        pack_size=Decimal(line.pack_size) / ONE,
        wanted_on=line.wanted_on,
        oldest_cure=line.oldest_cure,
        with_certificate=line.with_certificate,
        note=line.note,
    )


def _state(request: PriceRequest, asked: int, answered: int, today: date) -> tuple[str, str]:
    if request.withdrawn_at is not None:
        return "taken back", ""
    if answered >= asked:
        return "answered", "ready"
    if answered:
        return f"answered for {answered} of {asked} lines", "waiting"
    if request.sent_on is None:
        return "not sent yet", "waiting"
    if request.reply_by < today:
        return "no answer, past its day", "late"
    return "sent, no answer yet", "waiting"


def _counted() -> QuerySet[PriceRequest]:
    heard = Q(lines__reply_lines__isnull=False) & ~Q(lines__reply_lines__state=ReplyState.SET_ASIDE)
    return PriceRequest.objects.select_related("supplier", "by", "sent_by").annotate(
        asked=Count("lines", distinct=True), answered=Count("lines", filter=heard, distinct=True)
    )


def _lines_of(text: str) -> tuple[str, ...]:
    """A setting whose lines are parted by semicolons."""
    return tuple(part for one in text.split(";") if (part := one.strip()))

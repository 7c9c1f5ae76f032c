"""What is done with requests: made for one or several suppliers in one step, sent, taken back. Nothing is ordered."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.purchasing.models import Offer, PriceRequest, ReplyLine, RequestLine, Supplier


@dataclass(frozen=True, slots=True)
class WantedLine:
    """What is to be asked for: millionths, the day at our door, the oldest cure quarter that still serves."""

    item: Item
    why: str
    quantity: int
    wanted_on: date | None
    oldest_cure: str = ""
    note: str = ""


def make_requests(
    *,
    suppliers: Sequence[Supplier],
    lines: Sequence[WantedLine],
    only_offered: bool,
    reply_by: date,
    note: str,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> tuple[PriceRequest, ...]:
    """Make a request to each supplier, once, and return them.

    With ``only_offered`` a supplier is asked for the lines of which he has an offer on record, else for all of them.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        earlier = tuple(PriceRequest.objects.filter(key=key).select_related("supplier").order_by("pk"))
        if earlier:
            return earlier
        require_sheets(by, ["Offers"])
        _refuse_unfit(suppliers, lines, reply_by, today)
        offers = _offers_of(suppliers, lines)
        number, made = _last_number(), []
        for supplier in suppliers:
            known = offers.get(supplier.pk, {})
            asked = [line for line in lines if not only_offered or line.item.pk in known]
            if not asked:
                raise Refusal(
                    f"{supplier} has offered none of the ticked lines so far: take the supplier off, or ask for lines "
                    "that were never offered as well."
                )
            number += 1
            request = PriceRequest.objects.create(
                number=f"{read_settings().request_prefix}{number:04d}",
                supplier=supplier,
                asked_on=today,
                reply_by=reply_by,
                note=note.strip(),
                by=by,
                at=at,
                key=key,
            )
            for place, line in enumerate(asked, start=1):
                _asked_line(request, place, line, known.get(line.item.pk)).save()
            made.append(request)
        return tuple(made)


def mark_sent(*, request: int, sent_on: date, by: User, at: datetime, today: date, key: str) -> PriceRequest:
    """Say on which day a request was sent, once."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        require_sheets(by, ["Offers"])
        found = PriceRequest.objects.select_for_update().get(pk=request)
        if found.withdrawn_at is not None:
            raise Refusal(f"Request {found} was taken back: make a new one.")
        if found.sent_on is not None:
            return found
        if sent_on > today:
            raise Refusal(
                f"The day {in_full(sent_on)} is still to come (today is {in_full(today)}): say when it was sent."
            )
        if sent_on < found.asked_on:
            raise Refusal(f"Request {found} was made on {in_full(found.asked_on)}: it cannot have been sent before.")
        found.sent_on, found.sent_by = sent_on, by
        found.save(update_fields=["sent_on", "sent_by"])
        return found


def withdraw_request(*, request: int, by: User, at: datetime, key: str) -> PriceRequest:
    """Take a request back that nobody answered; its number is not given again."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        require_sheets(by, ["Offers"])
        found = PriceRequest.objects.select_for_update().get(pk=request)
        if ReplyLine.objects.filter(asked_line__request=found).exists():
            raise Refusal(f"Request {found} was answered: set the lines of the reply aside instead.")
        if found.withdrawn_at is None:
            found.withdrawn_at, found.withdrawn_by = at, by
            found.save(update_fields=["withdrawn_at", "withdrawn_by"])
        return found


def _refuse_unfit(suppliers: Sequence[Supplier], lines: Sequence[WantedLine], reply_by: date, today: date) -> None:
    if not suppliers:
        raise Refusal("No supplier was ticked, so nobody was asked: tick at least one.")
    if not lines:
        raise Refusal("No line was ticked, so nothing was asked: tick what to ask for.")
    if reply_by < today:
        raise Refusal(
            f"The day {in_full(reply_by)} to reply by has passed (today is {in_full(today)}): write a later one."
        )
    for line in lines:
        if line.quantity <= 0:
            raise Refusal(f"{line.item}: write how many to ask for, above 0.")


def _offers_of(suppliers: Sequence[Supplier], lines: Sequence[WantedLine]) -> dict[int, dict[int, Offer]]:
    """The latest offer of each supplier for each item: his number, and the packs as he sells them."""
    found: dict[int, dict[int, Offer]] = {}
    offers = Offer.objects.filter(
        supplier__in=[one.pk for one in suppliers], item__in=[line.item.pk for line in lines]
    ).order_by("-price_from_packs", "quoted_on", "pk")
    for offer in offers:
        found.setdefault(offer.supplier_id, {})[offer.item_id] = offer
    return found


def _asked_line(request: PriceRequest, place: int, line: WantedLine, offer: Offer | None) -> RequestLine:
    asked = RequestLine(
        request=request,
        place=place,
        item=line.item,
        why=line.why,
        quantity=line.quantity,
        wanted_on=line.wanted_on,
        oldest_cure=line.oldest_cure,
        with_certificate=line.item.certificate_needed,
        note=line.note.strip(),
    )
    if offer is not None:
        asked.pack_size, asked.supplier_part_number = offer.pack_size, offer.supplier_part_number
        packs = max(-(-line.quantity // offer.pack_size), offer.minimum_packs)
        asked.packs = -(-packs // offer.multiple_packs) * offer.multiple_packs
    else:
        asked.packs = -(-line.quantity // asked.pack_size)
    return asked


def _last_number() -> int:
    """The highest number given so far under the shop's own sign, whatever it was then."""
    prefix = fold(read_settings().request_prefix)
    pattern = re.compile(re.escape(prefix) + r"(\d{1,9})")
    used = PriceRequest.objects.filter(folded__startswith=prefix).values_list("folded", flat=True)
    return max((int(match[1]) for text in used if (match := pattern.fullmatch(text))), default=0)

"""What was booked in the storeroom, in the order in which it was booked: a feed by itself."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from ninja import Query, Router, Schema

from bom.values import ONE
from kits.api.door import require
from kits.api.marks import seen, state_of
from kits.api.reading.lists import Limit
from kits.api.refusals import REFUSALS
from kits.people.tokens.scopes import READ
from kits.stock.models import Movement, Posting

router = Router(tags=["Movements"])
LARGEST_NUMBER = 2**63 - 1
Number = Annotated[int, Query(ge=0, le=LARGEST_NUMBER, description="The posting up to which it is known already.")]


class MovementFacts(Schema):
    """What a posting added to one account, or took from it when below zero, in the stock unit of the part."""

    part_number: str
    lot: str
    quantity: float
    place: str | None
    condition: str | None
    packet: str | None
    job: str | None
    state: str | None


class PostingFacts(Schema):
    """One event of the storeroom. ``reverses`` is the posting that it takes back."""

    posting: int
    kind: str
    at: datetime
    by: str | None
    reason: str
    job: str | None
    reverses: int | None
    movements: list[MovementFacts]


class PostingPage(Schema):
    """Postings in the order in which they were booked; ``last`` is what to send as ``after`` next time."""

    postings: list[PostingFacts]
    last: int
    next: str | None


@router.get("/movements", response={200: PostingPage, 304: None, **REFUSALS})
def read_movements(request: HttpRequest, response: HttpResponse, after: Number = 0, limit: Limit = 200) -> Any:
    """The postings after the one given. Whoever sends the last one seen reads each posting once and misses none."""
    require(request, READ)
    if answer := seen(request, response, state_of("movements", after, limit)):
        return answer
    found = list(postings_told().filter(pk__gt=after).order_by("pk")[: limit + 1])
    shown, last = found[:limit], after
    if shown:
        last = shown[-1].pk
    address = f"{request.path}?{urlencode({'after': last, 'limit': limit})}" if len(found) > limit else None
    if address:
        response.headers["Link"] = f'<{address}>; rel="next"'
    return PostingPage(postings=tell_postings(shown), last=last, next=address)


def postings_told() -> Any:
    """Postings with all that is told of them, in two statements."""
    moved = Movement.objects.select_related("balance__lot__item", "balance__place", "balance__job")
    return Posting.objects.select_related("by", "job").prefetch_related(Prefetch("movements", moved))


def tell_postings(postings: Iterable[Posting]) -> list[PostingFacts]:
    """What is told of postings that were read with it."""
    return [
        PostingFacts(
            posting=one.pk,
            kind=one.kind,
            at=one.at,
            by=one.by.get_username() if one.by else None,
            reason=one.reason,
            job=one.job.job if one.job else None,
            reverses=one.reverses_id,
            movements=[_told(movement) for movement in one.movements.all()],
        )
        for one in postings
    ]


def _told(movement: Movement) -> MovementFacts:
    account = movement.balance
    return MovementFacts(
        part_number=account.lot.item.part_number,
        lot=account.lot.lot,
        quantity=movement.quantity / ONE,
        place=account.place.place if account.place else None,
        condition=account.condition or None,
        packet=account.packet or None,
        job=account.job.job if account.job else None,
        state=account.state or None,
    )

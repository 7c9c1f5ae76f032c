"""Which lots are under suspicion, which kits hold pieces of a lot, and what of it was frozen."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Q, QuerySet, Sum

from kits.catalog.caching.asked_often import ask_often
from kits.catalog.folding import fold
from kits.people.names import name_of
from kits.stock.models import KitPiece, Lot, Movement, Suspicion
from kits.stock.words import Condition, PostingKind


def lots_under_suspicion(besides: Suspicion | None = None) -> frozenset[int]:
    """Return the lots that may not be used, kits that hold pieces of them included; two statements."""
    named = set(ask_often(_named_now) if besides is None else _named_now().exclude(pk=besides.pk))
    return with_kits(named) if named else frozenset()


def _named_now() -> QuerySet[Suspicion, int]:
    return Suspicion.objects.filter(lifted_at__isnull=True).order_by().values_list("lot_id", flat=True)


def with_kits(lot_ids: Collection[int]) -> frozenset[int]:
    """Return lots and those of the kits that hold pieces of them, kits inside kits included; one statement."""
    rows = KitPiece.objects.filter(piece_lot__isnull=False, quantity__gt=0).order_by()
    return reached(lot_ids, rows.values_list("kit_lot_id", "piece_lot_id"))


def reached(lot_ids: Collection[int], holds: Iterable[tuple[int, int | None]]) -> frozenset[int]:
    """Follow pieces up into the kits that hold them."""
    above: dict[int, set[int]] = defaultdict(set)
    for kit_lot, piece_lot in holds:
        if piece_lot is not None:
            above[piece_lot].add(kit_lot)
    found, open_ends = set(lot_ids), list(lot_ids)
    while open_ends:
        new = above[open_ends.pop()] - found
        found |= new
        open_ends += new
    return frozenset(found)


def frozen_amounts(lot_ids: Collection[int]) -> dict[tuple[str, str, str, str], int]:
    """Return what freezing put into quarantine and still lies there, by part, lot, place and packet; one statement."""
    moved = Movement.objects.filter(
        balance__lot__in=lot_ids,
        balance__condition=Condition.QUARANTINE,
        posting__kind__in=(PostingKind.FREEZE, PostingKind.LIFT),
    )
    names = ("lot__item__part_number", "lot__lot", "place__place", "packet")
    rows = moved.order_by().values_list(*(f"balance__{name}" for name in names), "balance__quantity")
    return {
        (part, lot, place, packet): min(net, held)
        for part, lot, place, packet, held, net in rows.annotate(net=Sum("quantity"))
        if net > 0
    }


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """A suspicion as it is listed."""

    lot_id: int
    part_number: str
    what: str
    lot: str
    reason: str
    by: str
    at: datetime
    lifted_by: str
    lifted_at: datetime | None
    lift_reason: str


def suspicions() -> list[SuspectRow]:
    """Return all suspicions, those that stand on top; one statement."""
    rows = Suspicion.objects.select_related("lot__item", "by", "lifted_by")
    return [
        SuspectRow(
            lot_id=row.lot_id,
            part_number=row.lot.item.part_number,
            what=row.lot.item.description,
            lot=row.lot.lot,
            reason=row.reason,
            by=name_of(row.by),
            at=row.at,
            lifted_by=name_of(row.lifted_by),
            lifted_at=row.lifted_at,
            lift_reason=row.lift_reason,
        )
        for row in rows.order_by(F("lifted_at").asc(nulls_first=True), "-at", "-pk")
    ]


def lots_named(words: str) -> list[Lot]:
    """Return the lots whose code or part holds all the words, at most forty; one statement."""
    found = Lot.objects.select_related("item")
    for word in words.split():
        key = fold(word)
        found = found.filter(
            Q(folded__contains=key)
            | Q(item__folded__contains=key)
            | Q(maker_batch__icontains=word)
            | Q(certificate__icontains=word)
        )
    return list(found.order_by("item__folded", "folded")[:40]) if words.strip() else []


def standing_suspicion(lot: Lot) -> Suspicion | None:
    """Return the suspicion that a lot is under, None where there is none; one statement."""
    return Suspicion.objects.select_related("lot__item").filter(lot=lot, lifted_at__isnull=True).first()

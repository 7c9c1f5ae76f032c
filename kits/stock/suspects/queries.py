"""Which lots are under suspicion, and which kits hold pieces of a lot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable

from kits.stock.models import KitPiece, Suspicion


def lots_under_suspicion(besides: Suspicion | None = None) -> frozenset[int]:
    """Return the lots that may not be used, kits that hold pieces of them included; two statements."""
    still = Suspicion.objects.filter(lifted_at__isnull=True)
    if besides is not None:
        still = still.exclude(pk=besides.pk)
    named = set(still.order_by().values_list("lot_id", flat=True))
    return with_kits(named) if named else frozenset()


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

"""What planning has to know of packed kits: their last day by what is in them, and which are no whole kits."""

from __future__ import annotations

from datetime import date

from kits.catalog.caching.asked_often import ask_often
from kits.stock.last_use import last_use_day
from kits.stock.models import KitPiece, Lot


def kit_last_uses() -> dict[int, date]:
    """Return the earliest last day of the recorded pieces, by the kit's lot, kits in kits included; one statement."""
    rows = ask_often(
        lambda: (
            KitPiece.objects.filter(quantity__gt=0, piece_lot__isnull=False)
            .order_by()
            .values_list(
                "kit_lot_id",
                "piece_lot_id",
                "piece_lot__cure_on",
                "piece_lot__printed_last_use_on",
                "piece_lot__item__shelf_life_months",
            )
        )
    )
    pieces: dict[int, list[tuple[int, date | None]]] = {}
    for kit_lot, piece_lot, cure_on, printed_on, months in rows:
        pieces.setdefault(kit_lot, []).append((piece_lot, last_use_day(cure_on, printed_on, months)))
    found: dict[int, date | None] = {}
    for kit_lot in pieces:
        _work_out(kit_lot, pieces, found)
    return {kit_lot: day for kit_lot, day in found.items() if day is not None}


def kit_contents() -> dict[int, tuple[tuple[str, int], ...]]:
    """Return what is recorded of one kit, by the kit's lot: part numbers and millionths; one statement."""
    totals: dict[int, dict[str, int]] = {}
    rows = ask_often(
        lambda: KitPiece.objects.order_by("kit_lot_id", "item__folded", "pk").values_list(
            "kit_lot_id", "item__part_number", "quantity"
        )
    )
    for kit_lot, part_number, quantity in rows:
        inside = totals.setdefault(kit_lot, {})
        inside[part_number] = inside.get(part_number, 0) + quantity
    return {kit_lot: tuple(inside.items()) for kit_lot, inside in totals.items()}


def recorded_kits() -> dict[tuple[str, str], tuple[tuple[str, int], ...]]:
    """What kits really hold, by part number and lot; two statements."""
    contents = kit_contents()
    lots = Lot.objects.filter(pk__in=contents).order_by().values_list("pk", "item__part_number", "lot")
    return {(part, lot): contents[pk] for pk, part, lot in lots}


def kits_owed_pieces() -> frozenset[int]:
    """Return the lots of kits that were robbed and are no whole kits until that is put back; one statement."""
    return frozenset(
        ask_often(lambda: KitPiece.objects.filter(owed__gt=0).order_by().values_list("kit_lot_id", flat=True))
    )


def earliest(*days: date | None) -> date | None:
    """Return the earliest of some days, None where none is known."""
    return min((day for day in days if day is not None), default=None)


def _work_out(
    kit_lot: int, pieces: dict[int, list[tuple[int, date | None]]], found: dict[int, date | None]
) -> date | None:
    if kit_lot not in found:
        found[kit_lot] = None
        inside = (earliest(day, _work_out(lot, pieces, found)) for lot, day in pieces.get(kit_lot, ()))
        found[kit_lot] = earliest(*inside)
    return found[kit_lot]

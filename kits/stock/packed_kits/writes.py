"""Stores of packed kits, inside somebody's transaction: a lot for kits that hold the same, pieces by the lot."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf
from kits.stock.lot_codes import next_code
from kits.stock.models import Balance, KitPiece, Lot, Place
from kits.stock.packed_kits.contents import HeldPiece, KitRecord
from kits.stock.packed_kits.draws import Free
from kits.stock.packets import is_kept_sealed
from kits.stock.words import Condition, Packet, PlaceKind


def store_kit_lot(
    kit: Item, code: str, contents: KitRecord, *, today: date, owner: str = "", like: Lot | None = None
) -> Lot:
    """Make a lot for kits that hold the same; its printed last use is the earliest of its pieces.

    ``like`` is the lot that a changed kit was in: what is written on its bag of pieces whose lot nobody knows stands.
    """
    lot = Lot(item=kit, lot=code, received_on=today, owner=owner, made_here=True)
    if like is not None:
        lot.received_on, lot.owner = like.received_on, like.owner
        lot.maker_batch, lot.certificate = like.maker_batch, like.certificate
        if any(one.piece_lot is None for one in contents.there):
            lot.cure, lot.cure_on, lot.printed_last_use_on = like.cure, like.cure_on, like.printed_last_use_on
    lot.printed_last_use_on = contents.last_use_on(lot)
    lot.save()
    KitPiece.objects.bulk_create(
        KitPiece(kit_lot=lot, item=one.item, piece_lot=one.piece_lot, quantity=one.quantity, owed=one.owed)
        for one in contents.pieces
    )
    return lot


def code_behind(kit_lot: Lot) -> str:
    """Return a code for what becomes of a kit: that of its first lot and a number behind a stroke."""
    stem, stroke, number = kit_lot.lot.rpartition("/")
    return next_code(stem if stroke and number.isdecimal() else kit_lot.lot, "/")


def lot_of_piece(held: HeldPiece, kit_lot: Lot) -> Lot:
    """Return the lot that a piece out of a kit belongs to; where nobody knows it, one for all that these kits held."""
    if held.piece_lot is not None:
        return held.piece_lot
    known = Lot.objects.filter(item=held.item, out_of=kit_lot).first()
    last_use_on = kit_lot.last_use_on if held.item.shelf_life_months is not None else None
    if known is None:
        return Lot.objects.create(
            item=held.item,
            lot=code_behind(kit_lot),
            made_here=True,
            out_of=kit_lot,
            printed_last_use_on=last_use_on,
            received_on=kit_lot.received_on,
            maker_batch=kit_lot.maker_batch,
            certificate=kit_lot.certificate,
            owner=kit_lot.owner,
        )
    if known.last_use_on != last_use_on or fold(known.owner) != fold(kit_lot.owner):
        raise StockRefusal(
            f"Lot {known.lot} of {held.item}, which came out of {kit_lot} before, has another last use or owner than "
            "the kit: correct one of the two in the back office first."
        )
    return known


def out_of_the_bag(lot: Lot, place_id: int, condition: str) -> OnShelf:
    """Return the account of pieces that come out of a kit: in no maker's packet any more where that matters."""
    packet = Packet.RESEALED if is_kept_sealed(lot.item) else Packet.SEALED
    return OnShelf(lot.pk, place_id, condition, packet.value)


def homes(items: Collection[Item]) -> dict[int, int]:
    """Return the place to which loose pieces of each item go: the home bin, else where most of it lies."""
    places = {place.folded: place.pk for place in Place.objects.exclude(kind=PlaceKind.QUARANTINE)}
    found = {item.pk: places[fold(item.home_place)] for item in items if fold(item.home_place) in places}
    missing = [item for item in items if item.pk not in found]
    most: dict[int, int] = {}
    rows = Balance.objects.on_shelf().filter(lot__item__in=missing, condition=Condition.USABLE, quantity__gt=0)
    for item_id, place_id, quantity in (
        rows.exclude(place__kind=PlaceKind.QUARANTINE).order_by("pk").values_list("lot__item", "place", "quantity")
    ):
        if place_id is not None and quantity > most.get(item_id, 0):
            most[item_id], found[item_id] = quantity, place_id
    return found


def closed_again(shelf: Sequence[Free], taken: Collection[OnShelf]) -> list[Entry]:
    """What is left of sealed packets that were opened is closed again with a label: another account of the same lot."""
    entries: list[Entry] = []
    for account in dict.fromkeys(taken):
        lot = next(one.lot for one in shelf if one.account == account)
        if account.packet != Packet.SEALED or not is_kept_sealed(lot.item):
            continue
        rest = Balance.objects.get(
            lot_id=account.lot_id, place_id=account.place_id, condition=account.condition, packet=account.packet
        ).quantity
        if rest:
            closed = OnShelf(account.lot_id, account.place_id, account.condition, Packet.RESEALED.value)
            entries += [Entry(account, -rest), Entry(closed, rest)]
    return entries


PieceKey = tuple[int, int, int | None]
"""Kit lot, item, and the lot of its pieces where it is known."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """What one kit holds and is owed of one piece, in millionths."""

    quantity: int
    owed: int


def read_pieces() -> dict[PieceKey, Recorded]:
    """Return everything that is recorded of kits."""
    rows = KitPiece.objects.order_by().values_list("kit_lot_id", "item_id", "piece_lot_id", "quantity", "owed")
    return {(kit, item, lot): Recorded(quantity, owed) for kit, item, lot, quantity, owed in rows}


def set_pieces(wanted: Mapping[PieceKey, Recorded]) -> None:
    """Bring what is recorded of kits to what a list says of it; what the list does not name stays."""
    stored = {(row.kit_lot_id, row.item_id, row.piece_lot_id): row for row in KitPiece.objects.all()}
    new, changed = [], []
    for key, recorded in wanted.items():
        row = stored.get(key)
        if row is None:
            kit, item, lot = key
            new.append(
                KitPiece(kit_lot_id=kit, item_id=item, piece_lot_id=lot, quantity=recorded.quantity, owed=recorded.owed)
            )
        elif (row.quantity, row.owed) != (recorded.quantity, recorded.owed):
            row.quantity, row.owed = recorded.quantity, recorded.owed
            changed.append(row)
    KitPiece.objects.bulk_create(new, batch_size=500)
    KitPiece.objects.bulk_update(changed, ["quantity", "owed"], batch_size=500)


def remove_pieces(keys: Collection[PieceKey]) -> tuple[str, ...]:
    """Forget pieces of kits, and say what they were."""
    rows = [
        row
        for row in KitPiece.objects.select_related("kit_lot__item", "item", "piece_lot")
        if (row.kit_lot_id, row.item_id, row.piece_lot_id) in keys
    ]
    for start in range(0, len(rows), 500):
        KitPiece.objects.filter(pk__in=[row.pk for row in rows[start : start + 500]]).delete()
    return tuple(
        f"{row.kit_lot.item} / {row.kit_lot.lot} / {row.item}{f' / {row.piece_lot.lot}' if row.piece_lot else ''}"
        for row in rows
    )

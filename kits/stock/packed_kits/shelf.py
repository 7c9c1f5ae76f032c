"""What of the shelf may go into a kit: usable, long enough alive, in a packet that counts, and set aside for nobody."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import date

from bom.structure.packets import packet_bars
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.words import Cleanliness
from kits.schedule.models import Job
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Lot, Reservation
from kits.stock.packed_kits.draws import Free
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, PlaceKind


def free_pieces(
    kit: Item, items: Collection[Item], *, lives_to: date, job: Job | None = None, locked: bool = False
) -> list[Free]:
    """Return what may be packed, account by account; four statements, the balances locked where somebody will post."""
    found = Balance.objects.on_shelf().filter(lot__item__in=items, condition=Condition.USABLE, quantity__gt=0)
    found = found.exclude(place__kind=PlaceKind.QUARANTINE).select_related("lot__item", "place")
    # The order in which the ledger locks, so that nobody waits for somebody who waits for them.
    rows = list((found.select_for_update(of=("self",)) if locked else found).order_by("lot_id", "pk"))
    suspects = lots_under_suspicion()
    set_aside = _set_aside({row.lot_id for row in rows})
    return [
        free
        for row in rows
        if row.lot_id not in suspects and may_be_packed(kit, row, lives_to, job)
        if (free := _free(row, set_aside)).left > 0
    ]


def may_be_packed(kit: Item, row: Balance, lives_to: date, job: Job | None) -> bool:
    """Whether a piece of this balance may go into a kit that is built in on a day."""
    lot, item = row.lot, row.lot.item
    last_use_on = lot.last_use_on
    if last_use_on is None and item.shelf_life_months is not None:
        return False
    if last_use_on is not None and last_use_on < lives_to:
        return False
    if packet_bars(item, row.packet, clean_work=kit.cleanliness != Cleanliness.NORMAL):
        return False
    return not lot.owner or (job is not None and fold(job.customer) == fold(lot.owner))


def free_of_lot(lot: Lot, account: OnShelf) -> int:
    """Return what of one account is set aside for nobody, in millionths; two statements."""
    held = Balance.objects.on_shelf().filter(
        lot=lot, place_id=account.place_id, condition=account.condition, packet=account.packet
    )
    quantity = sum(held.values_list("quantity", flat=True))
    aside = _set_aside({lot.pk})
    return int(quantity) - aside.get((lot.pk, account.place_id), 0) - aside.get((lot.pk, None), 0)


def _set_aside(lot_ids: Collection[int]) -> dict[tuple[int, int | None], int]:
    totals: dict[tuple[int, int | None], int] = defaultdict(int)
    rows = Reservation.objects.filter(lot__in=lot_ids).values_list("lot_id", "place_id", "quantity")
    for lot_id, place_id, quantity in rows:
        totals[lot_id, place_id] += quantity
    return totals


def _free(row: Balance, set_aside: dict[tuple[int, int | None], int]) -> Free:
    assert row.place is not None, "only the shelf was asked for"
    left = row.quantity
    for key in ((row.lot_id, row.place.pk), (row.lot_id, None)):
        off = min(left, set_aside.get(key, 0))
        if off:
            set_aside[key] -= off
            left -= off
    account = OnShelf(row.lot_id, row.place.pk, row.condition, row.packet)
    return Free(account, row.lot, row.place.place, left, row.lot.last_use_on)

"""Which pieces go into which kit: of what lives to the build day, the earliest last use first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from kits.catalog.models import Item
from kits.stock.ledger import OnShelf
from kits.stock.models import Lot

PieceName = tuple[str, str, str, str]
"""Part, lot, place and packet: an account of the shelf as a plan names it."""


@dataclass(slots=True)
class Free:
    """What lies free in one account of the shelf; ``left`` is lowered as kits are filled."""

    account: OnShelf
    lot: Lot
    place: str
    left: int
    last_use_on: date | None


@dataclass(frozen=True, slots=True)
class LotDraw:
    """Millionths that one kit takes from one account."""

    free: Free
    quantity: int


@dataclass(frozen=True, slots=True)
class Alike:
    """Kits that hold the same lots: how many, and what each of them takes."""

    count: int
    draws: tuple[LotDraw, ...]

    @property
    def last_use_on(self) -> date | None:
        """The earliest last day of the pieces."""
        return min((day for draw in self.draws if (day := draw.free.last_use_on)), default=None)

    def by_lot(self) -> dict[Lot, int]:
        """Millionths of each lot in one kit."""
        totals: dict[Lot, int] = {}
        for draw in self.draws:
            totals[draw.free.lot] = totals.get(draw.free.lot, 0) + draw.quantity
        return totals


@dataclass(frozen=True, slots=True)
class PackLimit:
    """How many kits one part is enough for."""

    item: Item
    in_one: int
    free: int

    @property
    def kits(self) -> int:
        """Whole kits."""
        return self.free // self.in_one


def limits(wanted: Mapping[Item, int], shelf: Iterable[Free]) -> list[PackLimit]:
    """Return how many kits each part is enough for, the scarcest first."""
    free: dict[int, int] = {}
    for one in shelf:
        free[one.lot.item_id] = free.get(one.lot.item_id, 0) + one.left
    found = [PackLimit(item, quantity, free.get(item.pk, 0)) for item, quantity in wanted.items() if quantity]
    return sorted(found, key=lambda limit: (limit.kits, limit.item.folded))


def leave_kept(shelf: Iterable[Free], kept: Mapping[PieceName, int]) -> list[Free]:
    """Return the shelf without what is kept of it for others, account by account."""
    left = []
    for one in shelf:
        name = (one.lot.item.part_number, one.lot.lot, one.place, one.account.packet)
        rest = one.left - kept.get(name, 0)
        if rest > 0:
            left.append(replace(one, left=rest))
    return left


def fill_kits(wanted: Mapping[Item, int], shelf: Iterable[Free], count: int) -> list[Alike]:
    """Fill ``count`` kits one after the other and return them, alike ones together; the shelf is lowered.

    The shelf must hold enough: see `limits`.
    """
    order = sorted(shelf, key=_serving)
    kits: list[Alike] = []
    for _ in range(count):
        draws = tuple(draw for item, quantity in wanted.items() for draw in _take(item, quantity, order))
        same = [(draw.free.account, draw.quantity) for draw in draws]
        if kits and same == [(draw.free.account, draw.quantity) for draw in kits[-1].draws]:
            kits[-1] = Alike(kits[-1].count + 1, draws)
        else:
            kits.append(Alike(1, draws))
    return kits


def _serving(free: Free) -> tuple[object, ...]:
    """Earliest last use first; of one lot the opened packet first, so that it is used up."""
    last, received = free.last_use_on or date.max, free.lot.received_on or date.max
    return (last, received, free.lot.folded, free.account.packet == "sealed", free.place)


def _take(item: Item, quantity: int, order: Iterable[Free]) -> Iterable[LotDraw]:
    rest = quantity
    for free in order:
        off = min(rest, free.left) if free.lot.item_id == item.pk else 0
        if off:
            free.left -= off
            rest -= off
            yield LotDraw(free, off)

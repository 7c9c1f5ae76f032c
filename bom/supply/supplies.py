"""What there is: the shelf and the open orders, sorted in the order in which they are taken, and what is left out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, NamedTuple

import numpy as np

from bom.structure.arrays import LAST_DAY, Structure, day_number
from bom.structure.keys import fold, natural_key
from bom.structure.packets import packet_bars
from bom.structure.tables import Bools, Ints, Table, freeze
from bom.values import Issue, Item, Lot, OrderLine

IS_LOT, IS_ORDER = 0, 1


@dataclass
class SetAside:
    """What is reserved or bagged for one job: millionths still there, last day of use, place among the lots or -1.

    ``opened`` says that its packet was opened.
    """

    left: int
    last_day: int
    lot_place: int
    opened: bool = False


@dataclass(frozen=True)
class Counted(Table):
    """What lies there, lot by lot and bag by bag: item, last day of use, millionths."""

    item: Ints
    last_day: Ints
    quantity: Ints


@dataclass
class Supplies:
    """Usable lots and open order lines, sorted by item and then in the order in which they are taken.

    ``left`` is written to as pieces are served; everything else stands. ``arrives`` is a day number, ``last_day`` the
    last day of use. ``order_place`` points into the shop's order lines, ``lot_place`` into its lots, -1 for the other
    kind. ``opened`` marks lots whose packet was opened. ``set_aside`` holds what is reserved or bagged, by job number
    and item. ``usable_lots`` are places among the lots. ``counted`` is what ``on_hand`` is made of. By item:
    ``exacting`` has lots with an owner, ``has_opened`` lots whose packet was opened; ``clean`` is of a clean class, so
    that only sealed packets go into it (its last entry stands for "asked directly").
    """

    item: Ints
    left: Ints
    arrives: Ints
    last_day: Ints
    lot_place: Ints
    order_place: Ints
    overdue: Bools
    owner: tuple[str, ...]
    opened: Bools
    first: Ints
    set_aside: dict[tuple[int, int], list[SetAside]]
    usable_lots: tuple[int, ...]
    counted: Counted
    on_hand: Ints
    on_order: Ints
    left_out: dict[int, dict[str, int]]
    exacting: Bools
    has_opened: Bools
    clean: Bools

    def to_serve_from(self) -> Supplies:
        """The same, with what is left and what is set aside to be lowered piece by piece."""
        set_aside = {key: [replace(aside) for aside in held] for key, held in self.set_aside.items()}
        return replace(self, left=self.left.copy(), set_aside=set_aside)


def gather_supplies(
    structure: Structure,
    as_of: int,
    lots: Sequence[Lot],
    orders: Sequence[OrderLine],
    issues: Sequence[Issue],
    job_numbers: Mapping[str, int],
) -> Supplies:
    """Sort the shelf and the orders, and say what is left out and why.

    Parameters
    ----------
    structure : the compiled catalog
    as_of : day number of today
    lots : the shop's lots
    orders : open order lines
    issues : what is set aside, in bags or issued
    job_numbers : serving number of each job that asks for parts; what is reserved for others is left out
    """
    held = _read_lots(structure, lots)
    usable, left_out = _usable(structure, lots, held, as_of)
    aside = _SetAside(structure, lots, held, issues, job_numbers)
    aside.reserve(usable, left_out)
    bags = aside.fill_bags()
    counted = Counted(
        np.concatenate((held.item[usable], bags.item)),
        np.concatenate((held.last_day[usable], bags.last_day)),
        np.concatenate(((held.quantity - aside.for_others)[usable], bags.quantity)),
    )
    coming = _read_orders(structure, orders, as_of)
    on_hand, on_order = np.zeros(len(structure.items), np.int64), np.zeros(len(structure.items), np.int64)
    np.add.at(on_hand, counted.item, counted.quantity)
    np.add.at(on_order, coming.item, coming.quantity)
    in_turn = _in_turn(lots, orders, held, np.flatnonzero(usable & (aside.free > 0)), aside.free, coming, as_of)
    return Supplies(
        **in_turn,
        **_by_item(in_turn, len(structure.items)),
        clean=np.append(structure.item_class > 0, False),
        set_aside={key: sorted(of_job, key=_bag_first) for key, of_job in aside.by_job.items()},
        usable_lots=tuple(np.flatnonzero(usable).tolist()),
        counted=counted,
        on_hand=on_hand,
        on_order=on_order,
        left_out={item: dict(why) for item, why in left_out.items()},
    )


class _Held(NamedTuple):
    """The lots of the shop as columns; ``LAST_DAY`` where a day is not known."""

    item: Ints
    quantity: Ints
    last_day: Ints
    received: Ints
    opened: Bools


class _Coming(NamedTuple):
    """The order lines of the shop as columns; ``day`` is the promised day, today where that has passed."""

    item: Ints
    quantity: Ints
    promised: Ints
    day: Ints


def _read_lots(structure: Structure, lots: Sequence[Lot]) -> _Held:
    index, count = structure.index, len(lots)
    return _Held(
        item=np.fromiter([index[lot.part_number] for lot in lots], np.int64, count),
        quantity=np.fromiter([lot.quantity for lot in lots], np.int64, count),
        last_day=_day_numbers([lot.last_use for lot in lots]),
        received=_day_numbers([lot.received for lot in lots]),
        opened=np.fromiter([lot.packet != "sealed" for lot in lots], bool, count),
    )


def _read_orders(structure: Structure, orders: Sequence[OrderLine], as_of: int) -> _Coming:
    item = np.array([structure.index[line.part_number] for line in orders], np.int64)
    promised = _day_numbers([line.promised for line in orders])
    quantity = np.array([line.quantity for line in orders], np.int64)
    return _Coming(item, quantity, promised, np.maximum(promised, as_of))


def _usable(
    structure: Structure, lots: Sequence[Lot], held: _Held, as_of: int
) -> tuple[Bools, dict[int, dict[str, int]]]:
    """Which lots the plan may use, and how much of each item is left out for which reason."""
    limited = np.array([item.limited_life for item in structure.items], bool)
    doubtful = (limited[held.item] & (held.last_day == LAST_DAY)) | (held.last_day < as_of) | held.opened
    doubtful |= np.fromiter([lot.condition != "usable" for lot in lots], bool, len(lots))
    usable = np.ones(len(lots), bool)
    left_out: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for place in np.flatnonzero(doubtful).tolist():
        item = int(held.item[place])
        reason = reason_left_out(structure.items[item], lots[place], int(held.last_day[place]), as_of)
        if reason:
            usable[place] = False
            left_out[item][reason] += lots[place].quantity
    return usable, left_out


@dataclass
class _Reserved:
    """What is reserved, and how much of it, in millionths, is still to be found on the shelf."""

    issue: Issue
    left: int


class _SetAside:
    """What is reserved or bagged: for jobs that ask ``by_job``, the rest ``for_others``; ``free`` is what that leaves.

    The last two are in millionths, by the place of the lot.
    """

    def __init__(
        self,
        structure: Structure,
        lots: Sequence[Lot],
        held: _Held,
        issues: Sequence[Issue],
        job_numbers: Mapping[str, int],
    ) -> None:
        self.lots, self.held, self.issues = lots, held, issues
        self.index, self.job_numbers = structure.index, job_numbers
        self.by_job: dict[tuple[int, int], list[SetAside]] = defaultdict(list)
        self.free, self.for_others = held.quantity.copy(), np.zeros(len(lots), np.int64)
        named = {(issue.part_number, issue.lot) for issue in issues}
        places = [n for n, lot in enumerate(lots) if (lot.part_number, lot.lot) in named] if named else []
        self._places = sorted(places, key=lambda place: lot_turn(lots[place]))

    def reserve(self, usable: Bools, left_out: dict[int, dict[str, int]]) -> None:
        """Take what is reserved off the usable lots that it names."""
        wanted: dict[tuple[str, str], list[_Reserved]] = defaultdict(list)
        for issue in self.issues:
            if issue.state == "reserved":
                wanted[issue.part_number, issue.lot].append(_Reserved(issue, issue.quantity))
        for place in (place for place in self._places if usable[place]):
            lot, item = self.lots[place], int(self.held.item[place])
            for reservation in wanted.get((lot.part_number, lot.lot), ()):
                issue = reservation.issue
                if issue.place not in ("", lot.place):
                    continue
                taken = min(reservation.left, int(self.free[place]))
                self.free[place] -= taken
                reservation.left -= taken
                job = self.job_numbers.get(issue.job)
                if job is None:
                    left_out[item]["reserved"] += taken
                    self.for_others[place] += taken
                elif taken:
                    last_day, opened = int(self.held.last_day[place]), bool(self.held.opened[place])
                    self.by_job[job, item].append(SetAside(taken, last_day, place, opened))

    def fill_bags(self) -> Counted:
        """Set aside what lies in the bags of jobs that ask."""
        named = ((self.lots[place], self.held.last_day[place]) for place in sorted(self._places))
        last_days = {(lot.part_number, lot.lot): int(last_day) for lot, last_day in named}
        rows = []
        for issue in self.issues:
            if issue.state == "bagged" and issue.job in self.job_numbers:
                item = self.index[issue.part_number]
                last_day = last_days.get((issue.part_number, issue.lot), LAST_DAY)
                self.by_job[self.job_numbers[issue.job], item].append(SetAside(issue.quantity, last_day, -1))
                rows.append((item, last_day, issue.quantity))
        return Counted(*np.array(rows, np.int64).reshape(-1, 3).T)


def _bag_first(aside: SetAside) -> tuple[bool, int]:
    """What lies in the job's bag already goes before what is still on the shelf, there the earliest last use first."""
    return aside.lot_place >= 0, aside.last_day


def lot_turn(lot: Lot) -> tuple[str, bool, str]:
    """The turn of a lot among those of one last day and receipt: by code, opened packets first, then by place.

    Parameters
    ----------
    lot : as the shop has it
    """
    return lot.lot, lot.packet == "sealed", lot.place


def without_too_old(supplies: Supplies, first_build: Ints) -> Supplies:
    """The same, less what is on hand and dies before the first build day that asks for its item.

    Parameters
    ----------
    supplies : the shelf and the open orders
    first_build : first build day that asks for each item, shape (items,)
    """
    item, last_day, quantity = supplies.counted.columns()
    old = np.flatnonzero((last_day < first_build[item]) & (quantity > 0))
    on_hand, left_out = supplies.on_hand.copy(), dict(supplies.left_out)
    np.subtract.at(on_hand, item[old], quantity[old])
    for number, dead in zip(item[old].tolist(), quantity[old].tolist(), strict=True):
        reasons = left_out.get(number, {})
        left_out[number] = reasons | {"too_old": reasons.get("too_old", 0) + dead}
    found = replace(supplies, on_hand=on_hand, left_out=left_out)
    freeze(found)
    return found


def _in_turn(
    lots: Sequence[Lot], orders: Sequence[OrderLine], held: _Held, usable: Ints, free: Ints, coming: _Coming, as_of: int
) -> dict[str, Any]:
    """Supplies in the order in which they are taken: item by item, lots before orders, by their days, by name."""
    ordered = np.flatnonzero(coming.quantity > 0)
    kind = np.repeat((IS_LOT, IS_ORDER), (usable.size, ordered.size))
    place = np.concatenate((usable, ordered))
    item = np.concatenate((held.item[usable], coming.item[ordered]))
    days = np.concatenate((held.last_day[usable], coming.day[ordered]))
    received = np.concatenate((held.received[usable], np.zeros_like(ordered)))

    def name(row: int) -> Any:
        number = places[row]
        if row < usable.size:
            return lot_turn(lots[number])
        line = orders[number]
        return natural_key(line.order), natural_key(line.line)

    places = place.tolist()
    turn = _sorted_with_ties((item, kind, days, received), name)
    item, place, is_lot = item[turn], place[turn], kind[turn] == IS_LOT
    of_lots, of_orders = place[is_lot], place[~is_lot]
    owner = tuple(
        fold(lots[n].owner) if yes and lots[n].owner else ""
        for n, yes in zip(place.tolist(), is_lot.tolist(), strict=True)
    )
    return {
        "item": item,
        "left": _of_kind(is_lot, free[of_lots], coming.quantity[of_orders]),
        "arrives": _of_kind(is_lot, np.full(of_lots.size, as_of, np.int64), coming.day[of_orders]),
        "last_day": _of_kind(is_lot, held.last_day[of_lots], np.full(of_orders.size, LAST_DAY, np.int64)),
        "lot_place": np.where(is_lot, place, -1),
        "order_place": np.where(is_lot, -1, place),
        "overdue": _of_kind(is_lot, np.zeros(of_lots.size, bool), coming.promised[of_orders] < as_of),
        "owner": owner,
        "opened": _of_kind(is_lot, held.opened[of_lots], np.zeros(of_orders.size, bool)),
    }


def _by_item(in_turn: Mapping[str, Any], items: int) -> dict[str, Any]:
    """Where the supplies of each item begin, and which items have lots with an owner or an opened packet."""
    item = in_turn["item"]
    exacting, has_opened = np.zeros(items, bool), np.zeros(items, bool)
    exacting[item[np.fromiter(map(bool, in_turn["owner"]), bool, item.size)]] = True
    has_opened[item[in_turn["opened"]]] = True
    first = np.searchsorted(item, np.arange(items + 1)).astype(np.int64)
    return {"first": first, "exacting": exacting, "has_opened": has_opened}


def _of_kind(is_lot: Bools, of_lots: Any, of_orders: Any) -> Any:
    """One column of lots and order lines, each in their order."""
    column = np.empty(is_lot.size, of_lots.dtype)
    column[is_lot], column[~is_lot] = of_lots, of_orders
    return column


def _sorted_with_ties(keys: tuple[Ints, ...], name: Callable[[int], Any]) -> Ints:
    """Row numbers in the order of the keys, first key first; rows that are equal in all by name, then as they stand."""
    order = np.lexsort(keys[::-1])
    same = np.all([key[order][1:] == key[order][:-1] for key in keys], axis=0)
    begins = np.flatnonzero(same & ~np.append(False, same)[: same.size])
    ends = np.flatnonzero(same & ~np.append(same, False)[1:]) + 2
    rows = order.tolist()
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        rows[begin:end] = sorted(rows[begin:end], key=name)
    return np.array(rows, np.int64)


def _day_numbers(days: Sequence[date | None]) -> Ints:
    """The day numbers of dates, ``LAST_DAY`` for None."""
    return np.fromiter([LAST_DAY if on is None else day_number(on) for on in days], np.int64, len(days))


def reason_left_out(held: Item, lot: Lot, last_day: int, as_of: int) -> str:
    """The first reason that keeps a lot out of the plan; an empty text when nothing does.

    Parameters
    ----------
    held : the item
    lot : as the shop has it
    last_day : its last day of use, a day number
    as_of : day number of today
    """
    if lot.condition in ("quarantine", "owing"):
        return lot.condition
    if held.limited_life and lot.last_use is None:
        return "no_date"
    if last_day < as_of:
        return "expired"
    return "resealed" if packet_bars(held, lot.packet) else ""

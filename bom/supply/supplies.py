"""What there is: the shelf and the open orders, sorted in the order in which they are taken, and what is left out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from bom.structure.arrays import LAST_DAY, Bools, Ints, Structure, day_number
from bom.structure.keys import fold, natural_key
from bom.structure.packets import packet_bars
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


@dataclass
class Supplies:
    """Usable lots and open order lines, sorted by item and then in the order in which they are taken.

    ``left`` is written to as pieces are served; everything else stands. ``arrives`` is a day number, ``last_day`` the
    last day of use. ``order_place`` points into the shop's order lines, ``lot_place`` into its lots, -1 for the other
    kind. ``opened`` marks lots whose packet was opened. ``set_aside`` holds what is reserved or bagged, by job number
    and item. ``usable_lots`` are places among the lots. ``counted`` is what ``on_hand`` is made of, lot by lot and bag
    by bag: item, last day of use, millionths. By item: ``exacting`` has lots with an owner, ``has_opened`` lots whose
    packet was opened; ``clean`` is of a clean class, so that only sealed packets go into it (its last entry stands for
    "asked directly").
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
    counted: tuple[Ints, Ints, Ints]
    on_hand: Ints
    on_order: Ints
    left_out: dict[int, dict[str, int]]
    exacting: Bools
    has_opened: Bools
    clean: Bools


def gather_supplies(
    structure: Structure,
    as_of: int,
    lots: Sequence[Lot],
    orders: Sequence[OrderLine],
    issues: Sequence[Issue],
    job_numbers: Mapping[str, int],
) -> Supplies:
    """Sort the shelf and the orders, and say what is left out and why.

    ``job_numbers`` gives the serving number of each job that asks for parts; reservations for others are left out.
    """
    count = len(structure.items)
    on_order = np.zeros(count, np.int64)
    counted: list[tuple[int, int, int]] = []
    left_out: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    set_aside: dict[tuple[int, int], list[SetAside]] = defaultdict(list)
    reserved, last_days = _reservations(structure, lots, issues, job_numbers)
    rows: list[tuple[int, ...]] = []
    usable: list[int] = []
    turns, of_lots = _turns(lots)
    for place in of_lots:
        lot = lots[place]
        item = structure.index[lot.part_number]
        last = LAST_DAY if lot.last_use is None else day_number(lot.last_use)
        reason = reason_left_out(structure.items[item], lot, last, as_of)
        if reason:
            left_out[item][reason] += lot.quantity
            continue
        usable.append(place)
        opened = lot.packet != "sealed"
        free, kept = lot.quantity, 0
        for row in reserved.get((item, lot.lot), ()):
            if row.place not in ("", lot.place):
                continue
            taken = min(row.left, free)
            free -= taken
            row.left -= taken
            if row.job is None:
                left_out[item]["reserved"] += taken
                kept += taken
            elif taken:
                set_aside[row.job, item].append(SetAside(taken, last, place, opened))
        counted.append((item, last, lot.quantity - kept))
        received = LAST_DAY if lot.received is None else day_number(lot.received)
        if free > 0:
            rows.append((item, IS_LOT, last, received, turns[place], place, free, as_of, last, int(opened)))
    for issue in issues:
        if issue.state == "bagged" and issue.job in job_numbers:
            item = structure.index[issue.part_number]
            last = last_days.get((item, issue.lot), LAST_DAY)
            set_aside[job_numbers[issue.job], item].append(SetAside(issue.quantity, last, -1))
            counted.append((item, last, issue.quantity))
    of_orders = _order_rows(structure, orders, as_of)
    for item, *_, quantity, _, _, _ in of_orders:
        on_order[item] += quantity
    rows += [row for row in of_orders if row[6] > 0]
    of_item, last_days_counted, amounts = np.array(counted, np.int64).reshape(-1, 3).T
    on_hand = np.zeros(count, np.int64)
    np.add.at(on_hand, of_item, amounts)
    return Supplies(
        **_in_turn(rows, lots, orders, as_of, count),
        clean=np.append(structure.item_class > 0, False),
        set_aside={key: sorted(held, key=_bag_first) for key, held in set_aside.items()},
        usable_lots=tuple(sorted(usable)),
        counted=(of_item, last_days_counted, amounts),
        on_hand=on_hand,
        on_order=on_order,
        left_out={n: dict(why) for n, why in left_out.items()},
    )


def _bag_first(aside: SetAside) -> tuple[bool, int]:
    """What lies in the job's bag already goes before what is still on the shelf, there the earliest last use first."""
    return aside.lot_place >= 0, aside.last_day


def _turns(lots: Sequence[Lot]) -> tuple[list[int], list[int]]:
    """The turn of each lot among those of one last day and receipt: by code, opened packets first; and their order."""
    names = [(lot.lot, lot.packet == "sealed", lot.place) for lot in lots]
    ranks = _ranks(names)
    turns = [ranks[name] for name in names]
    return turns, sorted(range(len(lots)), key=turns.__getitem__)


def leave_out_too_old(supplies: Supplies, first_build: Ints) -> None:
    """Take from what is on hand all that dies before the first build day that asks for its item."""
    item, last_day, quantity = supplies.counted
    old = np.flatnonzero((last_day < first_build[item]) & (quantity > 0))
    np.subtract.at(supplies.on_hand, item[old], quantity[old])
    for number, dead in zip(item[old].tolist(), quantity[old].tolist(), strict=True):
        reasons = supplies.left_out.setdefault(number, {})
        reasons["too_old"] = reasons.get("too_old", 0) + dead


def _ranks(names: Sequence[Any]) -> dict[Any, int]:
    """The place of each name among the distinct ones."""
    return {name: number for number, name in enumerate(sorted(set(names)))}


def _order_rows(structure: Structure, orders: Sequence[OrderLine], as_of: int) -> list[tuple[int, ...]]:
    """Order lines in the columns of `_in_turn`."""
    keys = {text: natural_key(text) for line in orders for text in (line.order, line.line)}
    turns = _ranks([(keys[line.order], keys[line.line]) for line in orders])
    rows: list[tuple[int, ...]] = []
    for place, line in enumerate(orders):
        item, comes = structure.index[line.part_number], max(day_number(line.promised), as_of)
        turn = turns[keys[line.order], keys[line.line]]
        rows.append((item, IS_ORDER, comes, turn, 0, place, line.quantity, comes, LAST_DAY, 0))
    return rows


def _in_turn(
    rows: Sequence[tuple[int, ...]], lots: Sequence[Lot], orders: Sequence[OrderLine], as_of: int, items: int
) -> dict[str, Any]:
    """Supplies in the order in which they are taken: item, then lots before orders, then by the next four columns.

    The last four columns are quantity, day of arrival, last day of use, whether the packet was opened.
    """
    table: Ints = np.array(rows, np.int64).reshape(-1, 10).T
    item, kind, *_, place, left, arrives, last_day, opened = table[:, np.lexsort(table[5::-1])]
    lot_place, order_place = np.where(kind == IS_LOT, place, -1), np.where(kind == IS_ORDER, place, -1)
    owner = tuple(fold(lots[lot].owner) if lot >= 0 and lots[lot].owner else "" for lot in lot_place.tolist())
    exacting, has_opened = np.zeros(items, bool), np.zeros(items, bool)
    exacting[item[np.array([bool(name) for name in owner], bool)]] = True
    has_opened[item[opened > 0]] = True
    late = [line >= 0 and day_number(orders[line].promised) < as_of for line in order_place.tolist()]
    return {
        "item": item,
        "left": left.copy(),
        "arrives": arrives,
        "last_day": last_day,
        "lot_place": lot_place,
        "order_place": order_place,
        "overdue": np.array(late, bool),
        "owner": owner,
        "opened": opened > 0,
        "first": np.searchsorted(item, np.arange(items + 1)).astype(np.int64),
        "exacting": exacting,
        "has_opened": has_opened,
    }


@dataclass
class _Reserved:
    job: int | None
    place: str
    left: int


def _reservations(
    structure: Structure, lots: Sequence[Lot], issues: Sequence[Issue], job_numbers: Mapping[str, int]
) -> tuple[dict[tuple[int, str], list[_Reserved]], dict[tuple[int, str], int]]:
    """Reservations by item and lot, for jobs that ask (else None); and the last day of lots that issues name."""
    reserved: dict[tuple[int, str], list[_Reserved]] = defaultdict(list)
    named = {(structure.index[issue.part_number], issue.lot) for issue in issues}
    last_days = {
        key: day_number(lot.last_use) if lot.last_use else LAST_DAY
        for lot in lots
        if named and (key := (structure.index[lot.part_number], lot.lot)) in named
    }
    for issue in issues:
        if issue.state == "reserved":
            held = _Reserved(job_numbers.get(issue.job), issue.place, issue.quantity)
            reserved[structure.index[issue.part_number], issue.lot].append(held)
    return reserved, last_days


def reason_left_out(held: Item, lot: Lot, last_day: int, as_of: int) -> str:
    """The first reason that keeps a lot out of the plan; an empty text when nothing does."""
    if lot.condition in ("quarantine", "owing"):
        return lot.condition
    if held.limited_life and lot.last_use is None:
        return "no_date"
    if last_day < as_of:
        return "expired"
    return "resealed" if packet_bars(held, lot.packet) else ""

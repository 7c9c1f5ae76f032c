"""Supply against demand: which lot or order line serves which piece, and what is left uncovered.

Serving is first come, first served in the order need date, priority, build date, job; each piece takes lots that live
to its build day, earliest last use first, then order lines by the day they come. Where every lot outlives every build
day and every order comes early enough, pieces and supplies lie end to end on one line and a sorted merge of their ends
serves all items at once; the rest goes lot by lot.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np

from bom.demand.explosion import sorted_by
from bom.structure.arrays import FIRST_DAY, LAST_DAY, Bools, Ints, Structure, day_number
from bom.structure.calendar import ShopCalendar
from bom.structure.keys import fold, natural_key
from bom.structure.packets import packet_bars
from bom.values import Issue, Item, Lot, OrderLine

UNCOVERED, OWN, PACKED = -1, -2, -3
"""Supply numbers of what nothing serves, what was set aside for the job itself, what is packed or made here."""
NOBODY = -1
IS_LOT, IS_ORDER = 0, 1


@dataclass(frozen=True)
class Pieces:
    """What is asked, one row a piece: all that one job asks of one item along one way.

    ``job`` is a place in the serving order of jobs and other needs, ``NOBODY`` for planned wear. ``way`` is -1 for what
    is asked directly, else the item (kit, made assembly) whose packing asks for it; ``parent`` is that piece's number.
    ``condition`` is the row of the conditions that the contents of a packed piece must meet. Days are day numbers,
    ``quantity`` millionths.
    """

    item: Ints
    job: Ints
    quantity: Ints
    need_day: Ints
    build_day: Ints
    way: Ints
    parent: Ints
    wear: Bools
    condition: Ints

    @property
    def size(self) -> int:
        """Number of pieces."""
        return int(self.item.size)

    def take(self, chosen: Ints | Bools) -> Pieces:
        """The chosen pieces only."""
        return Pieces(*(getattr(self, column.name)[chosen] for column in fields(self)))


@dataclass(frozen=True)
class Draws:
    """Who takes what from where: piece number, supply number or ``UNCOVERED``, millionths.

    ``own_lot`` is the place, among the lots, of what was set aside on the shelf for the job; -1 for what lies in its
    bag, and for everything that is not its own.
    """

    piece: Ints
    supply: Ints
    quantity: Ints
    own_lot: Ints

    @classmethod
    def of_shelf(cls, piece: Ints, supply: Ints, quantity: Ints) -> Draws:
        """Draws of which none is on what was set aside."""
        return cls(piece, supply, quantity, np.full(piece.size, -1, np.int64))

    @classmethod
    def together(cls, parts: Sequence[Draws]) -> Draws:
        """All of several draws, one after the other."""
        empty = [np.zeros(0, np.int64)]
        columns = ([getattr(part, column.name) for part in parts] for column in fields(cls))
        return cls(*(np.concatenate(column or empty) for column in columns))

    def take(self, chosen: Ints | Bools) -> Draws:
        """The chosen draws only."""
        return Draws(*(getattr(self, column.name)[chosen] for column in fields(self)))


class Taker(NamedTuple):
    """Who takes a piece: the folded name of the customer, for lots with an owner; whether it goes into a clean kit."""

    customer: str = ""
    clean: bool = False


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


def who_fills(supplies: Supplies, taker: Taker, kit: int) -> Taker:
    """Who takes what goes into a kit."""
    return taker._replace(clean=bool(supplies.clean[kit]))


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


def in_turn(pieces: Pieces, rank: Ints) -> Pieces:
    """Pieces item by item in serving order; what is asked by the same job along one way stays as it stands.

    Parameters
    ----------
    rank : place of each item among the part numbers, shape (items + 1,); the last entry stands for "asked directly"
    """
    turn = np.where(pieces.wear, pieces.build_day, pieces.job)
    return pieces.take(sorted_by((pieces.item, pieces.need_day, turn, rank[pieces.way])))


def serve(supplies: Supplies, pieces: Pieces, numbers: Ints, takers: Sequence[Taker], latest: Ints) -> Draws:
    """Serve ``pieces`` (numbered ``numbers`` in the plan, and standing `in_turn`) from what is left.

    Parameters
    ----------
    takers : who takes, by job number
    latest : the last day on which what an order brings still serves each piece
    """
    wanted = pieces.quantity.copy()
    clean = supplies.clean[pieces.way]
    own = _serve_own(supplies, pieces, numbers, wanted, clean)
    step = np.zeros(supplies.exacting.size, bool)
    minds = (clean & supplies.has_opened[pieces.item]) | (pieces.build_day > _earliest_last_day(supplies, pieces.item))
    minds |= latest < _last_arrival(supplies, pieces.item)
    np.logical_or.at(step, pieces.item, minds)
    slow = (supplies.exacting | step)[pieces.item]
    parts = [own, _serve_end_to_end(supplies, pieces.item[~slow], wanted[~slow], numbers[~slow])]
    if slow.any():
        rest = pieces.take(slow), wanted[slow], numbers[slow]
        parts.append(_serve_lot_by_lot(supplies, *rest, takers, clean[slow], latest[slow]))
    return Draws.together(parts)


def take_from_lots(supplies: Supplies, item: int, quantity: int, build_day: int, taker: Taker) -> list[tuple[int, int]]:
    """Take ``quantity`` of one item from lots that live to ``build_day`` and may go to ``taker``.

    Returns supply numbers and millionths.
    """
    taken = []
    for supply in _lots_for(supplies, item, build_day, taker):
        part = min(quantity, int(supplies.left[supply]))
        if part:
            supplies.left[supply] -= part
            quantity -= part
            taken.append((supply, part))
    return taken


def free_on_lots(supplies: Supplies, item: int, build_day: int, taker: Taker) -> int:
    """What is left of one item on lots that live to ``build_day`` and may go to ``taker``, in millionths."""
    return sum(int(supplies.left[supply]) for supply in _lots_for(supplies, item, build_day, taker))


def _lots_for(supplies: Supplies, item: int, build_day: int, taker: Taker) -> list[int]:
    """Lots of one item that live to ``build_day`` and may go to ``taker``."""
    return [
        supply
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1]))
        if supplies.lot_place[supply] >= 0
        and supplies.last_day[supply] >= build_day
        and _may_go_to(supplies, supply, taker)
    ]


def _may_go_to(supplies: Supplies, supply: int, taker: Taker) -> bool:
    """A lot with an owner serves that customer only; into a clean kit go sealed packets only."""
    return supplies.owner[supply] in ("", taker.customer) and not (taker.clean and bool(supplies.opened[supply]))


def need_days(calendar: ShopCalendar, build_day: Ints, staging: Ints, today: int) -> Ints:
    """Build days moved back by ``staging`` working days, never before ``today`` (a working day)."""
    moved = calendar.back_all(build_day.astype("datetime64[D]"), staging)
    return np.maximum(moved.astype(np.int64), today)


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


def _earliest_last_day(supplies: Supplies, item: Ints) -> Ints:
    """Earliest last day of use among what is left of each item; far in the future where nothing dies."""
    earliest = np.full(supplies.exacting.size, LAST_DAY, np.int64)
    alive = supplies.left > 0
    np.minimum.at(earliest, supplies.item[alive], supplies.last_day[alive])
    return earliest[item]


def _last_arrival(supplies: Supplies, item: Ints) -> Ints:
    """The day on which the last of what is left of each item is here; long ago where nothing is left."""
    last = np.full(supplies.exacting.size, FIRST_DAY, np.int64)
    alive = supplies.left > 0
    np.maximum.at(last, supplies.item[alive], supplies.arrives[alive])
    return last[item]


def _serve_own(supplies: Supplies, pieces: Pieces, numbers: Ints, wanted: Ints, clean: Bools) -> Draws:
    """What lies in a job's own bag, or is reserved for it, serves that job first. ``wanted`` is lowered in place."""
    found: list[tuple[int, int, int, int]] = []
    if supplies.set_aside:
        jobs = np.unique(np.array([job for job, _ in supplies.set_aside], np.int64))
        for row in np.flatnonzero(np.isin(pieces.job, jobs)).tolist():
            key = (int(pieces.job[row]), int(pieces.item[row]))
            for aside in supplies.set_aside.get(key, ()):
                lives, barred = aside.last_day >= pieces.build_day[row], aside.opened and bool(clean[row])
                taken = min(aside.left, int(wanted[row])) if lives and not barred else 0
                if taken:
                    aside.left -= taken
                    wanted[row] -= taken
                    found.append((int(numbers[row]), OWN, taken, aside.lot_place))
    return Draws(*np.array(found, np.int64).reshape(-1, 4).T)


def _serve_end_to_end(supplies: Supplies, item: Ints, wanted: Ints, numbers: Ints) -> Draws:
    """Merge pieces and supplies that lie end to end, item after item, on one line; ``item`` is sorted."""
    start = np.flatnonzero(np.diff(item, prepend=-1))
    present = item[start]
    asked_for = np.zeros(supplies.exacting.size, bool)
    asked_for[present] = True
    rows = np.flatnonzero(asked_for[supplies.item] & (supplies.left > 0))
    supply_item = np.searchsorted(present, supplies.item[rows])
    stock = np.zeros(present.size, np.int64)
    np.add.at(stock, supply_item, supplies.left[rows])
    asked = np.add.reduceat(wanted, start)
    room = np.maximum(stock, asked)
    base = np.cumsum(room) - room
    piece_item = np.repeat(np.arange(present.size), np.diff(np.append(start, item.size)))
    piece_end = np.cumsum(wanted) - (np.cumsum(asked) - asked)[piece_item] + base[piece_item]
    supply_end = np.cumsum(supplies.left[rows]) - (np.cumsum(stock) - stock)[supply_item] + base[supply_item]
    ends = np.sort(
        np.concatenate((piece_end, supply_end, base)), kind="stable"
    )  # three sorted runs: merged, not sorted
    begins, ends = ends[:-1], ends[1:]
    piece = np.searchsorted(piece_end, ends)
    inside = np.minimum(piece, item.size - 1)
    begin_of_piece = piece_end[inside] - wanted[inside]
    real = (piece < item.size) & (begins >= begin_of_piece) & (begins < ends)
    begins, ends, inside = begins[real], ends[real], inside[real]
    supply = np.searchsorted(supply_end, ends)
    last = np.minimum(supply, rows.size - 1)
    served = (
        (supply < rows.size) & (begins >= supply_end[last] - supplies.left[rows][last])
        if rows.size
        else np.zeros(ends.size, bool)
    )
    source = np.full(ends.size, UNCOVERED, np.int64)
    source[served] = rows[last[served]]
    quantity = ends - begins
    np.subtract.at(supplies.left, source[served], quantity[served])
    return Draws.of_shelf(numbers[inside], source, quantity)


def _serve_lot_by_lot(
    supplies: Supplies, pieces: Pieces, wanted: Ints, numbers: Ints, takers: Sequence[Taker], clean: Bools, latest: Ints
) -> Draws:
    """The plain way: for items of which a lot or an order does not serve every piece.

    A lot may die before a build day, belong to somebody, or go into no clean kit; an order may come too late for wear.
    """
    found: list[tuple[int, int, int]] = []
    for row in range(pieces.size):
        item, rest, job = int(pieces.item[row]), int(wanted[row]), int(pieces.job[row])
        taker = Taker(takers[job].customer if job != NOBODY else "", bool(clean[row]))
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
            if rest == 0:
                break
            if not supplies.left[supply] or supplies.last_day[supply] < pieces.build_day[row]:
                continue
            if supplies.arrives[supply] > latest[row] or not _may_go_to(supplies, supply, taker):
                continue
            taken = min(rest, int(supplies.left[supply]))
            supplies.left[supply] -= taken
            rest -= taken
            found.append((int(numbers[row]), supply, taken))
        if rest:
            found.append((int(numbers[row]), UNCOVERED, rest))
    return Draws.of_shelf(*np.array(found, np.int64).reshape(-1, 3).T)

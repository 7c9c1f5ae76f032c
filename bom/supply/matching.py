"""Supply against demand: which lot or order line serves which piece, and what is left uncovered.

Serving is first come, first served in the order need date, priority, build date, job; each piece takes lots that live
to its build day, earliest last use first, then order lines by the day they come. Where every lot outlives every build
day and every order comes early enough, pieces and supplies lie end to end on one line and a sorted merge of their ends
serves all items at once; the rest goes lot by lot.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from bom.demand.askers import Taker
from bom.structure.arrays import FIRST_DAY, LAST_DAY
from bom.structure.calendar import ShopCalendar
from bom.structure.tables import Bools, Ints, Table, runs, sorted_by
from bom.supply.supplies import Supplies

UNCOVERED, OWN, PACKED = -1, -2, -3
"""Supply numbers of what nothing serves, what was set aside for the job itself, what is packed or made here."""
NOBODY = -1


@dataclass(frozen=True)
class Pieces(Table):
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


@dataclass(frozen=True)
class Draws(Table):
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
        """Draws of which none is on what was set aside.

        Parameters
        ----------
        piece : piece numbers
        supply : supply numbers
        quantity : millionths
        """
        return cls(piece, supply, quantity, np.full(piece.size, -1, np.int64))


def who_fills(supplies: Supplies, taker: Taker, kit: int) -> Taker:
    """Who takes what goes into a kit.

    Parameters
    ----------
    supplies : the shelf and the open orders
    taker : who takes the kit
    kit : its item number
    """
    return taker._replace(clean=bool(supplies.clean[kit]))


def in_turn(pieces: Pieces, rank: Ints) -> Pieces:
    """Pieces item by item in serving order; what is asked by the same job along one way stays as it stands.

    Parameters
    ----------
    pieces : of any items
    rank : place of each item among the part numbers, shape (items + 1,); the last entry stands for "asked directly"
    """
    turn = np.where(pieces.wear, pieces.build_day, pieces.job)
    return pieces.take(sorted_by((pieces.item, pieces.need_day, turn, rank[pieces.way])))


def serve(
    supplies: Supplies,
    pieces: Pieces,
    numbers: Ints,
    takers: Sequence[Taker],
    latest: Ints,
    kept: Callable[[Ints], tuple[Bools, Draws]] | None = None,
) -> Draws:
    """Serve ``pieces`` (numbered ``numbers`` in the plan, and standing `in_turn`) from what is left.

    Parameters
    ----------
    supplies : the shelf and the open orders
    pieces : what is asked for
    numbers : of the pieces in the plan
    takers : who takes, by job number
    latest : the last day on which what an order brings still serves each piece
    kept : gives, for what each piece wants beyond its own, those that are served anew, and the draws of the others

    Returns
    -------
    Draws in the order of the pieces, for each of them in the order in which it takes
    """
    clean = supplies.clean[pieces.way]
    own, wanted = _serve_own(supplies, pieces, numbers, clean)
    again, parts = np.ones(pieces.size, bool), [own]
    if kept is not None:
        again, as_before = kept(wanted)
        drawn = as_before.supply >= 0
        np.subtract.at(supplies.left, as_before.supply[drawn], as_before.quantity[drawn])
        parts.append(as_before)
    step = np.zeros(supplies.exacting.size, bool)
    minds = (clean & supplies.has_opened[pieces.item]) | (pieces.build_day > _earliest_last_day(supplies, pieces.item))
    minds |= latest < _last_arrival(supplies, pieces.item)
    np.logical_or.at(step, pieces.item, minds)
    slow = (supplies.exacting | step)[pieces.item]
    quick, slow = again & ~slow, again & slow
    parts.append(_serve_end_to_end(supplies, pieces.item[quick], wanted[quick], numbers[quick]))
    if slow.any():
        rest = pieces.take(slow), wanted[slow], numbers[slow]
        parts.append(_serve_lot_by_lot(supplies, *rest, takers, clean[slow], latest[slow]))
    found = Draws.together(parts)
    return found.take(np.argsort(found.piece, kind="stable"))


def take_from_lots(supplies: Supplies, item: int, quantity: int, build_day: int, taker: Taker) -> list[tuple[int, int]]:
    """Take ``quantity`` of one item from lots that live to ``build_day`` and may go to ``taker``.

    Returns supply numbers and millionths.

    Parameters
    ----------
    supplies : the shelf and the open orders
    item : number of the item
    quantity : millionths
    build_day : day number to which the lots must live
    taker : who takes it
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
    """What is left of one item on lots that live to ``build_day`` and may go to ``taker``, in millionths.

    Parameters
    ----------
    supplies : the shelf and the open orders
    item : number of the item
    build_day : day number to which the lots must live
    taker : who takes it
    """
    return sum(int(supplies.left[supply]) for supply in _lots_for(supplies, item, build_day, taker))


def _lots_for(supplies: Supplies, item: int, build_day: int, taker: Taker) -> list[int]:
    """Lots of one item that live to ``build_day`` and may go to ``taker``."""
    return [
        supply
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1]))
        if supplies.lot_place[supply] >= 0
        and supplies.last_day[supply] >= build_day
        and may_go_to(supplies, supply, taker)
    ]


def may_go_to(supplies: Supplies, supply: int, taker: Taker) -> bool:
    """A lot with an owner serves that customer only; into a clean kit go sealed packets only.

    Parameters
    ----------
    supplies : the shelf and the open orders
    supply : its number
    taker : who takes it
    """
    return supplies.owner[supply] in ("", taker.customer) and not (taker.clean and bool(supplies.opened[supply]))


def need_days(calendar: ShopCalendar, build_day: Ints, staging: Ints, today: int) -> Ints:
    """Build days moved back by ``staging`` working days, never before ``today`` (a working day).

    Parameters
    ----------
    calendar : the shop's working days
    build_day : day numbers
    staging : working days, element by element
    today : day number of a working day
    """
    moved = calendar.back_all(build_day.astype("datetime64[D]"), staging)
    return np.maximum(moved.astype(np.int64), today)


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


def _serve_own(supplies: Supplies, pieces: Pieces, numbers: Ints, clean: Bools) -> tuple[Draws, Ints]:
    """What lies in a job's own bag, or is reserved for it, serves that job first; and what each piece still wants."""
    found: list[tuple[int, int, int, int]] = []
    wanted = pieces.quantity.copy()
    if supplies.set_aside:
        width = supplies.exacting.size
        keys = np.array([job * width + item for job, item in supplies.set_aside], np.int64)
        for row in np.flatnonzero(np.isin(pieces.job * width + pieces.item, keys)).tolist():
            for aside in supplies.set_aside[int(pieces.job[row]), int(pieces.item[row])]:
                lives, barred = aside.last_day >= pieces.build_day[row], aside.opened and bool(clean[row])
                taken = min(aside.left, int(wanted[row])) if lives and not barred else 0
                if taken:
                    aside.left -= taken
                    wanted[row] -= taken
                    found.append((int(numbers[row]), OWN, taken, aside.lot_place))
    return Draws.of_rows(found), wanted


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
    columns = (numbers, wanted, pieces.build_day, latest, pieces.job, clean)
    rows = list(zip(*(column.tolist() for column in columns), strict=True))
    found: list[tuple[int, int, int]] = []
    for begin, end in runs(pieces.item):
        item = int(pieces.item[begin])
        first = int(supplies.first[item])
        here = slice(first, int(supplies.first[item + 1]))
        left, last_day, arrives = (part[here].tolist() for part in (supplies.left, supplies.last_day, supplies.arrives))
        for number, rest, build_day, until, job, into_clean in rows[begin:end]:
            taker = Taker(takers[job].customer if job != NOBODY else "", into_clean)
            for place, there in enumerate(left):
                if rest == 0:
                    break
                if not there or last_day[place] < build_day or arrives[place] > until:
                    continue
                if not may_go_to(supplies, first + place, taker):
                    continue
                taken = min(rest, there)
                left[place] -= taken
                rest -= taken
                found.append((number, first + place, taken))
            if rest:
                found.append((number, UNCOVERED, rest))
        supplies.left[here] = left
    return Draws.of_shelf(*np.array(found, np.int64).reshape(-1, 3).T)

"""Sums of many independent events for many items: how many pieces are enough up to and with each day.

The chances of a sum of independent counts are those of its parts, convolved. Chances below rounding at either end are
left out on the way, so that a sum takes no more room than it has values that may come.

SciPy's signals are loaded by the first sum that is large. Its statistics would take longer to load than most plans
take to make, so the two functions on which its binomial distribution stands are taken from beneath it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from bom.structure.tables import Bools, Floats, Ints, runs, spread

NOTHING = 1e-17
"""A chance that is lost in the rounding of one."""
TOLERANCE = 1e-12
DAY_SPAN = 10**7
"""More days than any calendar has: keeps the days of different items apart."""
SHORT = 64
"""Sums of so few values are not looked through for what may be left out."""
MANY_PRODUCTS = 1 << 20
"""From here on a convolution is quicker by way of a Fourier transform (measured)."""


@dataclass(frozen=True)
class Events:
    """Independent events, sorted by item and day: each of ``count`` asks for ``weight`` pieces with ``likely``."""

    item: Ints
    day: Ints
    weight: Ints
    likely: Floats
    count: Ints


@dataclass(frozen=True)
class Sum:
    """A sum that is already worked out and joins the events of its item and day: ``chances`` of 0, 1, 2... pieces."""

    item: int
    day: int
    chances: Floats


@dataclass(frozen=True)
class Covered:
    """One row an item and day: ``cover`` pieces are enough; ``enough`` holds each item's chances on its last day."""

    item: Ints
    day: Ints
    cover: Ints
    enough: dict[int, Floats]


class _Parts(NamedTuple):
    """What joins each row: the parts of row ``r`` are ``of_row[first[r]:first[r + 1]]``, places in the other lists.

    Part ``p`` has the chances ``turned[p]`` of ..., ``low[p]`` + 1, ``low[p]`` pieces: in reverse.
    """

    low: list[int]
    turned: list[Floats]
    of_row: list[int]
    first: list[int]


def cover_events(events: Events, sums: Sequence[Sum], how_sure: Floats) -> Covered:
    """Smallest numbers of pieces that are enough with chance ``how_sure`` (by item number), day after day.

    The numbers of one item never fall from one day to the next. Each of ``sums`` needs an event, if only one without
    chance, of its item and day.

    Parameters
    ----------
    events : independent of one another
    sums : sums that are already worked out
    how_sure : the chance asked for, by item number
    """
    new = np.ones(events.item.size, bool)
    new[1:] = (events.item[1:] != events.item[:-1]) | (events.day[1:] != events.day[:-1])
    item, day = events.item[new], events.day[new]
    row = np.cumsum(new) - 1
    mixed = _mixed(events, sums, how_sure.size)
    cover, enough = _cover_alike(events, row, item, mixed, how_sure)
    parts = _parts(events, row, item * DAY_SPAN + day, sums)
    for begin, end in runs(item):
        number = int(item[begin])
        if mixed[number]:
            cover[begin:end], enough[number] = _cover_days(parts, begin, end, float(how_sure[number]))
    return Covered(item, day, cover, enough)


def _mixed(events: Events, sums: Sequence[Sum], items: int) -> Bools:
    """For each item, whether its events differ in weight or chance, or sums join them."""
    mixed = np.zeros(items, bool)
    mixed[[one.item for one in sums]] = True
    for column in (events.weight, events.likely):
        differs = (column[1:] != column[:-1]) & (events.item[1:] == events.item[:-1])
        mixed[events.item[1:][differs]] = True
    return mixed


def _cover_alike(
    events: Events, row: Ints, item: Ints, mixed: Bools, how_sure: Floats
) -> tuple[Ints, dict[int, Floats]]:
    """Covers and chances of items whose events are all alike: what is found has the binomial distribution."""
    from scipy.special._ufuncs import _binom_ppf

    count = np.cumsum(np.bincount(row, events.count, item.size).astype(np.int64))
    first = np.searchsorted(item, item)
    count -= np.concatenate((np.zeros(1, np.int64), count))[first]
    of_row = np.searchsorted(row, np.arange(item.size))
    weight, likely = events.weight[of_row], events.likely[of_row]
    cover = np.zeros(item.size, np.int64)
    alike = np.flatnonzero(~mixed[item])
    sure = how_sure[item[alike]] - TOLERANCE
    cover[alike] = weight[alike] * _binom_ppf(sure, count[alike], likely[alike]).astype(np.int64)
    last = alike[np.append(item[alike][1:] != item[alike][:-1], True)] if alike.size else alike
    chances = binomials(weight[last], likely[last], count[last])
    enough = {number: np.minimum(np.cumsum(one), 1.0) for number, one in zip(item[last].tolist(), chances, strict=True)}
    return cover, enough


def _parts(events: Events, row: Ints, key: Ints, sums: Sequence[Sum]) -> _Parts:
    """The distinct chances of single events and of sums, and which of them join each row."""
    live = np.flatnonzero(events.likely > 0.0)
    weight, likely, count = events.weight[live], events.likely[live], events.count[live]
    like, kind = distinct_rows(weight, likely, count)
    known = binomials(weight[like], likely[like], count[like])
    place: dict[int, int] = {}
    for one in sums:
        if id(one.chances) not in place:
            place[id(one.chances)] = len(known)
            known.append(one.chances)
    low, chances = zip(*map(_trimmed, known), strict=True) if known else ((), ())
    of_sum = np.searchsorted(key, np.array([one.item * DAY_SPAN + one.day for one in sums], np.int64))
    rows = np.concatenate((row[live], of_sum))
    joining = np.concatenate((kind, np.array([place[id(one.chances)] for one in sums], np.int64)))
    turn = np.argsort(rows, kind="stable")
    first = np.searchsorted(rows[turn], np.arange(key.size + 1))
    turned = [one[::-1].copy() for one in chances]
    return _Parts(list(low), turned, joining[turn].tolist(), first.tolist())


def _cover_days(parts: _Parts, begin: int, end: int, sure: float) -> tuple[Ints, Floats]:
    """The cover of one item on each of its days, and the chances that 0, 1, 2... pieces are enough on the last."""
    low, total = 0, np.ones(1)
    lows, totals = [], []
    room = SHORT
    for row in range(begin, end):
        for part in parts.of_row[parts.first[row] : parts.first[row + 1]]:
            low += parts.low[part]
            total = convolved(total, parts.turned[part])
            if total.size > room:
                below, total = _trimmed(total)
                low += below
                room = max(SHORT, total.size * 5 // 4)
        lows.append(low)
        totals.append(total)
    sizes = [one.size for one in totals]
    table = np.zeros((end - begin, max(sizes)))
    for row, chances in enumerate(totals):
        table[row, : sizes[row]] = chances
    np.cumsum(table, axis=1, out=table)
    reached = table >= sure - TOLERANCE
    # Where rounding keeps a sum below what is asked for, all of it is needed.
    cover = np.array(lows) + np.where(reached[:, -1], reached.argmax(axis=1), np.array(sizes) - 1)
    enough = np.concatenate((np.zeros(low), np.minimum(table[-1, : total.size], 1.0)))
    return np.maximum.accumulate(cover), enough


def convolved(one: Floats, turned: Floats) -> Floats:
    """Chances of the sum of two independent counts, those of the second in reverse; `numpy.convolve` would turn it.

    Parameters
    ----------
    one : chances of 0, 1, 2... pieces
    turned : those of the other sum, last first
    """
    if one.size * turned.size < MANY_PRODUCTS:
        return np.correlate(one, turned, "full")
    from scipy.signal import oaconvolve

    return np.asarray(np.maximum(oaconvolve(one, turned[::-1]), 0.0))


def binomials(weight: Ints, likely: Floats, count: Ints) -> list[Floats]:
    """Chances of 0, 1, 2... pieces where each of ``count`` events asks for ``weight`` pieces with chance ``likely``.

    Parameters
    ----------
    weight : pieces that each event asks for
    likely : chance of each event
    count : number of events
    """
    from scipy.special._ufuncs import _binom_pmf

    sizes = count + 1
    first = np.cumsum(sizes) - sizes
    found = spread(np.zeros_like(count), sizes)
    single = np.clip(_binom_pmf(found, np.repeat(count, sizes), np.repeat(likely, sizes)), 0.0, 1.0)
    pieces = []
    for start, size, step in zip(first.tolist(), sizes.tolist(), weight.tolist(), strict=True):
        chances = np.zeros((size - 1) * step + 1)
        chances[::step] = single[start : start + size]
        pieces.append(chances)
    return pieces


def distinct_rows(*columns: Ints | Floats) -> tuple[Ints, Ints]:
    """Where each distinct row stands first, and which of them each row is."""
    order = np.lexsort(columns)
    new = np.ones(order.size, bool)
    new[1:] = np.any([column[order][1:] != column[order][:-1] for column in columns], axis=0)
    number = np.empty(order.size, np.int64)
    number[order] = np.cumsum(new) - 1
    return order[new], number


def _trimmed(chances: Floats) -> tuple[int, Floats]:
    """Leave out, at both ends, chances that are lost in the rounding of one; how many at the lower end."""
    if chances.size <= SHORT:
        return 0, chances
    real = np.flatnonzero(chances > NOTHING)
    return int(real[0]), chances[real[0] : real[-1] + 1]

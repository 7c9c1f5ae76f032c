"""Sums of many independent events for many items at once: how many pieces are enough up to and with each day.

Independent sums multiply as Fourier transforms. For each item only the window is worked out in which its sum lies but
for a chance below rounding (Bernstein's inequality above, the one-sided bound of sums of non-negative terms below:
Boucheron, Lugosi, Massart, Concentration Inequalities, 2013, from memory).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bom.structure.arrays import Ints

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

ROUNDING_NATS = 37.0
"""exp(-37) is below the rounding of a float near one."""
TOLERANCE = 1e-12
DAY_SPAN = 10**7
"""More days than any calendar has: keeps the days of different items apart."""
CACHED_CELLS = 1 << 17
"""Complex numbers that are worked on at once, so that they stay near the processor."""


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


@dataclass(frozen=True)
class _Windows:
    """Where the sum of each row lies: from ``low``, within ``1 << bits`` values that serve all rows of its item."""

    low: Ints
    bits: Ints


def cover_events(events: Events, sums: Sequence[Sum], how_sure: Floats) -> Covered:
    """Smallest numbers of pieces that are enough with chance ``how_sure`` (by item number), day after day.

    The numbers of one item never fall from one day to the next. Each of ``sums`` needs an event, if only one without
    weight in the result, of its item and day, whose pieces bound it.
    """
    new = np.ones(events.item.size, bool)
    new[1:] = (events.item[1:] != events.item[:-1]) | (events.day[1:] != events.day[:-1])
    row = np.cumsum(new) - 1
    item, day = events.item[new], events.day[new]
    key = item * DAY_SPAN + day
    of_sum = np.searchsorted(key, np.array([one.item * DAY_SPAN + one.day for one in sums], np.int64))
    windows = _windows(events, row, item, how_sure.size, of_sum, sums)
    cover = np.zeros(item.size, np.int64)
    enough: dict[int, Floats] = {}
    bits_of_sum = windows.bits[item[of_sum]]
    for bits in np.unique(windows.bits).tolist():
        rows = np.flatnonzero(windows.bits[item] == bits)
        if rows.size:
            chosen = np.flatnonzero(windows.bits[events.item] == bits)
            joining = [(int(of_sum[number]), sums[number]) for number in np.flatnonzero(bits_of_sum == bits).tolist()]
            _cover_rows(events, chosen, row[chosen], rows, item, windows, joining, how_sure, cover, enough)
    step = cover.max(initial=0)
    cover = np.maximum.accumulate(cover + item * step) - item * step
    return Covered(item, day, cover, enough)


def _windows(events: Events, row: Ints, item: Ints, items: int, of_sum: Ints, sums: Sequence[Sum]) -> _Windows:
    first = np.searchsorted(item, np.arange(items))
    weight = events.weight.astype(float)

    distinct = {id(one.chances): one.chances for one in sums}
    known = {number: _moments(chances) for number, chances in distinct.items()}
    moments = np.array([known[id(one.chances)] for one in sums]).reshape(-1, 3)

    def running(values: Floats, joining: Floats) -> Floats:
        """Sums by row, added up over the days of one item."""
        by_row = np.bincount(row, values, item.size) + np.bincount(of_sum, joining, item.size)
        total = np.cumsum(by_row)
        return np.asarray(total - np.concatenate(([0.0], total))[first[item]])

    mean = running(weight * events.count * events.likely, moments[:, 0])
    most = np.rint(running(weight * events.count, np.zeros(len(sums)))).astype(np.int64)
    heaviest = np.ones(items)
    np.maximum.at(heaviest, events.item, weight)
    np.maximum.at(heaviest, item[of_sum], np.array([float(one.chances.size - 1) for one in sums]))
    step = ROUNDING_NATS * 2 * heaviest[item] / 3
    square = weight * weight * events.count * events.likely
    spread = running(square * (1 - events.likely), moments[:, 1])
    above = (step + np.sqrt(step * step + 8 * ROUNDING_NATS * spread)) / 2
    below = np.sqrt(2 * ROUNDING_NATS * running(square, moments[:, 2]))
    low = np.maximum(0, np.floor(mean - below)).astype(np.int64)
    high = np.minimum(most, np.ceil(mean + above).astype(np.int64))
    width = np.ones(items, np.int64)
    np.maximum.at(width, item, high - low + 1)
    return _Windows(low, np.ceil(np.log2(width)).astype(np.int64))


def _moments(chances: Floats) -> tuple[float, float, float]:
    """Mean, variance and second moment of a sum."""
    pieces = np.arange(chances.size)
    mean, square = float(chances @ pieces), float(chances @ (pieces * pieces))
    return mean, max(0.0, square - mean * mean), square


def _cover_rows(
    events: Events,
    chosen: Ints,
    event_row: Ints,
    rows: Ints,
    item: Ints,
    windows: _Windows,
    joining: Sequence[tuple[int, Sum]],
    how_sure: Floats,
    cover: Ints,
    enough: dict[int, Floats],
) -> None:
    """Work out the rows of all items whose windows have one size, a part at a time; write into the last two."""
    size = 1 << int(windows.bits[item[rows[0]]])
    table, kind = _transforms(events, chosen, size)
    place = np.searchsorted(rows, event_row)
    joined = _Joined(joining, size)
    of_row = item[rows]
    day = np.arange(rows.size) - np.searchsorted(of_row, of_row)
    last = np.append(of_row[1:] != of_row[:-1], True)
    step = max(1, CACHED_CELLS // (size // 2 + 1))
    before = np.ones(1, complex)
    for begin in range(0, rows.size, step):
        part = rows[begin : begin + step]
        mine = slice(*np.searchsorted(place, [begin, begin + part.size]).tolist())
        product = _products(table, kind[mine], place[mine] - begin, part.size)
        joined.multiply_into(product, part)
        if day[begin]:  # an item goes on from the part before
            product[0] *= before
        _add_days(product, np.minimum(day[begin : begin + step], np.arange(part.size)))
        before = product[-1].copy()
        low = windows.low[part]
        turned = (np.arange(size) + low[:, None]) & (size - 1)
        sums = np.take_along_axis(np.fft.irfft(product, size, axis=1), turned, axis=1)
        np.cumsum(sums, axis=1, out=sums)
        reached = sums >= (how_sure[of_row[begin : begin + step]] - TOLERANCE)[:, None]
        cover[part] = low + np.where(reached.any(axis=1), np.argmax(reached, axis=1), size - 1)
        for row in np.flatnonzero(last[begin : begin + step]).tolist():
            enough[int(of_row[begin + row])] = np.concatenate((np.zeros(low[row]), np.clip(sums[row], 0.0, 1.0)))


class _Joined:
    """Sums that join the events of their rows, each distinct one transformed once."""

    def __init__(self, joining: Sequence[tuple[int, Sum]], size: int) -> None:
        self.size = size
        self._joining = sorted(joining, key=lambda pair: pair[0])
        self._rows = [row for row, _ in self._joining]
        self._known: dict[int, Complexes] = {}

    def multiply_into(self, product: Complexes, part: Ints) -> None:
        """Multiply the sums of the rows in ``part`` (sorted) into their products, in place."""
        begin, end = bisect_left(self._rows, int(part[0])), bisect_right(self._rows, int(part[-1]))
        place = np.searchsorted(part, self._rows[begin:end]).tolist()
        for row, (_, one) in zip(place, self._joining[begin:end], strict=True):
            product[row] *= self._transform(one.chances)

    def _transform(self, chances: Floats) -> Complexes:
        """Equal jobs share one array of chances, so that its identity is enough to know it by."""
        if id(chances) not in self._known:
            folded = np.bincount(np.arange(chances.size) % self.size, chances, self.size)
            self._known[id(chances)] = np.fft.rfft(folded)
        return self._known[id(chances)]


def _transforms(events: Events, chosen: Ints, size: int) -> tuple[Complexes, Ints]:
    """The transform of each distinct kind of event, and which kind each of the ``chosen`` is."""
    _, chance = np.unique(events.likely[chosen], return_inverse=True)
    most = int(events.count[chosen].max(initial=0)) + 1
    key = (events.weight[chosen] * most + events.count[chosen]) * (int(chance.max(initial=0)) + 1) + chance
    _, first, kind = np.unique(key, return_index=True, return_inverse=True)
    like = chosen[first]
    turns = np.outer(events.weight[like], np.arange(size // 2 + 1)) & (size - 1)
    likely = events.likely[like][:, None]
    factor = 1 - likely + likely * np.exp(-2j * np.pi / size * np.arange(size))[turns]
    return np.asarray(factor ** events.count[like][:, None]), np.asarray(kind)


def _products(table: Complexes, kind: Ints, place: Ints, rows: int) -> Complexes:
    """Multiply the events of each row; ``place`` is sorted."""
    product = np.ones((rows, table.shape[1]), complex)
    turn = np.arange(place.size) - np.searchsorted(place, place)
    for number in range(int(turn.max(initial=-1)) + 1):
        now = turn == number
        product[place[now]] *= table[kind[now]]
    return product


def _add_days(product: Complexes, day: Ints) -> None:
    """Join each day of an item to the days before it, in place; ``day`` counts the days of each item from 0."""
    order = np.argsort(day, kind="stable")
    ends = np.searchsorted(day[order], np.arange(1, int(day.max(initial=0)) + 2))
    for number in range(1, ends.size):
        here = order[ends[number - 1] : ends[number]]
        product[here] *= product[here - 1]

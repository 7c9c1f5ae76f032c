"""Tools for arrays: tables of named columns, ranges, runs of equal rows, sums of rows that are alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Self, cast

import numpy as np
from numpy.typing import NDArray

from bom.errors import QuantityError

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Codes = NDArray[np.int8]


def freeze(record: object) -> None:
    """Let nothing be written into the arrays that a record holds.

    Parameters
    ----------
    record : just made
    """
    names = [field.name for field in fields(record)] if is_dataclass(record) else vars(record)
    for name in names:
        value = getattr(record, name)
        if isinstance(value, np.ndarray):
            value.setflags(write=False)


@dataclass(frozen=True)
class Table:
    """Columns of equal length; each field of a subclass is one. Nothing is written into a column of a table."""

    def __post_init__(self) -> None:
        for column in self.columns():
            column.setflags(write=False)

    def columns(self) -> tuple[Ints, ...]:
        """All columns, in the order of the fields."""
        return tuple(vars(self).values())

    @property
    def size(self) -> int:
        """Number of rows."""
        return int(self.columns()[0].size)

    def take(self, chosen: Ints | Bools | slice) -> Self:
        """Return the chosen rows only; those that stand together without a copy.

        Parameters
        ----------
        chosen : row numbers, a mask of shape (size,), or from where to where
        """
        return type(self)(*(column[chosen] for column in self.columns()))

    @classmethod
    def together(cls, parts: Sequence[Self]) -> Self:
        """Return the rows of several tables, one after the other.

        Parameters
        ----------
        parts : tables; an empty one comes of none
        """
        empty = [np.zeros(0, np.int64)]
        columns = ([getattr(part, column.name) for part in parts] for column in fields(cls))
        return cls(*(np.concatenate(column or empty) for column in columns))

    @classmethod
    def joined(cls, parts: list[Self]) -> Self:
        """Return the rows of several tables, one after the other, and let go of theirs column by column.

        Parameters
        ----------
        parts : one table or more that nobody else needs; none of them is left
        """
        waiting = [list(reversed(part.columns())) for part in parts]
        parts.clear()
        return cls(*(np.concatenate([columns.pop() for columns in waiting]) for _ in fields(cls)))

    @classmethod
    def of_rows(cls, rows: Sequence[tuple[int, ...]]) -> Self:
        """Return a table of whole numbers.

        Parameters
        ----------
        rows : one value for each column
        """
        return cls(*np.array(rows, np.int64).reshape(-1, len(fields(cls))).T)

    def summed(self) -> Self:
        """Return one row for all that differ in the last column alone, with its sum; sorted, first column first."""
        *keys, last = self.columns()
        return type(self)(*sum_up(tuple(keys), last))


def spread(start: Ints, stop: Ints) -> Ints:
    """Return all numbers of the ranges ``start[i]:stop[i]``, one after another.

    Parameters
    ----------
    start, stop : bounds of each range, of one shape

    Examples
    --------
    >>> spread(np.array([3, 10]), np.array([5, 11])).tolist()
    [3, 4, 10]
    """
    sizes = stop - start
    total = int(sizes.sum())
    if total == 0:
        return np.zeros(0, np.int64)
    offsets = np.repeat(start - (np.cumsum(sizes) - sizes), sizes)
    return cast(Ints, np.arange(total, dtype=np.int64) + offsets)


def runs(*keys: Ints) -> list[tuple[int, int]]:
    """Return where rows with equal keys begin and end.

    Parameters
    ----------
    keys : columns of one length; equal rows stand together

    Examples
    --------
    >>> runs(np.array([7, 7, 9, 9]), np.array([1, 1, 1, 2]))
    [(0, 2), (2, 3), (3, 4)]
    """
    if not keys[0].size:
        return []
    new = np.zeros(keys[0].size - 1, bool)
    for key in keys:
        new |= key[1:] != key[:-1]
    inner = (np.flatnonzero(new) + 1).tolist()
    return list(zip([0, *inner], [*inner, keys[0].size], strict=True))


def as_shared(values: Ints) -> list[int]:
    """Return the numbers as a list in which equal ones are one object: days and jobs, few of which differ.

    Parameters
    ----------
    values : of shape (count,)

    Examples
    --------
    >>> one, other = as_shared(np.array([20000, 20000]))
    >>> one is other
    True
    """
    each, place = np.unique(values, return_inverse=True)
    return cast(list[int], np.array(each.tolist(), object)[place].tolist())


def distinct(values: Ints) -> Ints:
    """Return each value once, sorted; whole numbers are sorted in less time than `numpy.unique` hashes them.

    Parameters
    ----------
    values : in any order

    Examples
    --------
    >>> distinct(np.array([7, 3, 7])).tolist()
    [3, 7]
    """
    ordered = np.sort(values)
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if ordered.size else ordered


def multiplied(count: Ints, quantity: Ints) -> Ints:
    """Return whole instances times millionths.

    Parameters
    ----------
    count : whole instances
    quantity : millionths of one, of the same shape

    Raises
    ------
    QuantityError
        If a product would not fit into 63 bits.
    """
    if count.size and float((count.astype(float) * quantity).max(initial=0.0)) > 9.0e18:
        raise QuantityError(
            "The structure multiplies to more than nine million million pieces; look for a quantity typed too large."
        )
    return count * quantity


def sum_up(keys: tuple[Ints, ...], quantity: Ints) -> tuple[Ints, ...]:
    """Return the keys and the sum of the quantities with equal keys; sorted by the keys, first key first.

    Parameters
    ----------
    keys : columns of one length
    quantity : what is summed, of the same length
    """
    if not quantity.size:
        return *keys, quantity
    packed = _packed(keys)
    if packed is None:
        _, rows = np.unique(np.stack(keys, axis=1), axis=0, return_inverse=True)
        packed = rows.ravel()
    order = np.argsort(packed, kind="stable")
    packed = packed[order]
    start = np.flatnonzero(np.concatenate(([True], packed[1:] != packed[:-1])))
    return *(key[order[start]] for key in keys), np.add.reduceat(quantity[order], start)


def sorted_by(keys: tuple[Ints, ...]) -> Ints:
    """Return row numbers in the order of the keys, first key first; rows that are equal stay in their order.

    Parameters
    ----------
    keys : columns of one length
    """
    packed = _packed(keys) if keys[0].size else None
    return np.lexsort(keys[::-1]) if packed is None else np.argsort(packed, kind="stable")


def _packed(keys: tuple[Ints, ...]) -> Ints | None:
    """Keys as one number each, in the same order; None where that takes more than 62 bits."""
    packed = np.zeros_like(keys[0])
    room = 1
    for key in keys:
        least = int(key.min())
        span = int(key.max()) - least + 1
        room *= span
        if room >= 1 << 62:
            return None
        packed = packed * span + (key - least)
    return packed

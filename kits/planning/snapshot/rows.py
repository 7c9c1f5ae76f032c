"""Values made of rows: a row that is read again gives the value that was made of it before."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

Value = TypeVar("Value")
Row = tuple[Any, ...]

_kept: dict[str, dict[Row, Any]] = {}
"""The values of the last reading, by their row: one posting leaves nearly all of them alone."""


def kept_or_made(name: str, rows: Iterable[Row], make: Callable[[Row], Value]) -> tuple[Value, ...]:
    """Return the value of each row, made by ``make`` where the last reading under this name had no such row."""
    known, read, values = _kept.get(name, {}), {}, []
    for row in rows:
        value = known.get(row)
        if value is None:
            value = make(row)
        read[row] = value
        values.append(value)
    _kept[name] = read
    return tuple(values)

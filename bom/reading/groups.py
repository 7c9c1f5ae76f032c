"""The rows of a column by the number that stands in it."""

from __future__ import annotations

import numpy as np

from bom.structure.tables import Ints


class Groups:
    """The rows of a column by the number that stands in it; what is below 0 belongs to nobody."""

    def __init__(self, column: Ints, count: int) -> None:
        self._rows = np.argsort(column, kind="stable")
        self._first = np.searchsorted(column[self._rows], np.arange(count + 1))

    def __getitem__(self, number: int) -> list[int]:
        rows: list[int] = self._rows[self._first[number] : self._first[number + 1]].tolist()
        return rows

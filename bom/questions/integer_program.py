"""Integer programs, put together row by row and handed to HiGHS.

Source: HiGHS through ``scipy.optimize.milp`` (Q. Huangfu and J. A. J. Hall, Parallelizing the dual revised simplex
method, Mathematical Programming Computation 10, 2018). The solver counts in floating point, so whoever asks checks
the answer in whole numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bom.errors import QuantityError

LARGEST_COEFFICIENT = 50_000
"""The solver takes a value that is whole to a millionth for whole; with larger coefficients that would hide a piece."""

Terms = Iterable[tuple[int, float]]
"""Variable numbers with their coefficients; a variable may stand more than once."""


@dataclass(frozen=True)
class RowUnit:
    """The unit of a row: ``size`` millionths.

    Where it does not divide every quantity, the row is strict (asked for is rounded up, held is rounded down), so that
    what the solver finds holds, or ``generous`` (the other way round), so that its bound holds.
    """

    size: int
    is_exact: bool
    generous: bool

    def asked(self, quantity: int) -> int:
        """Units that are asked for.

        Parameters
        ----------
        quantity : millionths
        """
        return quantity // self.size if self.generous else -(-quantity // self.size)

    def held(self, quantity: int) -> int:
        """Units that are there.

        Parameters
        ----------
        quantity : millionths
        """
        return -(-quantity // self.size) if self.generous else quantity // self.size


def unit_of(coefficients: Iterable[int], others: Iterable[int], generous: bool) -> RowUnit:
    """The largest unit in which all quantities are whole; a coarser one where a coefficient would be too large.

    >>> unit_of([310_000_000, 1_500_000], [400_000_000], generous=False)
    RowUnit(size=500000, is_exact=True, generous=False)
    >>> unit_of([310_000_000, 1], [400_000_000], generous=False)
    RowUnit(size=6200, is_exact=False, generous=False)

    Parameters
    ----------
    coefficients : quantities that a variable counts, in millionths
    others : the other quantities of the row, in millionths
    generous : round so that a bound holds, not an answer
    """
    coefficients = list(coefficients)
    size = max(1, math.gcd(*coefficients, *others))
    coarse = -(-max(coefficients, default=0) // LARGEST_COEFFICIENT)
    return RowUnit(max(size, coarse), coarse <= size, generous)


@dataclass(frozen=True)
class Solution:
    """What the solver found in its time.

    Attributes
    ----------
    values : value of each variable, whole ones rounded; None when nothing was found
    bound : no answer gains more than this; infinite when the solver was stopped before it knew any bound
    proved : the solver says that nothing gains more than ``values``
    """

    values: NDArray[np.float64] | None
    bound: float
    proved: bool


class IntegerProgram:
    """Variables from 0 up to a limit, rows between two limits, and a gain to be as large as possible."""

    def __init__(self) -> None:
        self._upper: list[float] = []
        self._whole: list[bool] = []
        self._gain: list[float] = []
        self._rows: list[int] = []
        self._columns: list[int] = []
        self._coefficients: list[float] = []
        self._low: list[float] = []
        self._high: list[float] = []

    @property
    def size(self) -> int:
        """Number of variables."""
        return len(self._upper)

    def variable(self, upper: float, *, whole: bool = True, gain: float = 0.0) -> int:
        """Add a variable between 0 and ``upper``; returns its number.

        Parameters
        ----------
        upper : its largest value
        whole : whether it is a whole number
        gain : what one of it gains
        """
        self._upper.append(upper)
        self._whole.append(whole)
        self._gain.append(gain)
        return self.size - 1

    def gain_by(self, gains: Terms) -> None:
        """Forget what the variables gained, and let them gain this.

        Parameters
        ----------
        gains : variables with what one of each gains
        """
        self._gain = [0.0] * self.size
        for variable, gain in gains:
            self._gain[variable] += gain

    def at_most(self, terms: Terms, limit: float) -> None:
        """Add a row: the sum of ``terms`` does not exceed ``limit``.

        Parameters
        ----------
        terms : variables with their coefficients
        limit : what the sum is held against
        """
        self._row(terms, -math.inf, limit)

    def at_least(self, terms: Terms, limit: float) -> None:
        """Add a row: the sum of ``terms`` reaches ``limit``.

        Parameters
        ----------
        terms : variables with their coefficients
        limit : what the sum is held against
        """
        self._row(terms, limit, math.inf)

    def solve(self, time_limit: float) -> Solution:
        """Look for the largest gain, for ``time_limit`` seconds at most.

        Parameters
        ----------
        time_limit : seconds, 0 or more

        Raises
        ------
        QuantityError
            When the time limit is not a number of seconds from 0 up.
        """
        if not (math.isfinite(time_limit) and time_limit >= 0):
            raise QuantityError(f"A time limit of {time_limit} seconds was given: it must be 0 or more.")
        if not self.size:
            return Solution(np.zeros(0), 0.0, True)
        # Imported here, because only few pages need it and it takes a while.
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        matrix = csr_array((self._coefficients, (self._rows, self._columns)), shape=(len(self._low), self.size))
        found = milp(
            -np.array(self._gain),
            integrality=np.array(self._whole, np.int64),
            bounds=Bounds(np.zeros(self.size), np.array(self._upper)),
            constraints=LinearConstraint(matrix, np.array(self._low), np.array(self._high)) if self._low else (),
            options={"time_limit": time_limit, "mip_rel_gap": 0.0},
        )
        values = None
        if found.x is not None:
            values = np.where(self._whole, np.round(found.x), found.x)
        bound = found.mip_dual_bound
        known = bound is not None and math.isfinite(bound)
        return Solution(values, -float(bound) if known else math.inf, bool(found.status == 0))

    def _row(self, terms: Terms, low: float, high: float) -> None:
        row = len(self._low)
        for variable, coefficient in terms:
            self._rows.append(row)
            self._columns.append(variable)
            self._coefficients.append(coefficient)
        self._low.append(low)
        self._high.append(high)

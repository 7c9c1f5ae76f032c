"""The rounding that published parts tables use for "quantity per 100 overhauls"."""

from __future__ import annotations

from fractions import Fraction

from bom.errors import QuantityError


def pieces_for(positions: int, renewals_per_100: Fraction, *, essential: bool = False) -> int:
    """Return the pieces that such a table plans for so many positions: half is rounded up.

    It is shown beside the cover that is planned by chance, and is no cover itself: it does not say how sure it is.

    Parameters
    ----------
    positions : inspected positions, in pieces
    renewals_per_100 : renewals in 100 overhauls of one position, 0 to 100
    essential : at least one piece is planned, however small the rate

    Raises
    ------
    QuantityError
        If there are fewer than no positions, or the rate is not between 0 and 100.

    Notes
    -----
    The rounding is that of the US Army repair parts lists TM 5-6675-203-15 and TM 3-1730-201-25P.

    Examples
    --------
    >>> pieces_for(30, Fraction(5)), pieces_for(30, Fraction(28)), pieces_for(10, Fraction(1), essential=True)
    (2, 8, 1)
    """
    if positions < 0:
        raise QuantityError(f"{positions} positions were given: there must be 0 or more.")
    if not 0 <= renewals_per_100 <= 100:
        raise QuantityError(f"A rate of {renewals_per_100} per 100 overhauls was given: it must lie between 0 and 100.")
    rounded = int(positions * renewals_per_100 / 100 + Fraction(1, 2))
    return max(rounded, 1) if essential and positions else rounded

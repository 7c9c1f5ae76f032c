"""Total requirements over the whole structure, without conditions: how much of everything goes into what is wanted.

Source: the Gozinto theorem, x = (I - Q)^-1 d (A. Vazsonyi, Scientific Programming in Business and Industry, 1958),
worked out level by level in whole numbers.
"""

from __future__ import annotations

import numpy as np

from bom.errors import QuantityError
from bom.structure.arrays import LevelLines, Structure
from bom.structure.tables import Ints
from bom.values import ONE

LARGEST = 9.0e18
NEAR = LARGEST / 2
"""Only where all totals together may come near the largest number, each step is looked at."""


def total_requirements(structure: Structure, wanted: Ints) -> Ints:
    """How much of each item is held by what is wanted, every line counted, whatever its conditions.

    Parameters
    ----------
    structure : the compiled catalog
    wanted : millionths of each item asked for itself, shape (items,)

    Returns
    -------
    int64 array of shape (items,): what is wanted plus what it holds, in millionths

    Raises
    ------
    QuantityError
        If a total does not fit into 63 bits: a quantity was typed too large.

    Examples
    --------
    >>> from bom.structure.arrays import compile_structure
    >>> from bom.values import Catalog, Item, Line
    >>> items = (Item("PUMP", "pump"), Item("CHECK", "assembly"), Item("SEAT"))
    >>> lines = (Line("PUMP", "CHECK", 4 * ONE, "open"), Line("CHECK", "SEAT", ONE, "renew"))
    >>> structure = compile_structure(Catalog(items, lines))
    >>> (total_requirements(structure, np.array([3 * ONE, 0, 0])) // ONE).tolist()
    [3, 12, 12]
    """
    total = wanted.astype(np.int64, copy=True)
    near = float((wanted * structure.holds).sum()) > NEAR  # no dot product, which would set threads to work
    for step in structure.steps:
        if near:
            _refuse_too_many(total[step.parent] // ONE, step)
        total[step.child] += step.below(total)
    return total


def _refuse_too_many(parents: Ints, step: LevelLines) -> None:
    if float((step.held.astype(float) @ parents).sum()) > LARGEST:
        raise QuantityError(
            "The structure multiplies to more than nine million million pieces: look for a quantity typed too large."
        )

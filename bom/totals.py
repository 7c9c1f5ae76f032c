"""Total requirements over the whole structure, without conditions: how much of everything goes into what is wanted.

Source: the Gozinto theorem, x = (I - Q)^-1 d (A. Vazsonyi, Scientific Programming in Business and Industry, 1958),
worked out level by level in whole numbers.
"""

from __future__ import annotations

import numpy as np

from bom.errors import QuantityError
from bom.structure import Ints, Structure
from bom.values import ONE

LARGEST = 9.0e18


def total_requirements(structure: Structure, wanted: Ints) -> Ints:
    """How much of each item is held by what is wanted, every line counted, whatever its conditions.

    Parameters
    ----------
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
    >>> from bom.structure import compile_structure
    >>> from bom.values import Catalog, Item, Line
    >>> items = (Item("PUMP", "pump"), Item("CHECK", "assembly"), Item("SEAT"))
    >>> lines = (Line("PUMP", "CHECK", 4 * ONE, "open"), Line("CHECK", "SEAT", ONE, "renew"))
    >>> structure = compile_structure(Catalog(items, lines))
    >>> (total_requirements(structure, np.array([3 * ONE, 0, 0])) // ONE).tolist()
    [3, 12, 12]
    """
    total = wanted.astype(np.int64, copy=True)
    for lines in structure.lines_by_level:
        parents = total[structure.parent[lines]] // ONE
        held = parents * structure.quantity[lines]
        if held.size and float((parents.astype(float) * structure.quantity[lines]).sum()) > LARGEST:
            raise QuantityError(
                "The structure multiplies to more than nine million million pieces: look for a quantity typed too "
                "large."
            )
        np.add.at(total, structure.child[lines], held)
    return total

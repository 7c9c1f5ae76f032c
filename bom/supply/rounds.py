"""What was served before, kept for the next plan: only items whose supplies have changed are served anew.

Items meet where a kit is packed or a made assembly put together, and each of them asks for its contents in a later
round. So an item is served as before if the pieces of its round are those of before, and what is left of it is too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bom.structure.tables import Bools, Ints, freeze, spread
from bom.supply.matching import OWN, Draws, Pieces
from bom.supply.supplies import Supplies


@dataclass(frozen=True)
class Round:
    """One round of serving: its pieces in turn, what was ``left`` of each supply, and what came of it.

    ``draws`` number the pieces of the round from 0. ``below`` is what packing asks for, and what kits are without.
    """

    pieces: Pieces
    left: Ints
    draws: Draws
    below: Pieces

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True)
class Rounds:
    """The rounds of a plan: of what is asked for sure and of planned wear, which starts with piece ``wear_from``."""

    sure: tuple[Round, ...] = ()
    wear: tuple[Round, ...] = ()
    wear_from: int = -1

    def __reduce__(self) -> tuple[type[Rounds], tuple[()]]:
        """A plan that is sent to another process goes without them: there, everything is served anew once."""
        return Rounds, ()


class Changes:
    """The supplies of the plan before against those of now, item by item."""

    def __init__(self, before: Supplies, now: Supplies) -> None:
        self.before, self.now = before, now
        counts = np.diff(before.first)
        self.alike = counts == np.diff(now.first)
        items = np.flatnonzero(self.alike)
        self._rows = spread(before.first[items], before.first[items + 1])
        there = spread(now.first[items], now.first[items + 1])
        self.number = np.full(before.item.size + 1, -1, np.int64)  # the last one stands for no supply
        self.number[self._rows] = there
        differs = (before.lot_place[self._rows] < 0) != (now.lot_place[there] < 0)
        for old, new in ((before.arrives, now.arrives), (before.last_day, now.last_day), (before.opened, now.opened)):
            differs |= old[self._rows] != new[there]
        owners = zip(self._rows.tolist(), there.tolist(), strict=True)
        if before.owner != now.owner:
            differs |= np.array([before.owner[row] != now.owner[other] for row, other in owners], bool)
        self.alike[before.item[self._rows[differs]]] = False
        self._rows = self._rows[self.alike[before.item[self._rows]]]

    def draws_kept(self, old: Round, numbers: Ints, wanted: Ints) -> tuple[Bools, Draws]:
        """Which pieces of a round are served anew, and the draws of the others, the round being asked the same.

        Parameters
        ----------
        old : the round of before
        numbers : of the pieces in the plan
        wanted : what each piece wants beyond its own
        """
        own = old.draws.supply == OWN
        wanted_before = old.pieces.quantity.copy()
        np.subtract.at(wanted_before, old.draws.piece[own], old.draws.quantity[own])
        changed = ~self.alike
        rows = self._rows[old.left[self._rows] != self.now.left[self.number[self._rows]]]
        changed[self.before.item[rows]] = True
        changed[old.pieces.item[wanted != wanted_before]] = True
        again = changed[old.pieces.item]
        kept = old.draws.take(~own & ~again[old.draws.piece])
        supply = np.where(kept.supply >= 0, self.number[kept.supply], kept.supply)
        return again, Draws.of_shelf(numbers[kept.piece], supply, kept.quantity)


def same(one: Pieces, other: Pieces) -> bool:
    """Whether two tables of pieces are equal.

    Parameters
    ----------
    one : a table of pieces
    other : another one
    """
    pairs = zip(one.columns(), other.columns(), strict=True)
    return one.size == other.size and all(np.array_equal(*pair) for pair in pairs)


def within(pieces: Pieces, rounds: Sequence[Round], begin: int) -> tuple[Round, ...]:
    """The same rounds, their pieces being those of the whole plan from ``begin`` on.

    Parameters
    ----------
    pieces : those of the whole plan
    rounds : the rounds that were made
    begin : number of their first piece
    """
    found = []
    for one in rounds:
        end = begin + one.pieces.size
        found.append(Round(pieces.take(slice(begin, end)), one.left, one.draws, one.below))
        begin = end
    return tuple(found)

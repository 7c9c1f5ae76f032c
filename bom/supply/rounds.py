"""What was served before, kept for the next plan: only items whose supplies have changed are served anew.

Items meet where a kit is packed or a made assembly put together, and each of them asks for its contents in a later
round. So an item is served as before if the pieces of its round are those of before, and what is left of it is too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bom.structure.tables import Bools, Ints, distinct, freeze, spread
from bom.supply.matching import OWN, Draws, Pieces
from bom.supply.supplies import Supplies


@dataclass(frozen=True)
class Round:
    """One round of serving: its pieces in turn, what was ``left`` of the supplies of their items, and what came of it.

    The pieces are those of the plan from ``first`` up to ``end``. ``turn`` is the place of the ``draws`` among those of
    all rounds, as they were served. ``below`` is what packing asks for, and what kits are without.
    """

    first: int
    end: int
    turn: int
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

    def draws_kept(self, old: Round, pieces: Pieces, numbers: Ints, wanted: Ints) -> tuple[Bools, Draws]:
        """Which pieces of a round are served anew, and the draws of the others, the round being asked the same.

        Parameters
        ----------
        old : the round of before
        pieces : what both rounds are asked
        numbers : of the pieces in the plan
        wanted : what each piece wants beyond its own
        """
        own, piece = old.draws.supply == OWN, old.draws.piece - old.first
        wanted_before = pieces.quantity.copy()
        np.subtract.at(wanted_before, piece[own], old.draws.quantity[own])
        changed = ~self.alike
        rows = supplies_of(self.before, pieces)
        there = self.number[rows]
        rows, there, left = (column[there >= 0] for column in (rows, there, old.left))
        changed[self.before.item[rows[left != self.now.left[there]]]] = True
        changed[pieces.item[wanted != wanted_before]] = True
        again = changed[pieces.item]
        stays = ~own & ~again[piece]
        supply = old.draws.supply[stays]
        supply = np.where(supply >= 0, self.number[supply], supply)
        return again, Draws.of_shelf(numbers[piece[stays]], supply, old.draws.quantity[stays])


def supplies_of(supplies: Supplies, pieces: Pieces) -> Ints:
    """The supplies of the items that pieces ask for.

    Parameters
    ----------
    supplies : the shelf and the open orders
    pieces : what is asked for
    """
    items = distinct(pieces.item)
    return spread(supplies.first[items], supplies.first[items + 1])


def same(one: Pieces, other: Pieces) -> bool:
    """Whether two tables of pieces are equal.

    Parameters
    ----------
    one : a table of pieces
    other : another one
    """
    pairs = zip(one.columns(), other.columns(), strict=True)
    return one.size == other.size and all(np.array_equal(*pair) for pair in pairs)


def within(draws: Draws, starts: Sequence[int], rounds: Sequence[Round]) -> tuple[Round, ...]:
    """The same rounds, what their draws share with those of the whole plan being held once.

    Parameters
    ----------
    draws : those of the whole plan
    starts : the first draw of each round among them, by its turn
    rounds : the rounds that were made
    """
    return tuple(
        replace(one, draws=_held_once(one.draws, draws.take(slice(start, start + one.draws.size))))
        for one in rounds
        for start in (starts[one.turn],)
    )


def _held_once(served: Draws, planned: Draws) -> Draws:
    """What was served, with the columns of the plan where they say the same."""
    pairs = zip(served.columns(), planned.columns(), strict=True)
    return Draws(*(mine if np.array_equal(mine, own) else own for own, mine in pairs))

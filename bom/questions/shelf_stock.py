"""What is left on the shelf while jobs are finished from it, and the items that wait for their turn meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from heapq import heapify, heappop, heappush


class Stock:
    """What is left on the shelf while jobs are served: millionths by supply number, and by asker, item and place."""

    def __init__(self, left: list[int], own: dict[tuple[int, int], list[int]]) -> None:
        self._left, self._own = left, own
        self._taken: list[tuple[list[int], int, int]] = []

    def take(self, supply: int, wanted: int) -> int:
        """Take up to ``wanted`` of one lot.

        Parameters
        ----------
        supply : its number
        wanted : millionths
        """
        return self._take(self._left, supply, wanted)

    def take_own(self, asker: int, item: int, place: int, wanted: int) -> int:
        """Take up to ``wanted`` of what is set aside for one asker.

        Parameters
        ----------
        asker : number of the job or other need
        item : number of the item
        place : place in the list of what is set aside
        wanted : millionths
        """
        return self._take(self._own[asker, item], place, wanted)

    def mark(self) -> int:
        """A moment to come back to."""
        return len(self._taken)

    def give_back(self, mark: int) -> None:
        """Give back everything that was taken since.

        Parameters
        ----------
        mark : a moment
        """
        for held, place, quantity in self._taken[mark:]:
            held[place] += quantity
        del self._taken[mark:]

    def _take(self, held: list[int], place: int, wanted: int) -> int:
        taken = min(wanted, held[place])
        if taken:
            held[place] -= taken
            self._taken.append((held, place, taken))
        return taken


class ItemQueue:
    """Items that wait for their turn, each once."""

    def __init__(self, place: Sequence[int], items: Iterable[int]) -> None:
        self._place = place
        self._heap = [(place[item], item) for item in items]
        self._there = {item for _, item in self._heap}
        heapify(self._heap)

    def add(self, item: int) -> None:
        """Let one more item wait; nothing if it does already.

        Parameters
        ----------
        item : its number
        """
        if item not in self._there:
            self._there.add(item)
            heappush(self._heap, (self._place[item], item))

    def take(self) -> int:
        """The item whose turn it is; it waits no more."""
        _, item = heappop(self._heap)
        self._there.discard(item)
        return item

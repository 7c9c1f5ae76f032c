"""Rows of a list that are made when somebody looks at them: a page shows a hundred of twenty thousand."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Generic, TypeVar, overload

from django.db.models import QuerySet

Fact = TypeVar("Fact")
Row = TypeVar("Row")


class LateRows(Sequence[Row], Generic[Fact, Row]):
    """The rows of some facts, in their order."""

    def __init__(self, facts: Sequence[Fact], make: Callable[[Fact], Row]) -> None:
        self._facts, self._make = facts, make

    def __len__(self) -> int:
        return len(self._facts)

    @overload
    def __getitem__(self, place: int) -> Row: ...

    @overload
    def __getitem__(self, place: slice) -> list[Row]: ...

    def __getitem__(self, place: int | slice) -> Row | list[Row]:
        if isinstance(place, slice):
            return [self._make(fact) for fact in self._facts[place]]
        return self._make(self._facts[place])

    def __iter__(self) -> Iterator[Row]:
        return map(self._make, self._facts)


class BatchRows(Sequence[Row], Generic[Fact, Row]):
    """The rows of some facts, in their order, where making many at once asks the database no more than making one."""

    def __init__(self, facts: Sequence[Fact], make: Callable[[Sequence[Fact]], list[Row]]) -> None:
        self._facts, self._make = facts, make

    def __len__(self) -> int:
        return len(self._facts)

    @overload
    def __getitem__(self, place: int) -> Row: ...

    @overload
    def __getitem__(self, place: slice) -> list[Row]: ...

    def __getitem__(self, place: int | slice) -> Row | list[Row]:
        return self._make(self._facts[place]) if isinstance(place, slice) else self._make([self._facts[place]])[0]

    def __iter__(self) -> Iterator[Row]:
        return iter(self._make(self._facts))


class QueryFacts(Sequence[Any]):
    """The records of a query that is in order: counted by the database, and read page by page."""

    def __init__(self, query: QuerySet[Any]) -> None:
        self._query = query
        self._count: int | None = None

    def __len__(self) -> int:
        if self._count is None:
            self._count = self._query.count()
        return self._count

    def __getitem__(self, place: int | slice) -> Any:
        return list(self._query[place]) if isinstance(place, slice) else self._query[place]

    def __iter__(self) -> Iterator[Any]:
        return iter(self._query)

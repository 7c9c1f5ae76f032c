"""Questions that are asked in the same words each time: to put them into SQL takes longer than to answer them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import QuerySet

Row = TypeVar("Row")


def ask_often(question: Callable[[], QuerySet[Any, Row]], rows_at_once: int = 0) -> Iterator[Row]:
    """Return the rows that answer a question, which is put into SQL once for each connection.

    It is a function that takes nothing and closes over nothing, so that it cannot mean another day or job the next
    time. With ``rows_at_once`` no more of them are held than that.

    Raises
    ------
    TypeError
        The question depends on something outside.
    """
    if question.__closure__:
        raise TypeError(f"{question.__qualname__} closes over {', '.join(question.__code__.co_freevars)}: ask it anew")
    kept: dict[Any, QuerySet[Any, Row]] = vars(connections[DEFAULT_DB_ALIAS]).setdefault("asked_often", {})
    rows = kept.get(question.__code__)
    if rows is None:
        rows = kept[question.__code__] = _in_words(question())
    answer: Any = rows._iterable_class
    return iter(answer(rows, chunked_fetch=bool(rows_at_once), chunk_size=rows_at_once or 100))


def _in_words(rows: QuerySet[Any, Row]) -> QuerySet[Any, Row]:
    """The same rows, whose SQL stands and belongs to the connection that they are first asked of."""
    compiler = rows.query.get_compiler(rows.db)  # of the connection of this thread
    words = compiler.as_sql()
    vars(compiler)["as_sql"] = lambda *_, **__: words
    vars(rows.query)["get_compiler"] = lambda *_, **__: compiler
    return rows

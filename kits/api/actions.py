"""Noting what of the lists has changed since it was last told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from django.db import transaction

from kits.api.kept_lists import KeptList
from kits.api.marks import digest
from kits.api.models import ToldRow, ToldState
from kits.catalog.caching.revisions import hold_marks

AT_ONCE = 2000
ALL = "lists"
RowOfList = tuple[str, tuple[str, ...]]


def note_changes(*, read: Callable[[], Mapping[str, KeptList]], marks: tuple[str, str] | None) -> int | None:
    """Give every row that is new, changed or gone the next number, and return the last one given.

    The marks are held, so that what is read is the state of one moment; with ``marks`` it was read before under those,
    and nothing is noted (None) if somebody has written since.
    """
    with transaction.atomic(durable=True):
        held = hold_marks()
        if marks is not None and marks != held:
            return None
        state = ToldState.objects.filter(name=ALL).first() or ToldState(name=ALL, number=0)
        if state.marks != "".join(held):
            told = {(one.list_name, one.key_digest): one for one in ToldRow.objects.iterator(AT_ONCE)}
            state.number = _store(list(_changed(read(), told)), state.number)
            state.marks = "".join(held)
            state.save()
        return state.number


def _changed(lists: Mapping[str, KeptList], told: dict[tuple[str, str], ToldRow]) -> Iterator[ToldRow]:
    """Rows that differ from what was told, in the order of the lists, then those that are gone, the other way round."""
    for name, kept in lists.items():
        for key, row in kept.by_key():
            key_digest, content = digest(key), digest(row)
            before = told.pop((name, key_digest), None)
            if before is None or before.digest != content:
                yield ToldRow(list_name=name, key=list(key), key_digest=key_digest, digest=content)
    order = list(lists)
    gone = sorted((one for one in told.values() if one.digest), key=lambda one: -order.index(one.list_name))
    for one in gone:
        yield ToldRow(list_name=one.list_name, key=one.key, key_digest=one.key_digest, digest="")


def _store(rows: list[ToldRow], last: int) -> int:
    for place, row in enumerate(rows, start=1):
        row.number = last + place
    ToldRow.objects.bulk_create(
        rows,
        AT_ONCE,
        update_conflicts=True,
        unique_fields=["list_name", "key_digest"],
        update_fields=["key", "digest", "number"],
    )
    return last + len(rows)

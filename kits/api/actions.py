"""Noting what of the lists has changed since it was last told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.db import transaction

from kits.api.kept_lists import KeptList, all_lists_now
from kits.api.marks import digest
from kits.api.models import ToldRow, ToldState
from kits.catalog.caching.revisions import hold_marks

AT_ONCE = 2000
ALL = "lists"
Told = dict[tuple[str, str], tuple[list[str], str]]
"""By list and digest of the key: the key itself, and the digest of what was told of it."""


@dataclass(frozen=True, slots=True)
class ToldDifference:
    """What differs from what had been told up to a number, and the tags of the lists in which something may."""

    after: int
    rows: list[ToldRow]
    tags: dict[str, str]


def note_changes(*, lists: Mapping[str, KeptList] | None, marks: tuple[str, str] | None) -> int | None:
    """Give every row that is new, changed or gone the next number, and return the last one given.

    ``lists`` were read before, under ``marks``: nothing is noted (None) if somebody has written since. They are looked
    through before the marks are held, so that writers wait for what has changed to be stored and for nothing else;
    without them they are read behind the marks, so that what is read is the state of one moment.
    """
    found = find_difference(lists) if lists is not None else None
    with transaction.atomic(durable=True):
        held = hold_marks()
        if marks is not None and marks != held:
            return None
        state = _state()
        if state.marks != "".join(held):
            if found is None or found.after != state.number:
                found = find_difference(all_lists_now() if lists is None else lists)
            state.number = _store(found.rows, state.number)
            state.marks = "".join(held)
            state.save()
            _keep_tags(found.tags, state.number)
        return state.number


def find_difference(lists: Mapping[str, KeptList]) -> ToldDifference:
    """Hold the lists against what was told; one with the tag that it had then is not looked through."""
    after = _state().number
    tags = dict(ToldState.objects.exclude(name=ALL).values_list("name", "marks"))
    new = {name: kept for name, kept in lists.items() if tags.get(name) != kept.tag}
    rows = ToldRow.objects.filter(list_name__in=new).values_list("list_name", "key_digest", "key", "digest")
    told: Told = {(name, key_digest): (key, said) for name, key_digest, key, said in rows.iterator(AT_ONCE)}
    return ToldDifference(after, list(_changed(new, told)), {name: kept.tag for name, kept in new.items()})


def _changed(lists: Mapping[str, KeptList], told: Told) -> Iterator[ToldRow]:
    """Rows that differ from what was told, in the order of the lists, then those that are gone, the other way round."""
    for name, kept in lists.items():
        for key, row in kept.by_key():
            key_digest, content = digest(key), digest(row)
            before = told.pop((name, key_digest), None)
            if before is None or before[1] != content:
                yield ToldRow(list_name=name, key=list(key), key_digest=key_digest, digest=content)
    order = list(lists)
    for (name, key_digest), (gone, said) in sorted(told.items(), key=lambda one: -order.index(one[0][0])):
        if said:
            yield ToldRow(list_name=name, key=gone, key_digest=key_digest, digest="")


def _state() -> ToldState:
    return ToldState.objects.filter(name=ALL).first() or ToldState(name=ALL, number=0)


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


def _keep_tags(tags: dict[str, str], number: int) -> None:
    states = [ToldState(name=name, marks=tag, number=number) for name, tag in tags.items()]
    ToldState.objects.bulk_create(
        states, update_conflicts=True, unique_fields=["name"], update_fields=["marks", "number"]
    )

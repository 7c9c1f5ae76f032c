"""What was changed by hand, told from the past versions of a table: some of them at once, in a few statements."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db.models import Field, ForeignKey, Model
from django.utils.text import capfirst

from kits.catalog.history.pages import BLANK, show_value
from kits.catalog.history.versions import ADDED, CHANGED, DELETED, keeps_versions, rows_of, versions_of
from kits.exchange.audit.events import Told

DONE = {ADDED: "added", CHANGED: "changed", DELETED: "deleted"}


def tell_versions(model: type[Model], numbers: Iterable[int]) -> dict[int, Told]:
    """What each of these versions changed against the one before it."""
    wanted = set(numbers)
    rows = versions_of(model).filter(history_id__in=wanted).order_by().values("id")
    versions = versions_of(model).filter(id__in=rows).order_by("history_date", "history_id")
    last: dict[Any, Any] = {}
    pairs: list[tuple[Any, Any]] = []
    for version in versions:
        if version.history_id in wanted:
            pairs.append((last.get(version.id), version))
        last[version.id] = version
    names = _named_keys(model, pairs)
    return {after.history_id: _told(model, before, after, names) for before, after in pairs}


def _told(model: type[Model], before: Any, after: Any, names: dict[tuple[str, Any], str]) -> Told:
    fields = _changed(model, before, after)
    was, now = (
        "; ".join(f"{capfirst(str(field.verbose_name))}: {_shown(field, version, names)}" for field in fields)
        for version in (before, after)
    )
    return Told(DONE[after.history_type], after.named, was, now, after.history_change_reason or "")


def _changed(model: type[Model], before: Any, after: Any) -> list[Field[Any, Any]]:
    if before is None or DELETED in (before.history_type, after.history_type):
        return []
    return [
        field
        for field in model._meta.concrete_fields
        if getattr(before, field.attname) != getattr(after, field.attname)
    ]


def _shown(field: Field[Any, Any], version: Any, names: dict[tuple[str, Any], str]) -> str:
    value = getattr(version, field.attname)
    if isinstance(field, ForeignKey):
        return names.get((field.attname, value), BLANK)
    return show_value(field, value)


def _named_keys(model: type[Model], pairs: list[tuple[Any, Any]]) -> dict[tuple[str, Any], str]:
    """What the keys in what was changed name: rows that are there, else what they were called when they went."""
    keys: dict[ForeignKey[Any, Any], set[Any]] = defaultdict(set)
    for before, after in pairs:
        for field in _changed(model, before, after):
            if isinstance(field, ForeignKey):
                keys[field] |= {getattr(version, field.attname) for version in (before, after)} - {None}
    found: dict[tuple[str, Any], str] = {}
    for field, asked in keys.items():
        named: type[Model] = field.related_model
        rows = {key: str(row) for key, row in rows_of(named, asked).items()}
        gone = asked - rows.keys()
        if gone and keeps_versions(named):
            for version in versions_of(named).filter(id__in=gone).order_by("history_id"):
                rows[version.id] = f"{version.named} (deleted)"
        for key in asked:
            found[field.attname, key] = rows.get(key, f"{named._meta.verbose_name} {key} (deleted)")
    return found

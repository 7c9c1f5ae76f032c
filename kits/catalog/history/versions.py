"""Past versions of the rows that are edited by hand: what each held before and after, who changed it, when and why.

They are written by the back office, where it has the row in hand, and by no signal. Lists are stored in bulk and keep
what they changed with the upload, so nothing is told twice, and a load pays nothing for it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models.deletion import Collector

from kits.people.models import User

if TYPE_CHECKING:

    class HistoricalRecords:
        """A table beside a table, with its columns and who, when and why."""

        cls: type[models.Model]

        def __init__(self, **options: Any) -> None: ...
        def finalize(self, sender: type[models.Model], **kwargs: Any) -> None: ...
        def post_save(self, instance: models.Model, created: bool, **kwargs: Any) -> None: ...
        def post_delete(self, instance: models.Model, **kwargs: Any) -> None: ...
        def pre_delete(self, instance: models.Model, **kwargs: Any) -> None: ...
        def get_meta_options(self, model: type[models.Model]) -> dict[str, Any]: ...
        def copy_fields(self, model: type[models.Model]) -> dict[str, Any]: ...
        def get_extra_fields(self, model: type[models.Model], fields: dict[str, Any]) -> dict[str, Any]: ...
else:
    from simple_history.models import HistoricalRecords

ADDED, CHANGED, DELETED = "+", "~", "-"
KEYS_AT_ONCE = 500
"""Rows named in one statement: databases limit how many values a statement may hold."""

Rows = Mapping[Any, models.Model]


class PastVersion(models.Model):
    """What every past version has besides the columns of its row.

    ``named`` is how the row was called then, since what it names may be gone. ``elsewhere`` marks a version that the
    back office found rather than made: an upload or a page of the shop had written it.
    """

    named = models.CharField(max_length=1500)
    elsewhere = models.BooleanField(default=False)

    class Meta:
        abstract = True


class PastVersions(HistoricalRecords):
    """The past versions of a table; ``history`` of a model gives them, the latest first."""

    def __init__(self) -> None:
        super().__init__(
            bases=(PastVersion,),
            history_id_field=models.BigAutoField(),
            history_change_reason_field=models.CharField(max_length=500, blank=True),
        )

    def finalize(self, sender: type[models.Model], **kwargs: Any) -> None:
        """Make the table; its signals are taken off: with one on deletion every bulk delete reads its rows first."""
        super().finalize(sender, **kwargs)
        if sender is self.cls:
            versions_of(sender).model.__module__ = sender.__module__
            models.signals.post_save.disconnect(self.post_save, sender=sender)
            models.signals.post_delete.disconnect(self.post_delete, sender=sender)
            models.signals.pre_delete.disconnect(self.pre_delete, sender=sender)

    def copy_fields(self, model: type[models.Model]) -> dict[str, Any]:
        """The columns of a row; versions are looked for by the row's key, so that no other column has an index."""
        fields = super().copy_fields(model)
        for field in fields.values():
            field.db_index = field.name == "id"
        return fields

    def get_extra_fields(self, model: type[models.Model], fields: dict[str, Any]) -> dict[str, Any]:
        """Who, when and why, without an index."""
        extra = super().get_extra_fields(model, fields)
        extra["history_date"].db_index = extra["history_user"].db_index = False
        return extra

    def get_meta_options(self, model: type[models.Model]) -> dict[str, Any]:
        """Past versions are looked at: there is no permission to write them."""
        name = model._meta.verbose_name
        plural = model._meta.verbose_name_plural
        return {
            **super().get_meta_options(model),
            "default_permissions": ("view",),
            "verbose_name": f"past version of {name}",
            "verbose_name_plural": f"past versions of {plural}",
        }


def keeps_versions(model: type[models.Model]) -> bool:
    """Say whether past versions of a table are kept."""
    return hasattr(model._meta, "simple_history_manager_attribute")


def versions_of(model: type[Any]) -> models.QuerySet[Any]:
    """Return the past versions of a table, the latest first."""
    versions: models.QuerySet[Any] = model.history.all()
    return versions


def rows_of(model: type[models.Model], keys: Iterable[Any]) -> dict[Any, models.Model]:
    """Return the rows of a table by their keys, as they are stored now."""
    found: dict[Any, models.Model] = {}
    for some in _in_parts(list(keys)):
        found |= model._base_manager.in_bulk(some)
    return found


def rows_to_go(rows: models.QuerySet[Any]) -> dict[type[models.Model], Rows]:
    """Return what goes when rows are deleted, those that hang on them too, table by table."""
    collector = Collector(using=rows.db)
    collector.collect(rows)
    going: dict[type[models.Model], dict[Any, models.Model]] = {}
    for found in (*collector.data.values(), *collector.fast_deletes):
        for row in found:
            going.setdefault(type(row), {})[row.pk] = row
    return {model: found for model, found in going.items() if keeps_versions(model)}


def keep_versions(
    model: type[models.Model], before: Rows, after: Rows, *, by: User | None, at: datetime, why: str
) -> None:
    """Store the versions of rows that somebody added, changed or deleted by hand; what is the same gives none.

    Where a row stood differently when its last version was kept, or has none yet, what it held before is kept first.
    """
    last = _last_versions(model, before)
    made: list[models.Model] = []
    for key, row in before.items():
        now = after.get(key)
        if now is not None and _values(now) == _values(row):
            continue
        known = last.get(key)
        if known is None or known.history_type == DELETED or _values_like(known, row) != _values(row):
            made.append(_version(row, CHANGED, None, at, "", elsewhere=True))
        made.append(_version(now or row, CHANGED if now else DELETED, by, at, why))
    made += [_version(row, ADDED, by, at, why) for key, row in after.items() if key not in before]
    versions_of(model).bulk_create(made, batch_size=KEYS_AT_ONCE)


def _last_versions(model: type[models.Model], keys: Collection[Any]) -> dict[Any, Any]:
    return {
        version.id: version
        for some in _in_parts(list(keys))
        for version in versions_of(model).filter(id__in=some).order_by("history_date", "history_id")
    }


def _version(row: Any, kind: str, by: User | None, at: datetime, why: str, *, elsewhere: bool = False) -> models.Model:
    version: models.Model = row.history.model(
        history_date=at,
        history_type=kind,
        history_user=by,
        history_change_reason=why,
        named=str(row)[:1500],
        elsewhere=elsewhere,
        **_values(row),
    )
    return version


def _values(row: models.Model) -> dict[str, Any]:
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}


def _values_like(version: Any, row: models.Model) -> dict[str, Any]:
    return {field.attname: getattr(version, field.attname) for field in row._meta.concrete_fields}


def _in_parts(keys: Sequence[Any]) -> Iterator[Sequence[Any]]:
    return (keys[start : start + KEYS_AT_ONCE] for start in range(0, len(keys), KEYS_AT_ONCE))

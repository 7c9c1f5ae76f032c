"""Taking a loaded upload back: every row it touched is as it was before, or nothing is changed at all."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Model, ProtectedError, Q
from django.db.models.deletion import Collector
from django.utils import timezone

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.exchange.models import Upload, UploadState
from kits.exchange.sheets.rules.faults import shop_faults
from kits.exchange.sheets.stores.bulk_rows import insert_rows, write_over
from kits.exchange.undo.kept_rows import KeptTable, in_parts, kept_tables, make_row, rows_now, tables_of
from kits.exchange.undo.rounds import refuse_undo_on_rounds
from kits.exchange.uploads.jobs.kept_changes import ChangeKeeper, forget_split_off
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.sheet_doors import sheets_touched
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.schedule.models import Job

MOST_NAMED = 5


def undo_upload(*, upload: Upload, by: User, at: datetime) -> None:
    """Put every row back as it was before the upload; refused with the rows that somebody touched since."""
    with transaction.atomic(durable=True):
        mark_catalog()
        mark_shop()
        require_sheets(by, sheets_touched(upload))
        _settle(upload, by, at)
        tables = kept_tables(upload)
        _refuse_ledger(upload)
        _refuse_touched(tables)
        refuse_undo_on_rounds(tables)
        changes = ChangeKeeper(Q(pk__in=_changed_jobs(tables)))
        today = read_settings().today or timezone.localdate(at)
        before = set(shop_faults(today))
        forget_split_off(upload.pk)
        try:
            _restore(tables)
        except ProtectedError as error:
            _refuse_used([str(row) for row in error.protected_objects])
        except IntegrityError as error:
            raise Refusal(
                "An entry that the upload removed has been entered anew since, so it cannot be put back: "
                "upload a list with the entries as you want them."
            ) from error
        changes.keep(why=f"upload {upload.pk} was taken back", by=by, at=at, key=f"undo:{upload.pk}")
        if faults := [fault for fault in shop_faults(today) if fault not in before]:
            raise Refusal(
                f"Without this upload the lists would contradict a rule, so it stays: {faults[0].says.rstrip('.')}. "
                "Put that right first, or upload a list with the entries as you want them."
            )


def _changed_jobs(tables: list[KeptTable]) -> list[int]:
    return [row.key for table in tables if table.model is Job for row in table.rows if row.before and row.after]


def _settle(upload: Upload, by: User, at: datetime) -> None:
    undone = Upload.objects.filter(pk=upload.pk, state=UploadState.LOADED).update(
        state=UploadState.UNDONE, undone_by=by, undone_at=at
    )
    if not undone:
        raise Refusal(f"Upload {upload.pk} is not loaded, so there is nothing to take back: look at the list again.")


def _refuse_ledger(upload: Upload) -> None:
    """Stock is counted, not unwritten: somebody may have taken it out of the drawer meanwhile."""
    changed = [sheet.sheet for sheet in outcome_from_json(upload.outcome).sheets if sheet.changes_something]
    if posted := [sheet for sheet in changed if not tables_of(sheet)]:
        raise Refusal(
            f"Upload {upload.pk} changed the stock (sheet {' and '.join(posted)}), which is never unwritten: "
            "count what lies there and upload the count."
        )


def _refuse_touched(tables: list[KeptTable]) -> None:
    touched = [name for table in tables for name in _touched(table)]
    if touched:
        raise Refusal(
            f"{_few(touched)} {'was' if len(touched) == 1 else 'were'} changed again after this upload, "
            "so nothing was taken back: upload a list with the entries as you want them."
        )


def _touched(table: KeptTable) -> Iterator[str]:
    for some in in_parts(table.rows):
        now = rows_now(table, [row.key for row in some])
        for row in some:
            held = now.get(row.key)
            if held != row.after:
                values = held or row.after or row.before
                yield f"{table.sheet} {make_row(table, values)}" if values else table.sheet


def _restore(tables: list[KeptTable]) -> None:
    """Removed rows come back first, for others name them; what is new goes last, each before what it names."""
    for table in tables:
        removed = [make_row(table, row.before) for row in table.rows if row.after is None and row.before is not None]
        insert_rows(table.model, removed)
    for table in tables:
        write_over(table.model, [make_row(table, row.before) for row in table.rows if row.after and row.before])
    own = {(table.model, row.key) for table in tables for row in table.rows if row.before is None}
    for table in reversed(tables):
        _remove(table, own)


def _remove(table: KeptTable, own: set[tuple[type[Model], int]]) -> None:
    """Remove the rows that the upload brought, unless something was hung on them since."""
    for keys in in_parts([row.key for row in table.rows if row.before is None]):
        rows = table.model._default_manager.filter(pk__in=keys)
        if table.model is Item:
            Item.objects.filter(pk__in=keys).update(get_as=None)
        collector = Collector(using=rows.db)
        collector.collect(rows)
        others = [row for model, found in collector.data.items() for row in found if (model, row.pk) not in own]
        others += [row for found in collector.fast_deletes for row in found if (type(row), row.pk) not in own]
        if others:
            _refuse_used([str(row) for row in others])
        collector.delete()  # what was collected, for collecting it is most of the work


def _refuse_used(users: list[str]) -> None:
    raise Refusal(
        f"What this upload brought is used by {_few(sorted(users))}, so nothing was taken back: remove that first."
    )


def _few(names: list[str]) -> str:
    shown = ", ".join(names[:MOST_NAMED])
    return f"{shown} and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else shown

"""The uploads of late, and all of them with who brought them in, what came of them, and whether they can be undone."""

from __future__ import annotations

from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from kits.exchange.columns.layouts import find_layout
from kits.exchange.models import KeptRows, Upload, UploadedFile, UploadOrigin

MOST_SHOWN = 10


def list_uploads() -> QuerySet[Upload]:
    """All uploads, the latest first, with their files and people but without the bytes and the rows; two statements."""
    # The bytes of the files stay where they are: only their names and digests are shown.
    names = Prefetch("files", UploadedFile.objects.defer("content"))
    people = Upload.objects.select_related("by", "loaded_by", "undone_by")
    return people.prefetch_related(names).defer("outcome", "headings", "typed")


def list_recent_uploads() -> list[Upload]:
    """The latest uploads; two statements."""
    return list(list_uploads()[:MOST_SHOWN])


def find_upload(number: int) -> Upload | None:
    """One upload with its outcome and the names of its files, and whether anything was kept to undo it."""
    kept = Exists(KeptRows.objects.filter(upload=OuterRef("pk")))
    return list_uploads().defer(None).defer("typed").annotate(can_be_undone=kept).filter(pk=number).first()


def read_typed(number: int) -> dict[str, Any]:
    """What was typed into the fields of an upload, to go back into them; nothing if files were brought in."""
    typed = Upload.objects.filter(pk=number).values_list("typed", flat=True).first()
    return dict(typed or {})


def pasted_sheet(upload: Upload) -> str:
    """The sheet whose cells were pasted, to paste them again; empty if files were brought in."""
    if upload.origin != UploadOrigin.PASTED:
        return ""
    names = [file.name.removesuffix(".csv") for file in upload.files.all()]
    sheet = find_layout(names[0]) if names else None
    return sheet.name if sheet else ""

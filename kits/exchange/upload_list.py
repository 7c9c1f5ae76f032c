"""The uploads of late, for the page on which new ones are made."""

from __future__ import annotations

from django.db.models import Prefetch

from kits.exchange.models import Upload, UploadedFile

MOST_SHOWN = 20


def recent_uploads() -> list[Upload]:
    """The latest uploads with their files and people; two statements."""
    # The bytes of the files stay where they are: only their names are shown.
    names = Prefetch("files", UploadedFile.objects.defer("content"))
    return list(Upload.objects.select_related("by").prefetch_related(names).defer("outcome")[:MOST_SHOWN])


def find_upload(number: int) -> Upload | None:
    """One upload with the names of its files; two statements."""
    names = Prefetch("files", UploadedFile.objects.defer("content"))
    return Upload.objects.select_related("by", "loaded_by").prefetch_related(names).filter(pk=number).first()

"""Keep a certificate as a file, for one lot or several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from django.db import transaction

from kits.catalog.revisions import mark_shop
from kits.people.models import User
from kits.stock.errors import StockRefusal
from kits.stock.models import Certificate, Lot

MOST_BYTES = 5 * 2**20
SIGNATURES = {
    "application/pdf": b"%PDF-",
    "image/png": b"\x89PNG\r\n\x1a\n",
    "image/jpeg": b"\xff\xd8\xff",
}
"""How files of each kind begin; what a file is called proves nothing."""


@dataclass(frozen=True, slots=True)
class PaperFile:
    """A file as it was sent."""

    name: str
    content: bytes


def keep_certificate(*, lots: Sequence[Lot], reference: str, file: PaperFile, by: User, at: datetime) -> Certificate:
    """Keep a file for the lots it came with, once however often it is sent, and return it."""
    media_type = refuse_file(file)
    if not lots or not reference.strip():
        raise StockRefusal("A certificate needs at least one lot and the reference that stands on it.")
    digest = sha256(file.content).hexdigest()
    with transaction.atomic(durable=True):
        mark_shop()
        kept = Certificate.objects.filter(digest=digest).first() or Certificate.objects.create(
            reference=reference.strip(),
            file_name=file.name[-200:],
            media_type=media_type,
            size=len(file.content),
            digest=digest,
            content=file.content,
            by=by,
            at=at,
        )
        kept.lots.add(*lots)
        Lot.objects.filter(pk__in=[lot.pk for lot in lots], certificate="").update(certificate=kept.reference)
        return kept


def refuse_file(file: PaperFile) -> str:
    """Return the kind of a file by how it begins; refuse what is no certificate or too large."""
    if len(file.content) > MOST_BYTES:
        raise StockRefusal(
            f"The file has {len(file.content) / 2**20:.1f} MB, more than the {MOST_BYTES // 2**20} that are kept: "
            "scan it in grey, or only the pages that count."
        )
    for media_type, starts in SIGNATURES.items():
        if file.content.startswith(starts):
            return media_type
    raise StockRefusal(f"“{file.name}” is no PDF, PNG or JPEG: save the certificate as one of these and send it again.")

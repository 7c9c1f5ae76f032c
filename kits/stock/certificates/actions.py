"""Keep a certificate as a file, for one lot or several."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.folding import fold
from kits.people.models import User
from kits.stock.certificates.files import PaperFile, refuse_file
from kits.stock.errors import StockRefusal
from kits.stock.models import Certificate, Lot


def keep_certificate(*, lots: Sequence[Lot], reference: str, file: PaperFile, by: User, at: datetime) -> Certificate:
    """Keep a file under a reference for the lots it came with, once however often it is sent, and return it.

    A file that bears several references is kept under each.
    """
    media_type = refuse_file(file)
    if not lots or not reference.strip():
        raise StockRefusal("A certificate needs at least one lot and the reference that stands on it.")
    digest = sha256(file.content).hexdigest()
    with transaction.atomic(durable=True):
        mark_shop()
        same = Certificate.objects.filter(digest=digest).defer("content")
        kept = next((one for one in same if fold(one.reference) == fold(reference)), None)
        kept = kept or Certificate.objects.create(
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

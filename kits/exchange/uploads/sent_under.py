"""Uploads that another program sent, each found again by the key under which it was sent."""

from __future__ import annotations

from kits.exchange.models import Upload

SENT_UNDER = "sent_under"


def kept_under(key: str) -> Upload | None:
    """The upload that was kept under a key, or None."""
    return Upload.objects.filter(**{f"typed__{SENT_UNDER}": key}).first()

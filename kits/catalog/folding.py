"""How texts are compared: one function for part numbers, places, lots, jobs, options and headers of lists."""

from __future__ import annotations

import unicodedata
from datetime import date

_DASHES = dict.fromkeys(map(ord, "‐‑‒–—―⁃−﹘﹣－"), "-")
_INVISIBLE = dict.fromkeys((0x00AD, 0x200B, 0x200C, 0x200D, 0x2060, 0xFEFF))
_SEPARATOR = "\x1f"


def fold(text: str) -> str:
    """Return ``text`` as it is compared: case, spaces at the ends and in runs, and kinds of dash do not count.

    >>> fold("  2–014\\u00a0 a ")
    '2-014 a'
    """
    if text.isascii():  # nearly every number is, and a long list is folded a million times
        return " ".join(text.lower().split())
    plain = unicodedata.normalize("NFC", text).translate(_DASHES).translate(_INVISIBLE)
    return " ".join(plain.casefold().split())


def fold_key(*parts: str | date | None) -> str:
    """Return one comparable text of a natural key that has several parts."""
    return _SEPARATOR.join(part.isoformat() if isinstance(part, date) else fold(part or "") for part in parts)

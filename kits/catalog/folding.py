"""How texts are compared: one function for part numbers, places, lots, jobs, options and headers of lists."""

from __future__ import annotations

import re
import unicodedata
from datetime import date

_DASHES = dict.fromkeys(map(ord, "‐‑‒–—―⁃−﹘﹣－"), "-")
_INVISIBLE = dict.fromkeys((0x00AD, 0x200B, 0x200C, 0x200D, 0x2060, 0xFEFF))
_SEPARATOR = "\x1f"
_TURN = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u206f]")
"""Signs without a shape that change the order in which others are shown: marks, embeddings, overrides and isolates (the
Unicode Standard, Annex 9, sections 2.1 to 2.6), and those that are not to be used any more (chapter 23.3)."""


def fold(text: str) -> str:
    """Return ``text`` as it is compared: case, spaces at the ends and in runs, and kinds of dash do not count.

    >>> fold("  2–014\\u00a0 a ")
    '2-014 a'
    """
    if text.isascii():  # nearly every number is, and a long list is folded a million times
        return " ".join(text.lower().split())
    plain = unicodedata.normalize("NFC", without_turns(text)).translate(_DASHES).translate(_INVISIBLE)
    return " ".join(plain.casefold().split())


def without_turns(text: str) -> str:
    """Return ``text`` without the signs that make it read otherwise than it stands.

    >>> without_turns("OR-0\u202e41")
    'OR-041'
    """
    return text if text.isascii() else _TURN.sub("", text)


def fold_key(*parts: str | date | None) -> str:
    """Return one comparable text of a natural key that has several parts."""
    return _SEPARATOR.join(part.isoformat() if isinstance(part, date) else fold(part or "") for part in parts)

"""A pasted text as lines."""

from __future__ import annotations

from kits.catalog.errors import Refusal
from kits.exchange.files.raw_sheets import is_blank

MOST_SIGNS = 2_000_000
"""More is brought in as a file: a browser would stand still over it."""


def as_lines(text: str) -> list[str]:
    """The lines of a pasted text, without the blank ones around it."""
    if is_blank(text):
        raise Refusal("Nothing was pasted: copy the rows in the spreadsheet, come back, and paste them into the field.")
    if len(text) > MOST_SIGNS:
        raise Refusal(
            f"{len(text):,} signs are more than the {MOST_SIGNS:,} taken by pasting: save the list as a file, "
            "and upload that."
        )
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\x00", "").strip("\n").rstrip().split("\n")

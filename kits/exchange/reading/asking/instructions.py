"""What somebody said of how files are to be read, where they themselves leave it open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from kits.exchange.reading.asking.strange_headings import Choices


@dataclass(frozen=True, slots=True)
class Instructions:
    """The meaning of strange headings, which list a file or sheet holds, and the character sets of text files.

    ``lists`` goes by the name of the file, of the sheet, or both as `place_of` writes them; ``charsets`` by the file.
    """

    headings: Choices = field(default_factory=dict)
    lists: Mapping[str, str] = field(default_factory=dict)
    charsets: Mapping[str, str] = field(default_factory=dict)

    def as_json(self) -> dict[str, dict[str, str]]:
        """What is kept with the upload itself; headings are remembered for the person."""
        return {"lists": dict(self.lists), "charsets": dict(self.charsets)}

    def list_of(self, file: str, sheet: str) -> str:
        """The list that somebody said this sheet holds; empty where nothing was said."""
        return next((self.lists[name] for name in (place_of(file, sheet), file, sheet) if name in self.lists), "")


NO_INSTRUCTIONS = Instructions()


def place_of(file: str, sheet: str) -> str:
    """A sheet of a file, in one text."""
    return f"{file}/{sheet}"

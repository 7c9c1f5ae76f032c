"""A file as it was handed over, before anybody has looked into it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from kits.catalog.folding import without_turns


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A file as it came: its name, shown as it stands, and its bytes."""

    name: str
    content: bytes

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", without_turns(self.name))

    @property
    def digest(self) -> str:
        """What tells this content from any other."""
        return hashlib.sha256(self.content).hexdigest()

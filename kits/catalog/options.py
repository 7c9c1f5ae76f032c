"""Options: the text of a cell (``compound=FKM; service=normal``) and the pairs that the engine compares."""

from __future__ import annotations

from functools import lru_cache

from bom.values import Options
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold


class OptionError(Refusal):
    """An option text is not made of ``name=value`` pairs."""


def spelled_options(text: str) -> tuple[tuple[str, str], ...]:
    """Return the pairs of an option text as typed, sorted by folded name; refuse a name that is given twice."""
    pairs: dict[str, tuple[str, str]] = {}
    for piece in text.split(";"):
        if not piece.strip():
            continue
        name, equals, value = (" ".join(part.split()) for part in piece.partition("="))
        if not (name and equals and value) or "=" in value:
            raise OptionError(f"Option “{piece.strip()}” is not a name and a value: write it as compound=FKM.")
        if fold(name) in pairs:
            raise OptionError(f"Option “{name}” is given twice in “{text.strip()}”: keep one of them.")
        pairs[fold(name)] = (name, value)
    return tuple(pairs[key] for key in sorted(pairs))


def canonical_options(text: str) -> str:
    """Return the text as it is stored: pairs in order of name, spelled as typed, without stray spaces."""
    return ";".join(f"{name}={value}" for name, value in spelled_options(text))


@lru_cache(maxsize=4096)
def parse_options(text: str) -> Options:
    """Return an option text as the engine takes it: folded names and values, sorted by name."""
    return tuple((fold(name), fold(value)) for name, value in spelled_options(text))


def options_text(options: Options) -> str:
    """Return the engine's options as text."""
    return ";".join(f"{name}={value}" for name, value in options)

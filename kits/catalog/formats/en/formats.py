"""The separators with which the framework writes numbers into templates: those of the shop."""

from __future__ import annotations

from kits.catalog.formats.in_force import formats


def __getattr__(name: str) -> str:
    if name == "DECIMAL_SEPARATOR":
        return formats().separators[0]
    if name == "THOUSAND_SEPARATOR":
        return formats().separators[1]
    raise AttributeError(name)

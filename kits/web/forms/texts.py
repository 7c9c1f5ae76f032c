"""What is typed into any form, the back office's too, reads as it stands: turning signs are left out of every text.

The library keeps them, and has no setting for it. It is put right where a field takes its text, once, before any form
is made; what a field takes untouched, such as a password or a pasted list, it still does.
"""

from __future__ import annotations

from typing import Any

from django import forms

from kits.catalog.folding import without_turns


def read_as_it_stands() -> None:
    """Let every field that trims its text lose what would show it in another order."""
    take = forms.CharField.to_python
    if getattr(take, "reads_as_it_stands", False):
        return

    def to_python(self: forms.CharField, value: Any) -> Any:
        plain = without_turns(value) if self.strip and isinstance(value, str) else value
        return take(self, plain)

    to_python.reads_as_it_stands = True  # type: ignore[attr-defined]
    forms.CharField.to_python = to_python  # type: ignore[method-assign]

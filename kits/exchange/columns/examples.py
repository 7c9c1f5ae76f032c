"""The example row of a sheet, which stands in its template."""

from __future__ import annotations

from datetime import date

from kits.exchange.columns.layout import Layout

EXAMPLE = "EXAMPLE"
"""What the name of every example begins with; no entry of a shop may be called so."""


def example_row(layout: Layout) -> list[str | int | date | None]:
    """The example of a sheet, cell by cell."""
    return [layout.example.get(column.name) for column in layout.columns]

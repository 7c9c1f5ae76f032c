"""The items that an upload names and nobody has: reviewed on a page, and put beside its files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kits.exchange.columns.catalog_layouts import ITEMS
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import Upload
from kits.exchange.reading.pasted import write_rows

COLUMNS = ("part_number", "description", "kind", "stock_unit")


def add_items(upload: Upload, rows: Sequence[Mapping[str, str]]) -> list[SheetFile]:
    """The files of an upload, and behind them the items that they lack, as the text file of the sheet Items."""
    own = [SheetFile(file.name, bytes(file.content)) for file in upload.files.all()]
    return [*own, write_rows(ITEMS, [list(COLUMNS), *([row[name] for name in COLUMNS] for row in rows)])]

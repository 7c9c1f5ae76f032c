"""Puts the results of formulas into a finished workbook: the library that writes it cannot store them itself."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence

from kits.exchange.workbooks.report_sheet import Results


def store_results(content: bytes, sheets: Sequence[str], results: Results) -> bytes:
    """Return the workbook with every noted result beside its formula; ``sheets`` are the titles in their order."""
    by_part: dict[str, dict[str, str]] = {}
    for (sheet, cell), value in results.items():
        name = f"xl/worksheets/sheet{sheets.index(sheet) + 1}.xml"
        by_part.setdefault(name, {})[cell] = str(value)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as package, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as filled:
        for entry in package.infolist():
            part = package.read(entry)
            filled.writestr(entry, _fill(part, by_part[entry.filename]) if entry.filename in by_part else part)
    return out.getvalue()


def _fill(part: bytes, results: dict[str, str]) -> bytes:
    for cell, value in results.items():
        pattern = re.compile(rb'(<c r="%s"[^>]*><f>[^<]*</f>)<v\s*(?:/>|></v>)' % cell.encode())
        part, count = pattern.subn(b"\\1<v>" + value.encode() + b"</v>", part)
        if count != 1:
            raise ValueError(f"The formula of cell {cell} was written {count} times, not once.")
    return part

"""An indented list turned into rows of the sheet Structure, one for each line that stands below another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import AtRebuild, ItemKind, QuantityIsFor, Source
from kits.exchange.reading.indented_lines import SAYS, SIGNS, IndentedLine, IndentedList, read_indented
from kits.exchange.reading.pasted import taken_apart, written
from kits.exchange.reading.sheet_files import SheetFile
from kits.exchange.sheets.layouts import STRUCTURE
from kits.exchange.uploads.problems import Findings

_OWN = ("parent", "child", "quantity", "quantity_is_for", "pump", "at_rebuild", "order")


@dataclass(frozen=True, slots=True)
class ListReading:
    """How a list is to be read; every part of it may be left open.

    ``shape`` is found out when it is blank. ``parent`` is what the topmost lines belong to, ``at_rebuild`` what happens
    to parts that the list and the records say nothing about, ``pump`` the one over which quantities were counted.
    """

    shape: str = ""
    parent: str = ""
    at_rebuild: str = ""
    pump: str = ""


@dataclass(frozen=True, slots=True)
class _Placed:
    """A line and the part number that it stands below."""

    line: IndentedLine
    parent: str


def indented_file(text: str, reading: ListReading, findings: Findings) -> SheetFile:
    """A pasted indented list as the text file of the sheet Structure; every row keeps its number."""
    found = read_indented(taken_apart(text, STRUCTURE), reading.shape)
    says = f"the list was read by {SAYS[found.shape]}"
    if not found.has_headings:
        says += "; it has no headings, so its first line counts as row 2"
    findings.remark(STRUCTURE.name, "", says)
    placed = _place(found, reading.parent, findings)
    rows = _rows(_without_repeats(placed, whole=bool(reading.pump), findings=findings), reading)
    headings = [*_OWN, *(name for name in _more(found) if name not in _OWN)]
    last = max((one.line.row for one in placed), default=1)
    laid = [
        [rows[number].get(name, "") for name in headings] if number in rows else [] for number in range(2, last + 1)
    ]
    return written(STRUCTURE, [headings, *laid])


def _more(found: IndentedList) -> list[str]:
    return list(dict.fromkeys(name for line in found.lines for name in line.cells))


def _place(found: IndentedList, parent: str, findings: Findings) -> list[_Placed]:
    """Find the line that each line stands below."""
    placed: list[_Placed] = []
    above: list[IndentedLine] = []
    for line in found.lines:
        if not line.part_number or line.indent < 0:
            _refuse(findings, line, "no part number or no depth can be made out", "write both, or delete the line")
            continue
        popped = None
        while above and above[-1].indent >= line.indent:
            popped = above.pop()
        if wrong := _misplaced(found.shape, line, above, popped):
            _refuse(findings, line, *wrong)
        elif above or parent:
            placed.append(_Placed(line, above[-1].part_number if above else parent))
        above.append(line)
    return placed


def _misplaced(
    shape: str, line: IndentedLine, above: Sequence[IndentedLine], popped: IndentedLine | None
) -> tuple[str, str] | None:
    if popped is not None and popped.indent != line.indent and (shape == SIGNS or above):
        return ("it is indented as no line above it is", "move it below the line that holds it")
    if popped is None and above and line.indent - above[-1].indent > 1 and shape != SIGNS:
        return (f"its depth is {line.indent}, right after {above[-1].indent}", "add the line that stands between")
    if line.outline and above and line.outline.rpartition(".")[0] != above[-1].outline:
        return (f"no line {line.outline.rpartition('.')[0]} stands above it", "put the outline numbers right")
    return None


def _without_repeats(placed: Sequence[_Placed], *, whole: bool, findings: Findings) -> list[_Placed]:
    """An assembly that the list opens in several places is stored once; it must hold the same each time."""
    first: dict[tuple[str, str, str, str], tuple[int, _Placed]] = {}
    kept: list[_Placed] = []
    for one, block in zip(placed, _blocks(placed), strict=True):
        key = (
            fold(one.parent),
            fold(one.line.part_number),
            fold(one.line.cells.get("position", "")),
            fold(one.line.cells.get("option", "")),
        )
        before, other = first.setdefault(key, (block, one))
        if other is one or before == block:
            kept.append(one)
        elif whole or one.line.cells.get("quantity") != other.line.cells.get("quantity"):
            _refuse(
                findings,
                one.line,
                f"{one.parent} holds {other.line.cells.get('quantity', '')} of it in row {other.line.row} "
                f"and {one.line.cells.get('quantity', '')} here",
                "add the two up in one line" if whole else "make both alike, or leave the second block out",
            )
        else:
            findings.remark(STRUCTURE.name, "child", f"{one.parent} is opened again; stored once", one.line.row)
    return kept


def _blocks(placed: Sequence[_Placed]) -> list[int]:
    """Which opening of its parent each line belongs to: the row at which the parent stood."""
    rows: dict[str, int] = {}
    blocks = []
    for one in placed:
        blocks.append(rows.get(fold(one.parent), 0))
        rows[fold(one.line.part_number)] = one.line.row
    return blocks


def _rows(placed: Sequence[_Placed], reading: ListReading) -> dict[int, dict[str, str]]:
    stored, unasked = _stored(), _bare_parents()
    with_lines = {parent for parent, _, _ in stored}
    opened = {fold(one.parent) for one in placed}
    counted: dict[str, int] = {}
    rows: dict[int, dict[str, str]] = {}
    for one in placed:
        parent, child = fold(one.parent), fold(one.line.part_number)
        counted[parent] = counted.get(parent, 0) + 1
        at_rebuild, order = stored.get((parent, child, fold(one.line.cells.get("position", ""))), ("", ""))
        if parent not in unasked:
            at_rebuild = at_rebuild or (AtRebuild.OPEN.value if child in opened else reading.at_rebuild)
        if parent not in with_lines:
            order = str(10 * counted[parent])
        row = {
            **{name: text for name, text in one.line.cells.items() if text},
            "parent": one.parent,
            "child": one.line.part_number,
            "quantity_is_for": (QuantityIsFor.WHOLE_PUMP if reading.pump else QuantityIsFor.ONE_PARENT).value,
            "pump": reading.pump,
        }
        rows[one.line.row] = {"at_rebuild": at_rebuild, "order": order} | row
    return rows


def _stored() -> Mapping[tuple[str, str, str], tuple[str, str]]:
    """What the records say of a line already: what happens at a rebuild, and its order."""
    lines = StructureLine.objects.values_list("parent__folded", "child__folded", "position", "at_rebuild", "order")
    return {(parent, child, fold(where)): (what, str(order)) for parent, child, where, what, order in lines}


def _bare_parents() -> frozenset[str]:
    """Kits and made assemblies: nothing is asked about what they hold."""
    kits = Item.objects.filter(kind=ItemKind.KIT) | Item.objects.filter(source=Source.MAKE)
    return frozenset(kits.values_list("folded", flat=True))


def _refuse(findings: Findings, line: IndentedLine, reason: str, remedy: str) -> None:
    findings.refuse(STRUCTURE.name, line.row, "child", line.part_number, reason, remedy)

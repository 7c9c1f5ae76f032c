"""An indented list turned into rows of the sheet Structure, one for each line that stands below another."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import AtRebuild, ItemKind, QuantityIsFor, Source
from kits.exchange.columns.catalog_layouts import STRUCTURE
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.indented.cells import rows_of_text
from kits.exchange.reading.indented.columns import QUANTITY, UNIT
from kits.exchange.reading.indented.shapes import (
    GROUPS,
    OUTLINE,
    SAYS,
    SIGNS,
    IndentedLine,
    IndentedList,
    each_outline,
    read_indented,
)
from kits.exchange.reading.pasted import ParentMissing, write_rows
from kits.planning.words.states import plural

_OWN = ("parent", "child", "quantity", "quantity_is_for", "pump", "at_rebuild", "order")
_PLAIN = re.compile(r"\d+(?:\.\d+)?")
_COUNT = re.compile(r"[x×]?\s*(\d+(?:[.,]\d+)?)\s*(?:[x×]|pcs?|pieces?|off|ea|each)?\.?", re.IGNORECASE)
_LONGEST_NUMBER = 100


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

    @property
    def quantity(self) -> str:
        return self.line.cells.get(QUANTITY, "")


def indented_file(text: str, reading: ListReading, findings: Findings) -> SheetFile:
    """A pasted indented list as the text file of the sheet Structure; every row keeps its number."""
    found = read_indented(rows_of_text(text), reading.shape)
    _say_how(found, findings)
    _name(found.lines, findings)
    placed, holding = _place(found, reading.parent, findings)
    _say_how_many(found, len(placed) + holding, findings)
    kept = _without_repeats(_added_up(placed, findings), whole=bool(reading.pump), findings=findings)
    lines = _rows(kept, reading, findings)
    headings = [*_OWN, *(name for name in _more(found) if name not in _OWN)]
    last = max((one.line.row for one in placed), default=1)
    laid = [
        [lines[number].get(name, "") for name in headings] if number in lines else [] for number in range(2, last + 1)
    ]
    return write_rows(STRUCTURE, [headings, *laid])


def _more(found: IndentedList) -> list[str]:
    return list(dict.fromkeys(name for line in found.lines for name in line.cells))


def _say_how(found: IndentedList, findings: Findings) -> None:
    says = f"the list was read by {SAYS[found.shape]}"
    if not found.has_headings:
        says += "; it has no headings, so its first line counts as row 2"
    findings.remark(STRUCTURE.name, "", says)
    if found.columns.unread:
        findings.remark(STRUCTURE.name, "", f"columns not read: {', '.join(found.columns.unread[:12])}")
    for row in found.above:
        findings.remark(STRUCTURE.name, "", "rows above the headings were not read", row)
    for row in found.kinds:
        says = "titles that stand below several others are read as kinds of parts, and hold nothing"
        findings.remark(STRUCTURE.name, "", says, row)
    for row in found.notes:
        findings.remark(STRUCTURE.name, "", "totals, remarks and other rows without a part were not read", row)


def _name(lines: Iterable[IndentedLine], findings: Findings) -> None:
    """Give a part number to lines that have a name only: that of the item so called, else the name itself."""
    nameless = [line for line in lines if not line.part_number or line.is_title or line.under]
    known = _items_by_name() if nameless else {}
    taken = 0
    for line in lines:
        line.under = known.get(fold(line.under), line.under)
        if line.is_title:
            line.part_number = known.get(fold(line.part_number), line.part_number)
        elif not line.part_number and line.name:
            line.part_number = known.get(fold(line.name), line.name)
            taken += 1
        if line.part_number:
            findings.describe(line.part_number, line.name or line.part_number, line.cells.get(UNIT, ""))
    if taken:
        says = "lines without a part number are known by their name, or by the number of the item so called"
        findings.remark(STRUCTURE.name, "child", says)


def _items_by_name() -> dict[str, str]:
    """Folded number or description -> the number of the only item that it means."""
    items = list(Item.objects.values_list("folded", "part_number", "description"))
    often = Counter(fold(what) for _, _, what in items)
    found = {fold(what): number for _, number, what in items if often[fold(what)] == 1}
    return found | {folded: number for folded, number, _ in items}


def _place(found: IndentedList, parent: str, findings: Findings) -> tuple[list[_Placed], int]:
    """The lines with what each stands below, and how many stand below nothing but hold something."""
    sound = [line for line in found.lines if _is_sound(line, findings)]
    if found.shape == GROUPS:
        held = [line for line in sound if line.under or parent]
        if held:
            _refuse_idle(findings, [line for line in sound if not line.under and not parent])
        return [_Placed(line, line.under or parent) for line in held], 0
    placed = (
        _by_outline(sound, parent, findings) if found.shape == OUTLINE else _by_depth(found, sound, parent, findings)
    )
    holders = {fold(one.parent) for one in placed}
    below = {id(one.line) for one in placed}
    tops = [line for line in sound if id(line) not in below]
    idle = [line for line in tops if fold(line.part_number) not in holders and not line.is_title]
    if placed and not findings.problems:
        _refuse_idle(findings, idle)
    return placed, len(tops) - len(idle)


def _refuse_idle(findings: Findings, lines: Iterable[IndentedLine]) -> None:
    for line in lines:
        reason = "it holds nothing, and nothing says what holds it"
        _refuse(findings, line, reason, "say what holds the topmost lines, or leave the line out")


def _is_sound(line: IndentedLine, findings: Findings) -> bool:
    if line.is_torn:
        reason = "this row has more cells than there are headings"
        _refuse(findings, line, reason, "put quotation marks around a text that holds what parts the cells")
        return False
    if not line.part_number or line.indent < 0:
        _refuse(findings, line, "no part number or no depth can be made out", "write both, or delete the line")
        return False
    if len(line.part_number) > _LONGEST_NUMBER:
        reason = f"it has {len(line.part_number)} characters, more than a part number can have"
        _refuse(findings, line, reason, "give it a number of its own, or delete the line if it is a remark")
        return False
    return True


def _by_depth(found: IndentedList, lines: Sequence[IndentedLine], parent: str, findings: Findings) -> list[_Placed]:
    placed: list[_Placed] = []
    above: list[IndentedLine] = []
    if parent and _is_title_of_all(lines):
        lines = lines[1:]
    for line in lines:
        popped = None
        while above and above[-1].indent >= line.indent:
            popped = above.pop()
        if wrong := _misplaced(found.shape, line, above, popped):
            _refuse(findings, line, *wrong)
        elif above or parent:
            if line.is_title:
                line.cells[QUANTITY] = "1"
                findings.remark(STRUCTURE.name, "quantity", "a title counts as one of what it names", line.row)
            placed.append(_Placed(line, above[-1].part_number if above else parent))
        above.append(line)
    return placed


def _is_title_of_all(lines: Sequence[IndentedLine]) -> bool:
    """Whether the first line is the title of the whole list, which a holder that was given takes the place of."""
    return len(lines) > 1 and lines[0].is_title and all(line.indent > lines[0].indent for line in lines[1:])


def _misplaced(
    shape: str, line: IndentedLine, above: Sequence[IndentedLine], popped: IndentedLine | None
) -> tuple[str, str] | None:
    if line.is_title:
        return None
    if popped is not None and popped.indent != line.indent and (shape == SIGNS or above):
        return ("it is indented as no line above it is", "move it below the line that holds it")
    if popped is None and above and line.indent - above[-1].indent > 1 and shape != SIGNS:
        return (f"its depth is {line.indent}, right after {above[-1].indent}", "add the line that stands between")
    return None


def _by_outline(lines: Sequence[IndentedLine], parent: str, findings: Findings) -> list[_Placed]:
    placed: list[_Placed] = []
    first: dict[str, IndentedLine] = {}
    topmost = min((line.indent for line in lines), default=1)
    for line, holder in each_outline(lines):
        other = first.setdefault(line.outline, line)
        if other is not line:
            says = f"the outline number {line.outline} stands twice, first in row {other.row}"
            _refuse(
                findings, line, says, "put the outline numbers right; a spreadsheet makes 1.1 of 1.10 unless it is text"
            )
        elif holder is not None:
            placed.append(_Placed(line, holder.part_number))
        elif line.indent > topmost:
            says = f"no line {line.outline.rpartition('.')[0]} stands above it"
            _refuse(findings, line, says, "put the outline numbers right")
        elif parent:
            placed.append(_Placed(line, parent))
    return placed


def _say_how_many(found: IndentedList, understood: int, findings: Findings) -> None:
    """How many lines were understood; where none was, the list is refused with the first line it stumbled on."""
    count = len(found.lines)
    own = sorted(
        (problem for problem in findings.problems if problem.sheet == STRUCTURE.name), key=lambda one: one.row or 0
    )
    if understood:
        first = f"; the first that was not is row {own[0].row}" if own else ""
        were = "was" if understood == 1 else "were"
        findings.remark(STRUCTURE.name, "", f"{understood} of {plural(count, 'line')} {were} understood{first}")
        return
    says = f"0 of {plural(count, 'line')} were understood"
    if not count:
        raise Refusal(f"{says}: no line has a part and a number. Paste the list with its headings, if it has any.")
    if 2 * len(own) > count:
        raise Refusal(f"{says}. The first is row {own[0].row}, “{own[0].value}”: {own[0].reason}; {own[0].remedy}.")
    raise ParentMissing(
        f"{says}: read by {SAYS[found.shape]}, no line of it stands deeper than another, and nothing says what holds "
        "them. Write that here, or choose how depth is written."
    )


def _added_up(placed: Sequence[_Placed], findings: Findings) -> list[_Placed]:
    """A part that stands twice among the lines of one holder, at no position of its own, is one line."""
    first: dict[tuple[object, ...], _Placed] = {}
    for one, block in zip(placed, _blocks(placed), strict=True):
        key = (block, *_key(one), fold(one.line.cells.get(UNIT, "")))
        other = first.get(key)
        counts = [_count(text) for text in (one.quantity, other.quantity if other else "")]
        if other is not None and one.line.is_title:
            continue  # a title that is written again counts once
        if other is None or None in counts or not all(counts):
            first[(*key, one.line.row) if other else key] = one
            continue
        total = format(sum((Decimal(str(count)) for count in counts), Decimal(0)).normalize(), "f")
        cells = {**other.line.cells, QUANTITY: total}
        first[key] = _Placed(replace(other.line, cells=cells), other.parent)
        says = f"{one.line.part_number} stands twice in {one.parent}: added up in row {other.line.row}"
        findings.remark(STRUCTURE.name, "quantity", says, one.line.row)
    return list(first.values())


def _count(text: str) -> str | None:
    found = _COUNT.fullmatch(text.strip())
    return found[1] if found and _PLAIN.fullmatch(found[1]) else None


def _key(one: _Placed) -> tuple[str, str, str, str]:
    cells = one.line.cells
    return fold(one.parent), fold(one.line.part_number), fold(cells.get("position", "")), fold(cells.get("option", ""))


def _without_repeats(placed: Sequence[_Placed], *, whole: bool, findings: Findings) -> list[_Placed]:
    """An assembly that the list opens in several places is stored once; it must hold the same each time."""
    first: dict[tuple[str, str, str, str], tuple[int, _Placed]] = {}
    kept: list[_Placed] = []
    for one, block in zip(placed, _blocks(placed), strict=True):
        before, other = first.setdefault(_key(one), (block, one))
        if other is one or before == block:
            kept.append(one)
        elif whole or one.quantity != other.quantity:
            _refuse(
                findings,
                one.line,
                f"{one.parent} holds {other.quantity} of it in row {other.line.row} and {one.quantity} here",
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


def _rows(placed: Sequence[_Placed], reading: ListReading, findings: Findings) -> dict[int, dict[str, str]]:
    stored, unasked = _stored(), _bare_parents()
    with_lines = {parent for parent, _, _ in stored}
    opened = {fold(one.parent) for one in placed}
    known = _assemblies_with_lines(with_lines)
    counted: dict[str, int] = {}
    rows: dict[int, dict[str, str]] = {}
    for one in placed:
        parent, child = fold(one.parent), fold(one.line.part_number)
        counted[parent] = counted.get(parent, 0) + 1
        at_rebuild, order = stored.get((parent, child, fold(one.line.cells.get("position", ""))), ("", ""))
        if parent not in unasked and not at_rebuild:
            at_rebuild = AtRebuild.OPEN.value if child in opened | known else reading.at_rebuild
            if child in known - opened and not one.line.cells.get("at_rebuild"):
                says = "an assembly that holds something already is opened: write renew where it is replaced as a whole"
                findings.remark(STRUCTURE.name, "at_rebuild", says, one.line.row)
        if parent not in with_lines:
            order = str(10 * counted[parent])
        count = _COUNT.fullmatch(one.quantity)
        row = {
            **{name: text for name, text in one.line.cells.items() if text},
            "parent": one.parent,
            "child": one.line.part_number,
            "quantity_is_for": (QuantityIsFor.WHOLE_PUMP if reading.pump else QuantityIsFor.ONE_PARENT).value,
            "pump": reading.pump,
        }
        if count:
            row[QUANTITY] = count[1]
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


def _assemblies_with_lines(holders: set[str]) -> set[str]:
    """The assemblies that are opened and hold something already, whichever list said so."""
    assemblies = Item.objects.filter(kind=ItemKind.ASSEMBLY).exclude(source__in=(Source.MAKE, Source.PACK))
    return holders.intersection(assemblies.values_list("folded", flat=True))


def _refuse(findings: Findings, line: IndentedLine, reason: str, remedy: str) -> None:
    findings.refuse(STRUCTURE.name, line.row, "child", line.called, reason, remedy)

"""Every name that a row uses must belong to something: an item, a place, a supplier, a job, a lot, a scope."""

from __future__ import annotations

from collections.abc import Mapping

from kits.catalog.folding import fold
from kits.exchange.columns.layout import Column
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.problems.findings import NO_ITEM, Findings
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.records.names import Names
from kits.exchange.records.records import SheetRecord

_BROUGHT_BY = {column.brings: layout.name for layout in LAYOUTS for column in layout.columns if column.brings}
"""Kind of name -> the sheet that brings new ones."""
_MOST_SEARCHED = 200


class ReferenceCheck:
    """Looks names up, writes them as the shop spells them, and offers what may have been meant by an unknown one."""

    def __init__(self, names: Names, findings: Findings) -> None:
        self._names = names
        self._findings = findings
        self._spellings: dict[str, Mapping[str, str]] = {
            "place": names.places,
            "supplier": names.suppliers,
            "job": names.jobs,
            "finding": names.findings,
        }
        self._alike: dict[tuple[str, str], str] = {}
        self._all_parts: KnownMarks | None = None

    def check(self, record: SheetRecord) -> None:
        """Check all names of one row."""
        for column in record.sheet.columns:
            if column.reads == "part" and not column.brings:
                self._check_part(record, column.name)
        for column in record.sheet.columns:
            if column.names in self._spellings:
                self._check_name(record, column)
        for column in record.sheet.columns:
            if column.names == "scope":
                self._check_scope(record, column)
            elif column.names == "lot":
                self._check_lot(record, column)

    def _check_part(self, record: SheetRecord, column: str) -> None:
        number = record.text(column)
        if not number:
            return
        facts = self._names.item(number)
        if facts is not None:
            record.values[column] = facts.part_number
            return
        self._refuse(record, column, number, "part", f"{NO_ITEM}{number}", "add it to Items")

    def _check_name(self, record: SheetRecord, column: Column) -> None:
        name, kind = record.text(column.name), column.names
        if not name:
            return
        spelled = self._spellings[kind].get(fold(name))
        if spelled:
            record.values[column.name] = spelled
        elif column.may_be_unknown:
            says = f"the {kind} {name} is not among the {kind}s"
            self._findings.remark(record.sheet.name, column.name, says, record.row, record.file)
        else:
            self._refuse(
                record, column.name, name, kind, f"there is no {kind} {name}", f"add it to {_BROUGHT_BY[kind]}"
            )

    def _refuse(self, record: SheetRecord, column: str, name: str, kind: str, reason: str, remedy: str) -> None:
        alike = self.alike(kind, name)
        hint = f"did you mean {alike}? Else " if alike else ""
        record.refuse(self._findings, column, reason, f"{hint}{remedy}")

    def alike(self, kind: str, name: str) -> str:
        """The known names that look like an unknown one, in words; empty where none does."""
        key = (kind, fold(name))
        if key not in self._alike:
            searched = len(self._alike) < _MOST_SEARCHED
            marks = self._parts() if kind == "part" else KnownMarks(self._spellings[kind].values())
            self._alike[key] = " or ".join(marks.alike(name)) if searched else ""
        return self._alike[key]

    def _parts(self) -> KnownMarks:
        if self._all_parts is None:
            self._all_parts = self._names.parts.with_marks(facts.part_number for facts in self._names.items.values())
        return self._all_parts

    def _check_scope(self, record: SheetRecord, column: Column) -> None:
        pump, scope = record.text(column.within), record.text(column.name)
        if not pump or not scope or self._names.item(pump) is None:
            return
        spelled = self._names.scopes.get((fold(pump), fold(scope)))
        if spelled:
            record.values[column.name] = spelled
            return
        known = sorted(name for (owner, _), name in self._names.scopes.items() if name and owner == fold(pump))
        choice = f"write one of: {'; '.join(known)}" if known else f"add scopes of {pump} to Scopes"
        record.refuse(self._findings, column.name, f"{pump} has no scope {scope}", choice)

    def _check_lot(self, record: SheetRecord, column: Column) -> None:
        part, lot = record.text(column.within), record.text(column.name)
        if part and lot and self._names.item(part) and (fold(part), fold(lot)) not in self._names.lots:
            record.refuse(
                self._findings,
                column.name,
                f"{part} has no lot {lot}",
                "add it to Lots, with a quantity of 0 if none of it is left",
            )

"""Every name that a row uses must belong to something: an item, a place, a supplier, a job, a lot, a scope."""

from __future__ import annotations

from collections.abc import Mapping

from kits.catalog.folding import fold
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.sheets.names import Names
from kits.exchange.sheets.records import Record
from kits.exchange.uploads.problems import NO_ITEM, Findings

_REFERENCES = {
    "Lots": {"place": "place"},
    "Offers": {"supplier": "supplier"},
    "Orders": {"supplier": "supplier"},
    "Issued": {"job": "job", "place": "place"},
    "Verdicts": {"job": "job"},
    "Findings": {"job": "job", "finding": "finding"},
    "Items": {"home_place": "place"},
}
_LOTS = {"Issued": (("part_number", "lot"),), "KitContents": (("part_number", "lot"), ("holds", "of_lot"))}
"""Sheet -> columns of a part and of one of its lots."""
_BROUGHT_BY = {"place": "Places", "supplier": "Suppliers", "job": "Schedule", "finding": "FindingRules"}
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

    def check(self, record: Record) -> None:
        """Check all names of one row."""
        for column in record.sheet.columns:
            if column.reads == "part" and not (record.sheet.name == "Items" and column.key):
                self._check_part(record, column.name)
        for column_name, kind in _REFERENCES.get(record.sheet.name, {}).items():
            self._check_name(record, column_name, kind)
        if record.sheet.name == "Schedule":
            self._check_scope(record)
        for part, lot in _LOTS.get(record.sheet.name, ()):
            self._check_lot(record, part, lot)

    def _check_part(self, record: Record, column: str) -> None:
        number = record.text(column)
        if not number:
            return
        facts = self._names.item(number)
        if facts is not None:
            record.values[column] = facts.part_number
            return
        self._refuse(record, column, number, "part", f"{NO_ITEM}{number}", "add it to Items")

    def _check_name(self, record: Record, column: str, kind: str) -> None:
        name = record.text(column)
        if not name:
            return
        spelled = self._spellings[kind].get(fold(name))
        if spelled:
            record.values[column] = spelled
            return
        if column == "home_place":
            self._findings.remark(
                record.sheet.name, column, f"the place {name} is not among the places", record.row, record.file
            )
            return
        self._refuse(record, column, name, kind, f"there is no {kind} {name}", f"add it to {_BROUGHT_BY[kind]}")

    def _refuse(self, record: Record, column: str, name: str, kind: str, reason: str, remedy: str) -> None:
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

    def _check_scope(self, record: Record) -> None:
        pump, scope = record.text("pump"), record.text("scope")
        if not pump or not scope or self._names.item(pump) is None:
            return
        spelled = self._names.scopes.get((fold(pump), fold(scope)))
        if spelled:
            record.values["scope"] = spelled
            return
        known = sorted(name for (owner, _), name in self._names.scopes.items() if name and owner == fold(pump))
        choice = f"write one of: {'; '.join(known)}" if known else f"add scopes of {pump} to Scopes"
        record.refuse(self._findings, "scope", f"{pump} has no scope {scope}", choice)

    def _check_lot(self, record: Record, part_column: str, lot_column: str) -> None:
        part, lot = record.text(part_column), record.text(lot_column)
        if part and lot and self._names.item(part) and (fold(part), fold(lot)) not in self._names.lots:
            record.refuse(
                self._findings,
                lot_column,
                f"{part} has no lot {lot}",
                "add it to Lots, with a quantity of 0 if none of it is left",
            )

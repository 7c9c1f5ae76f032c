"""What must hold of rows of Structure, Scopes, KitFits, FindingRules and Substitutes."""

from __future__ import annotations

from datetime import date

from bom.values import PACKED_SOURCES
from kits.catalog.days.words import in_full
from kits.catalog.folding import fold
from kits.exchange.problems.findings import Findings
from kits.exchange.records.names import Names, with_article
from kits.exchange.records.records import SheetRecord


def check_structure_line(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one structure line by itself; cycles and the like are found when the whole structure stands."""
    parent, child = names.item(record.text("parent")), names.item(record.text("child"))
    if parent is None or child is None:
        return
    if parent is child:
        record.refuse(findings, "child", f"{parent.part_number} cannot hold itself", "correct parent or child")
    if parent.kind == "part" and parent.source not in PACKED_SOURCES:
        record.refuse(
            findings,
            "parent",
            f"{parent.part_number} is a part that is bought, so it holds nothing",
            "make it an assembly, a kit or a pump in Items, or give it the source make",
        )
    _check_at_rebuild(record, names, findings)
    if record.values.get("quantity_is_for") == "whole_pump" and not record.text("pump"):
        record.refuse(
            findings, "pump", "a quantity for the whole pump needs the pump it was counted in", "name the pump"
        )
    check_kind(record, "pump", ("pump",), names, findings)
    first, last = record.values.get("from_date"), record.values.get("to_date")
    if isinstance(first, date) and isinstance(last, date) and last < first:
        record.refuse(findings, "to_date", f"it comes before from_date, {in_full(first)}", "correct one of the two")


def _check_at_rebuild(record: SheetRecord, names: Names, findings: Findings) -> None:
    parent = names.item(record.text("parent"))
    if parent is None or record.values.get("at_rebuild") is not None or record.faulty:
        return
    if parent.kind in {"", "kit"} or parent.source in PACKED_SOURCES:
        return
    record.refuse(
        findings,
        "at_rebuild",
        f"{record.text('child')} in {parent.part_number} does not say what happens to it at a rebuild",
        "write open, renew, inspect or keep",
    )


def check_scope_row(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one row of a scope."""
    check_kind(record, "pump", ("pump",), names, findings)
    check_kind(record, "section", ("assembly", "pump"), names, findings)
    if "use_kits" not in record.values:
        return
    pump, scope, section = (fold(record.text(column)) for column in ("pump", "scope", "section"))
    says = bool(record.values["use_kits"])
    if any(
        other_says != says
        for (other_pump, other_scope, other_section), other_says in names.use_kits.items()
        if (other_pump, other_scope) == (pump, scope) and other_section != section
    ):
        record.refuse(
            findings,
            "use_kits",
            f"the rows of scope {record.text('scope')} do not agree",
            "write the same on all rows of the scope",
        )


def check_kit_fit(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check which kit is said to fit what."""
    check_kind(record, "kit", ("kit",), names, findings)
    check_kind(record, "fits", ("assembly", "pump"), names, findings)


def check_finding_rule(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check what a named finding is said to mean."""
    check_kind(record, "assembly", ("assembly", "pump"), names, findings)
    effect, quantity = record.values.get("effect"), record.values.get("quantity")
    if effect == "add":
        check_kind(record, "part_number", ("part", "assembly"), names, findings)
        if not record.text("part_number"):
            record.refuse(findings, "part_number", "a finding that adds names what is added", "name the part")
        if quantity is None and not record.faulty:
            record.refuse(
                findings, "quantity", "a finding that adds says how many for one assembly", "give the quantity"
            )
    elif effect == "renew" and quantity is not None:
        record.refuse(
            findings,
            "quantity",
            "a finding that renews takes as many as the lines of the assembly say",
            "leave the quantity blank, or write add",
        )
    if not record.text("part_number"):
        record.values.pop("unit", None)


def check_substitute(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one substitute."""
    part, other = names.item(record.text("part_number")), names.item(record.text("substitute"))
    if part is None or other is None:
        return
    if part is other:
        record.refuse(findings, "substitute", "an item is no substitute for itself", "name another item")
    elif part.stock_unit and other.stock_unit and part.stock_unit != other.stock_unit:
        record.refuse(
            findings,
            "substitute",
            f"{other.part_number} is kept in {other.stock_unit}, {part.part_number} in {part.stock_unit}",
            "name an item kept in the same unit",
        )


def check_kind(record: SheetRecord, column: str, kinds: tuple[str, ...], names: Names, findings: Findings) -> None:
    """Refuse an item of another kind than the column takes."""
    facts = names.item(record.text(column))
    if facts is not None and facts.kind not in ("", *kinds):
        wanted = " or ".join(with_article(kind) for kind in kinds)
        record.refuse(
            findings,
            column,
            f"{facts.part_number} is {with_article(facts.kind)}, not {wanted}",
            "name another, or correct its kind in Items",
        )

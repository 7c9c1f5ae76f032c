"""What must hold of a row of Items."""

from __future__ import annotations

from collections.abc import Sequence

from bom.structure.shelf_life import is_elastomer
from kits.catalog.folding import fold
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.records.names import Names, usual_source, with_article
from kits.exchange.records.records import SheetRecord

_ONLY_INSIDE = frozenset({"in_kit_only", "in_assembly_only"})


def check_item(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one item and fill in what a blank source means."""
    facts = names.item(record.text("part_number"))
    if facts is None:
        return
    if record.values.get("source") is None and (facts.is_new or "source" in record.values):
        record.values["source"] = usual_source(facts.kind)
    _check_stock_unit(record, names, findings)
    if is_elastomer(facts.material) and not facts.has_life:
        record.refuse(
            findings,
            "shelf_life_years",
            f"it is blank, although the material {facts.material} is an elastomer or has one inside",
            "write the years, or unlimited; a blank never means that it keeps for ever",
        )
    _check_get_as(record, names, findings)
    if record.text("default_option") and facts.kind not in {"", "pump"}:
        record.refuse(
            findings,
            "default_option",
            f"{facts.part_number} is {with_article(facts.kind)}, and only pumps answer options",
            "leave it blank",
        )
    least, most = record.values.get("minimum"), record.values.get("maximum")
    if isinstance(least, int) and isinstance(most, int) and least > most:
        record.refuse(findings, "maximum", "the maximum is below the minimum", "correct one of the two")
    if record.values.get("how_sure_percent") == 0:
        record.refuse(
            findings,
            "how_sure_percent",
            "nothing can be covered with a chance of 0",
            "write a number above 0, such as 90",
        )


def _check_stock_unit(record: SheetRecord, names: Names, findings: Findings) -> None:
    facts = names.item(record.text("part_number"))
    unit = record.text("stock_unit")
    if facts is None or not unit:
        return
    if not facts.is_new and unit != facts.stock_unit:
        record.refuse(
            findings,
            "stock_unit",
            f"{facts.part_number} is kept in {facts.stock_unit}, and all its quantities are stored in it",
            "give what is measured otherwise a part number of its own",
        )
    if facts.kind not in {"", "part"} and unit != "each":
        record.refuse(findings, "stock_unit", f"{with_article(facts.kind)} is counted", "write each")


def _check_get_as(record: SheetRecord, names: Names, findings: Findings) -> None:
    source, get_as = record.text("source"), record.text("get_as")
    if source in _ONLY_INSIDE and not get_as:
        record.refuse(findings, "get_as", f"a source of {source} needs the number that holds the piece", "name it")
    elif get_as and fold(get_as) == fold(record.text("part_number")):
        record.refuse(findings, "get_as", "an item cannot be got as itself", "name the kit or assembly that holds it")
    elif get_as and source and source not in _ONLY_INSIDE:
        findings.remark(
            record.sheet.name, "get_as", f"get_as is not used with a source of {source}", record.row, record.file
        )


def check_items(records: Sequence[SheetRecord], names: Names, findings: Findings) -> None:
    """Say what is odd about the numbers of items beside those of others."""
    _check_other_numbers(records, names, findings)
    _remark_look_alikes(records, names, findings)


def _remark_look_alikes(records: Sequence[SheetRecord], names: Names, findings: Findings) -> None:
    new = [facts for record in records if (facts := names.item(record.text("part_number"))) and facts.is_new]
    if not new:
        return
    known = KnownMarks(facts.part_number for facts in names.items.values())
    for record in records:
        facts = names.item(record.text("part_number"))
        if facts and facts.is_new and (others := known.looking_like(facts.part_number)):
            findings.remark(
                record.sheet.name,
                "part_number",
                f"{facts.part_number} looks like {others[0]}, which is another item",
                record.row,
                record.file,
            )


def _check_other_numbers(records: Sequence[SheetRecord], names: Names, findings: Findings) -> None:
    for record in records:
        own = fold(record.text("part_number"))
        for number in record.values.get("other_numbers") or ():  # type: ignore[attr-defined]
            if len(number) > 100:
                record.refuse(
                    findings, "other_numbers", "one of them has more than 100 characters", "put ; between the numbers"
                )
            if fold(number) in names.items and fold(number) != own:
                findings.remark(
                    record.sheet.name,
                    "other_numbers",
                    f"{number} is also the own number of an item",
                    record.row,
                    record.file,
                )

"""What must hold of rows of Lots, KitContents, Issued, Schedule, Verdicts, Offers, Suppliers and Settings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import KNOWN_SETTINGS, ShopSettings
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.cells.cell import begin_small, reason_and_remedy
from kits.exchange.records.names import Names
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.rules.catalog import check_kind
from kits.schedule.models import Job
from kits.schedule.stages import is_done, written_stage_fault
from kits.stock.lot_codes import ANOTHER_CODE, says_made_here

STANDS_STILL = (
    "the day of the shop stands still at {day} from now on, so nothing gets older, late or due: leave the value blank, "
    "and it follows the calendar"
)
LOT_FACTS = ("cure", "last_use", "received", "maker_batch", "certificate", "owner")


def check_job(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one job by itself."""
    check_kind(record, "pump", ("pump",), names, findings)
    strip, build = record.values.get("strip_date"), record.values.get("build_date")
    if isinstance(strip, date) and isinstance(build, date) and strip > build:
        findings.remark(
            record.sheet.name, "strip_date", "the pump is stripped after its build date", record.row, record.file
        )


def check_stages(records: Sequence[SheetRecord], names: Names, findings: Findings) -> None:
    """A list brings in jobs of the past at any stage; one that is known is built, tested and shipped on its page."""
    said = [record for record in records if record.text("stage")]
    stored = dict(Job.objects.values_list("folded", "stage")) if said else {}
    for record in said:
        before, after = stored.get(fold(record.text("job"))), record.text("stage")
        if fault := written_stage_fault(before, after):
            record.refuse(findings, "stage", *fault)
        elif before is None and is_done(after):
            findings.remark(
                record.sheet.name,
                "stage",
                "a job of the past, as new: what went into it and what was found on it is not checked here",
                record.row,
                record.file,
            )


def check_verdict(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one verdict: whoever takes a position out of its group says why."""
    if record.values.get("with_group") is False and not record.text("found").strip():
        says = "the position is taken out of its group, and nothing says why"
        record.refuse(findings, "with_group", says, "write the reason under found, or leave with_group blank")


def check_kit_piece(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one piece of a kit: only kits hold pieces, and none holds its own lot."""
    check_kind(record, "part_number", ("kit",), names, findings)
    kit, lot = (fold(record.text(name)) for name in ("part_number", "lot"))
    if record.text("of_lot") and (fold(record.text("holds")), fold(record.text("of_lot"))) == (kit, lot):
        record.refuse(findings, "of_lot", "a kit does not hold its own lot", "name the lot of the piece that is in it")


def check_lot(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one lot: a code that the shop made up belongs to one item alone."""
    made_for = names.made_here.get(fold(record.text("lot")))
    if made_for is not None and fold(made_for) != fold(record.text("part_number")):
        record.refuse(findings, "lot", begin_small(says_made_here(record.text("lot"), made_for)), ANOTHER_CODE)


def check_supplier(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check one supplier."""
    first, last = record.values.get("closed_from"), record.values.get("closed_to")
    if isinstance(first, date) and isinstance(last, date) and last < first:
        record.refuse(findings, "closed_to", f"it comes before closed_from, {in_full(first)}", "correct one of the two")
    columns = {"closed_from", "closed_to"}
    if (first is None) != (last is None) or len(columns & record.values.keys()) == 1:
        column = "closed_from" if first is None else "closed_to"
        says = "a supplier closes from one day to another, and only one of the two is given"
        record.refuse(findings, column, says, "write both days, or leave both blank")


def check_setting(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Check a setting by the words of the setting itself; a name that nothing uses is only remarked."""
    name = fold(record.text("name"))
    settings = ShopSettings({name: record.text("value")})
    try:
        getattr(settings, name, None)
        if name == "today" and settings.today:
            findings.remark(
                record.sheet.name, "value", STANDS_STILL.format(day=in_full(settings.today)), record.row, record.file
            )
        if name not in KNOWN_SETTINGS:
            findings.remark(
                record.sheet.name,
                "name",
                f"nothing uses a setting named {record.text('name')}",
                record.row,
                record.file,
            )
    except Refusal as error:
        _, remedy = reason_and_remedy(error, "correct the value")
        record.refuse(findings, "value", f"it cannot stand for the setting {name}", remedy)


def check_lots_agree(records: Sequence[SheetRecord], names: Names, findings: Findings) -> None:
    """Rows of one lot at several places are one making: they cannot differ in what is written on the bag."""
    first: dict[tuple[str, str], SheetRecord] = {}
    for record in records:
        key = (fold(record.text("part_number")), fold(record.text("lot")))
        other = first.setdefault(key, record)
        for column in LOT_FACTS if other is not record else ():
            if column in record.values and column in other.values and record.values[column] != other.values[column]:
                record.refuse(
                    findings,
                    column,
                    f"row {other.row} says {other.values[column] or 'nothing'} of the same lot {record.text('lot')}",
                    "write the same on both rows, or give one of them a lot code of its own",
                )


def check_returns(records: Sequence[SheetRecord], names: Names, findings: Findings) -> None:
    """More cannot come back from a job than went to it."""
    issued: dict[tuple[str, str, str], int] = {}
    returns: list[tuple[tuple[str, str, str], SheetRecord]] = []
    for record in records:
        key = (fold(record.text("job")), fold(record.text("part_number")), fold(record.text("lot")))
        quantity = record.values.get("quantity")
        if record.values.get("state") == "issued" and isinstance(quantity, int):
            issued[key] = quantity
        elif record.values.get("state") == "returned":
            returns.append((key, record))
    for key, record in returns:
        quantity = record.values.get("quantity")
        if key in issued and isinstance(quantity, int) and quantity > issued[key]:
            record.refuse(
                findings, "quantity", "more is returned than was issued of this lot", "correct one of the two rows"
            )

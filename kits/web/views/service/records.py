"""The record of a rebuild, and all rebuilds of the pump of a serial."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.picking.records.record import rebuild_record
from kits.picking.records.serial_history import FoundThere, serial_history
from kits.picking.records.used import PartOnRecord
from kits.planning.queries import plan_now, today
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import job_or_404

PART_COLUMNS: tuple[ListColumn[PartOnRecord], ...] = (
    ListColumn("strip", "Strip", lambda row: row.strip, figure=True),
    ListColumn("in_kit", "In the kit above", lambda row: "yes" if row.depth else ""),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("cure", "Cure", lambda row: row.cure),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("batch", "Maker's batch", lambda row: row.maker_batch),
    ListColumn("certificate", "Certificate", lambda row: row.certificate),
)
FOUND_COLUMNS: tuple[ListColumn[FoundThere], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("on", "Built", lambda row: row.on),
    ListColumn("where", "Where", lambda row: row.where),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("says", "What was decided", lambda row: row.says),
    ListColumn("found", "What was seen", lambda row: row.found),
    ListColumn("read", "Measured", lambda row: row.read),
)


@require_safe
@needs_plan
def show_record(request: HttpRequest, job: str) -> HttpResponse:
    """What is on record of a rebuild, as a page and on paper."""
    found = job_or_404(job)
    sheet = rebuild_record(plan_now(), found)
    if (answer := list_answer(request, f"Parts of {found}", PART_COLUMNS, sheet.parts)) is not None:
        return answer
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule"}
    return render(request, "web/jobs/record.html", context)


@require_safe
def show_serial(request: HttpRequest, serial: str) -> HttpResponse:
    """All rebuilds of the pump of a serial, and what comes back on it."""
    sheet = serial_history(serial)
    if sheet is None:
        raise Http404(f"No job names the serial “{serial}”.")
    if (answer := list_answer(request, f"Serial {serial}", FOUND_COLUMNS, sheet.findings)) is not None:
        return answer
    shown = shown_list(request, FOUND_COLUMNS, sheet.findings)
    return render(
        request, "web/service/serial.html", {"sheet": sheet, "list": shown, "as_of": today(), "door": "schedule"}
    )

"""Lists and templates as files, and the page that says what their columns mean."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.columns.column_notes import explained_sheets
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.layouts import find_layout
from kits.exchange.columns.sheet_text import text_name
from kits.exchange.workbooks.dump import dump_text, dump_texts, dump_workbook
from kits.exchange.workbooks.sheet_templates import template_workbook
from kits.planning.queries import begun_file
from kits.web.lists import CSV, WORKBOOK
from kits.web.views.long_work import LongWork, file_answer, patience_for

ARCHIVE = "application/zip"
WORK = LongWork(
    title="The lists as they are",
    doing="The lists are being written.",
    steps="Sheet by sheet, as they are stored. Lists of 100 000 rows take a minute or more.",
    door="schedule",
    back="upload",
    back_says="Upload lists",
)


@require_safe
def download_templates(request: HttpRequest) -> HttpResponse:
    """Templates of all sheets, or of the one that is asked for."""
    sheet = _asked(request)
    name = f"template-{sheet.name.casefold()}.xlsx" if sheet else "templates.xlsx"
    return _file(template_workbook([sheet.name] if sheet else ()), WORKBOOK, name)


@require_safe
def download_lists(request: HttpRequest) -> HttpResponse:
    """The lists as they are stored: a workbook, or text files, of all sheets or of one."""
    sheet = _asked(request)
    names = [sheet.name] if sheet else []
    comma = request.GET.get("decimal") == "comma"
    latest, waits = "latest" in request.GET, patience_for(request)
    if request.GET.get("as") != "text":
        begun = begun_file(f"lists {names}", lambda: dump_workbook(names), patience=waits, latest=latest)
        return file_answer(request, begun, WORK, WORKBOOK, f"{sheet.name.casefold()}.xlsx" if sheet else "lists.xlsx")
    if sheet is None:
        begun = begun_file(
            f"lists as text {comma}", lambda: dump_texts(decimal_comma=comma), patience=waits, latest=latest
        )
        return file_answer(request, begun, WORK, ARCHIVE, "lists.zip")
    return _file(dump_text(sheet, decimal_comma=comma), CSV, text_name(sheet))


@require_safe
def explain_sheets(request: HttpRequest) -> HttpResponse:
    """Every sheet with its columns, and each sheet as template and as list."""
    return render(request, "web/uploads/sheets.html", {"sheets": explained_sheets(), "door": "schedule"})


def _asked(request: HttpRequest) -> Layout | None:
    name = request.GET.get("sheet", "")
    sheet = find_layout(name)
    if name and sheet is None:
        raise Http404(f"There is no sheet {name}.")
    return sheet


def _file(content: bytes, kind: str, name: str) -> HttpResponse:
    return HttpResponse(content, kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})

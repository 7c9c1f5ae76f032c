"""New jobs by form: what they are, what they do to the jobs that are planned, and onto the schedule with them."""

from __future__ import annotations

from typing import Any, cast

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from bom.errors import BomError, ShopError
from kits.catalog.queries import read_settings
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.models import UploadOrigin
from kits.exchange.reading.entered_jobs import entered_file, jobs_of, next_number
from kits.exchange.uploads.upload_list import read_typed
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets
from kits.planning.questions.pump_choices import KnownPump, known_pumps, pump_choices
from kits.planning.questions.trial import TrialBoard, TrialSheet
from kits.planning.words.states import in_words, plural
from kits.schedule.models import Batch
from kits.web.forms.schedule.new_jobs import NewJobsForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.schedule.keeping import keep_jobs

PUMPS: tuple[ListColumn[KnownPump], ...] = (
    ListColumn("pump", "Pump", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
@needs_plan
def enter_jobs(request: HttpRequest) -> HttpResponse:
    """Choose a pump, fill in its jobs, see what they do, store them."""
    require_sheets(cast(User, request.user), [SCHEDULE.name])
    typed = _typed_before(request)
    number = (request.POST or request.GET).get("pump", "") or typed.get("pump", "")
    pump = pump_choices(number) if number else None
    if pump is None:
        pumps = known_pumps()
        if file := list_answer(request, "Pumps", PUMPS, pumps):
            return file
        context = {"list": shown_list(request, PUMPS, pumps), "number": number, **_usual(request), "door": "schedule"}
        return render(request, "web/new_jobs_pump.html", context, status=404 if number else 200)
    if "store" in request.POST and KeyForm(request.POST).is_repeat("jobs", pump.part_number):
        return redirect("schedule")
    board = TrialBoard()
    form = NewJobsForm(pump, request.POST or None, initial={"first": next_number(), **_usual(request), **typed})
    if not form.is_valid():
        return _render(request, board, form)
    sheet = None
    try:
        sheet = board.try_jobs(jobs_of(form.entered(), board.calendar))
        if "store" in request.POST:
            return _store(request, board, form)
    except ShopError as error:
        return _render(request, board, form, refused=" ".join(fault.says for fault in error.faults))
    except BomError as error:
        return _render(request, board, form, sheet=sheet, refused=str(error))
    return _render(request, board, form, sheet=sheet)


def _store(request: HttpRequest, board: TrialBoard, form: NewJobsForm) -> HttpResponse:
    """Check the jobs as any list is checked, and load them; what is asked about them stands on their preview."""
    key = KeyForm(request.POST)
    refuse_foreign(key)
    entered = form.entered()
    numbers = [job.job for job in jobs_of(entered, board.calendar)]
    return keep_jobs(
        request,
        entered_file(entered, board.calendar),
        UploadOrigin.ENTERED,
        key=key.request_key("jobs", form.pump.part_number, form.typed()),
        says=f"{plural(len(numbers), 'job')} put on the schedule: {in_words(numbers)}.",
        then=reverse("batch", args=[entered.batch]) if entered.batch else reverse("schedule"),
        typed=form.typed(),
    )


def _render(
    request: HttpRequest, board: TrialBoard, form: NewJobsForm, *, sheet: TrialSheet | None = None, refused: str = ""
) -> HttpResponse:
    context = {
        "form": form,
        "pump": form.pump,
        "sheet": sheet,
        "entered": jobs_of(form.entered(), board.calendar) if sheet else (),
        "refused": refused,
        "batches": list(Batch.objects.values_list("name", flat=True)),
        "as_of": board.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/new_jobs.html", context, status=422 if form.errors else 409 if refused else 200)


def _usual(request: HttpRequest) -> dict[str, Any]:
    """What the page was opened for: the batch that the jobs are to join."""
    batch = request.GET.get("batch", "").strip()
    return {"batch": batch} if batch else {}


def _typed_before(request: HttpRequest) -> dict[str, str]:
    """What was typed before, to be put right."""
    number = request.GET.get("again", "")
    return read_typed(int(number)) if number.isascii() and number.isdigit() and len(number) < 10 else {}

"""The jobs as a list to work on: filtered, sorted, taken away as a file, and several of them changed at once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError, ShopError
from bom.values import Job
from kits.catalog.queries import read_settings
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.models import UploadOrigin
from kits.exchange.reading.changed_jobs import changed_file
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets, sheets_of
from kits.planning.lists.job_list import JobRow, job_list
from kits.planning.queries import plan_now
from kits.planning.questions.trial import TrialBoard, TrialSheet
from kits.planning.words.states import in_words, plural
from kits.schedule.models import Batch
from kits.web.forms.schedule.job_changes import JobChangesForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.schedule.keeping import effect_says, keep_jobs

Jobs = tuple[Job, ...]
JOBS: tuple[ListColumn[JobRow], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("build", "Build", lambda row: row.build_on),
    ListColumn("weekday", "Weekday", lambda row: row.weekday),
    ListColumn("pump", "Pump", lambda row: row.pump),
    ListColumn("scope", "Scope", lambda row: row.scope),
    ListColumn("pumps", "Pumps", lambda row: row.quantity, figure=True),
    ListColumn("serial", "Serial", lambda row: row.serial),
    ListColumn("customer", "Customer", lambda row: row.customer),
    ListColumn("batch", "Batch", lambda row: row.batch),
    ListColumn("priority", "Priority", lambda row: row.priority, figure=True),
    ListColumn("stage", "Stage", lambda row: row.stage),
    ListColumn("state", "How it stands", lambda row: row.state_says),
)
CHOSEN = {"customer": "Customer", "stage": "Stage", "weekday": "Weekday"}
"""What the list can be narrowed by besides words: the name of the field, and of the column."""


@require_safe
@needs_plan
def show_jobs(request: HttpRequest) -> HttpResponse:
    """The jobs still to be planned, of one batch or of all; with ``?past=1`` those of the past as well."""
    plan, batch, past = plan_now(), request.GET.get("batch", "").strip(), "past" in request.GET
    every = job_list(plan, batch, past=past)
    chosen = {name: request.GET.get(name, "").strip() for name in CHOSEN}
    rows = [row for row in every if all(getattr(row, name) == asked for name, asked in chosen.items() if asked)]
    if file := list_answer(request, f"Jobs {batch}".strip(), JOBS, rows):
        return file
    context = {
        "list": shown_list(request, JOBS, rows),
        "choices": [(name, says, chosen[name], _values(every, name)) for name, says in CHOSEN.items()],
        "narrowed": any(chosen.values()),
        "batch": batch,
        "past": past,
        "may_send": request.user.has_perm("picking.add_sentjob"),
        "may_load": SCHEDULE.name in sheets_of(cast(User, request.user)),
        "as_of": plan.shop.as_of,
        "door": "schedule",
    }
    return render(request, "web/job_list.html", context)


def _values(rows: Iterable[JobRow], name: str) -> list[str]:
    """What stands in a column, in the order of the words; of the days of the week, in theirs."""
    days = {row.weekday: row.build_on.weekday() for row in rows}
    return sorted({getattr(row, name) for row in rows} - {""}, key=lambda value: (days.get(value, 0), value))


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
@needs_plan
def change_jobs(request: HttpRequest) -> HttpResponse:
    """What is to become of the jobs that were ticked; both plans side by side; stored in one step."""
    require_sheets(cast(User, request.user), [SCHEDULE.name])
    if "store" in request.POST and KeyForm(request.POST).is_repeat("change jobs"):
        return redirect("jobs")
    board = TrialBoard()
    planned = board.planned(request.POST.getlist("job"))
    if not planned:
        messages.error(request, "No job is ticked, so there is nothing to change: tick some in the list.")
        return redirect("jobs")
    typed = request.POST if "look" in request.POST or "store" in request.POST else None
    form = JobChangesForm(board.scopes_of(planned), {job.stage for job in planned}, typed)
    if not form.is_valid():
        return _render(request, board, planned, form)
    sheet = None
    try:
        sheet = board.try_changed(form.change.of(job, board.calendar) for job in planned)
        if "store" in request.POST:
            return _store(request, board, planned, form, sheet)
    except ShopError as error:
        return _render(request, board, planned, form, refused=" ".join(fault.says for fault in error.faults))
    except BomError as error:
        return _render(request, board, planned, form, sheet=sheet, refused=str(error))
    return _render(request, board, planned, form, sheet=sheet)


def _store(
    request: HttpRequest, board: TrialBoard, planned: Jobs, form: JobChangesForm, sheet: TrialSheet
) -> HttpResponse:
    """Check the changed jobs as any list is checked, and load them; what is asked about stands on their preview."""
    key, why = KeyForm(request.POST), form.cleaned_data["why"]
    refuse_foreign(key)
    names = in_words([job.job for job in planned])
    return keep_jobs(
        request,
        changed_file([form.change.of(job, board.calendar) for job in planned], why),
        UploadOrigin.CHANGED,
        key=key.request_key("change jobs", "", _shows(planned, form)),
        says=f"{plural(len(planned), 'job')} changed: {names}. {effect_says(sheet)}",
        then=reverse("jobs"),
        why=why,
    )


def _render(
    request: HttpRequest,
    board: TrialBoard,
    planned: Jobs,
    form: JobChangesForm,
    *,
    sheet: TrialSheet | None = None,
    refused: str = "",
) -> HttpResponse:
    change = form.change if form.is_valid() else None
    context = {
        "form": form,
        "jobs": [(job, change.of(job, board.calendar) if change else None) for job in planned],
        "sheet": sheet,
        "refused": refused,
        "shows": _shows(planned, form),
        "batches": list(Batch.objects.values_list("name", flat=True)),
        "as_of": board.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/job_changes.html", context, status=422 if form.errors else 409 if refused else 200)


def _shows(planned: Jobs, form: JobChangesForm) -> tuple[str, ...]:
    """What the page shows: a change of the jobs by somebody else is noticed, and so is one of the fields after it."""
    jobs = (
        f"{job.job} {job.build_on} {job.batch} {job.priority} {job.stage} {job.scope} {job.quantity}" for job in planned
    )
    return (*jobs, *(str(form.data.get(name, "")) for name in form.fields if name != "why"))

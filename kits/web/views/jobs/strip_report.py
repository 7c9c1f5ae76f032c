"""Write the strip report of a job, section by section."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.planning.desk.actions import keep_expected_wear_besides
from kits.planning.opening.gate import opening_gate, opening_shown
from kits.planning.queries import plan_now
from kits.planning.sheets.jobs.strip_page import StripPage, strip_page
from kits.planning.words.states import plural
from kits.schedule.actions import take_writing_back, write_strip_report
from kits.schedule.models import Job
from kits.web.forms.strip_report import StripForm, TakeBackEntryForm, TypedRow
from kits.web.request_keys import refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import MAY_LOOK, job_or_404, render_job

MOST_UNFOLDED = 12
"""Positions of a section that stand open all at once."""
NO_SECTION = "{} has changed meanwhile and has no such section any more: look at its strip report again."
NOTHING = "{} opens nothing that is looked at, or asks for no parts any more: its verdicts stand on its own sheet."
CONFIRM = "What was measured proposes a verdict, and nothing was stored yet: look at it, then store it."


@require_http_methods(["GET", "HEAD", "POST"])
@needs_plan
def strip_section(request: HttpRequest, job: str) -> HttpResponse:
    """One section of the strip report of a job: its form, or what was written on it."""
    found = job_or_404(job)
    if request.method == "POST":
        if not request.user.has_perm(MAY_LOOK):
            raise PermissionDenied
        return write_section(request, found)
    return show_section(request, found)


def show_section(request: HttpRequest, job: Job) -> HttpResponse:
    """The form of one section; the first where none is named."""
    page = strip_page(plan_now(), job, request.GET.get("section"))
    if page is None:
        named = "section" in request.GET
        refused = (NO_SECTION if named else NOTHING).format(job)
        return render_job(request, job, refused=refused, status=404 if named else 200)
    measured = {name[1:]: str(value) for name, value in request.GET.items() if name.startswith("m")}
    return render_page(request, page, StripForm(page.section, page.limits, measured=measured))


def opened(page: StripPage, rows: Mapping[str, TypedRow]) -> list[bool]:
    """Which assemblies of a long section stand open: the first still to be looked at, and each to be looked at anew."""
    of_each = [[rows[key] for _, key in one.looked_at] for one in page.assemblies]
    first = next((place for place, typed in enumerate(of_each) if any(one.row.is_unseen for one in typed)), 0)
    anew = [any(one.is_wrong or one.is_changed for one in typed) for typed in of_each]
    return [place == first or one for place, one in enumerate(anew)]


def render_page(
    request: HttpRequest, page: StripPage, form: StripForm, *, refused: str = "", proposed: str = "", status: int = 200
) -> HttpResponse:
    """The sheet of one section."""
    rows = form.rows
    context = {
        "sheet": page,
        "job": page.job,
        "section": page.section,
        "form": form,
        "assemblies": [
            (one, [(part.number, rows[key], page.photos.get(key, 0)) for part, key in one.looked_at], is_open)
            for one, is_open in zip(page.assemblies, opened(page, rows), strict=True)
        ],
        "folds": len(page.section.rows) > MOST_UNFOLDED,
        "opening": opening_shown(plan_now(), page.job, cast(User, request.user)),
        "as_of": page.as_of,
        "currency": read_settings().currency,
        "may_write": request.user.has_perm(MAY_LOOK),
        "refused": refused,
        "proposed": proposed,
        "door": "schedule",
    }
    return render(request, "web/jobs/strip.html", context, status=status)


def write_section(request: HttpRequest, job: Job) -> HttpResponse:
    """Give the verdicts of one section as they stand on its form, or call all the rest of it good."""
    page = strip_page(plan_now(), job, request.POST.get("section", "none"))
    if page is None:
        return render_job(request, job, refused=NO_SECTION.format(job), status=409)
    form = StripForm(page.section, page.limits, request.POST)
    if not form.is_valid():
        return render_page(request, page, form, status=422)
    if (asked := form.proposed()) is not None:
        return render_page(request, page, asked, proposed=CONFIRM, status=422)
    try:
        changed = write_strip_report(
            job=job,
            looks=form.looks(rest_is_good="rest" in request.POST),
            gate=opening_gate(job, cast(User, request.user)),
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("strip", job.pk, page.section.key),
        )
    except Refusal as error:
        now = strip_page(plan_now(), job, page.section.key)
        if now is None:
            return render_job(request, job, refused=str(error), status=409)
        return render_page(request, now, form.beside(now.section, now.limits), refused=str(error), status=409)
    keep_expected_wear_besides()
    messages.success(
        request, f"{page.section.name}: {plural(changed, 'verdict') if changed else 'nothing new'} written."
    )
    return redirect(address_of_section(job, page.section.key))


@require_POST
@permission_required(MAY_LOOK, raise_exception=True)
@needs_plan
def take_back(request: HttpRequest, writing: int, job: str) -> HttpResponse:
    """Put the positions back to what they were before the last writing."""
    found, form = job_or_404(job), TakeBackEntryForm(request.POST)
    section = request.POST.get("section", "")
    try:
        refuse_foreign(form)
        changed = take_writing_back(
            job=found,
            writing=writing,
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("take strip back", found.pk, writing),
        )
    except Refusal as error:
        page = strip_page(plan_now(), found, section) or strip_page(plan_now(), found, None)
        if page is None:
            return render_job(request, found, refused=str(error), status=409)
        return render_page(request, page, StripForm(page.section, page.limits), refused=str(error), status=409)
    messages.success(request, f"Taken back: {plural(changed, 'position')} as before." if changed else "Taken back.")
    return redirect(address_of_section(found, section))


def address_of_section(job: Job, key: str) -> str:
    """The sheet of one section."""
    return f"{reverse('strip_report', args=[job.job])}?section={key}"

"""The arrival of a pump: what its plate says, its photos, and whether it may be opened."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.planning.opening.actions import sign_for, take_signature_back
from kits.planning.opening.gate import MAY_SIGN
from kits.planning.queries import plan_now, today
from kits.planning.sheets.jobs.arrival import ArrivalSheet, arrival_sheet
from kits.planning.words.states import plural
from kits.schedule.models import Job
from kits.service.actions import keep_photos, take_photo_away, take_serial, write_arrival
from kits.service.images import ENDINGS, MOST_AT_ONCE, SentPhoto
from kits.service.models import Photo, Waiver
from kits.web.forms.kits import ReasonForm
from kits.web.forms.service.arrival import ArrivalForm, PhotoForm, SignForm
from kits.web.request_keys import KeyForm
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.concessions import form_says
from kits.web.views.jobs.sheet import job_or_404

MAY_WRITE, MAY_CORRECT = "service.change_arrival", "schedule.change_job"
MAY_ADD_PHOTO, MAY_TAKE_PHOTO = "service.add_photo", "service.change_photo"


@require_http_methods(["GET", "HEAD", "POST"])
@needs_plan
def show_arrival(request: HttpRequest, job: str) -> HttpResponse:
    """How the pump of a job came, and the form in which that is written."""
    found = job_or_404(job)
    if request.method != "POST":
        return render_arrival(request, found)
    if not request.user.has_perm(MAY_WRITE):
        raise PermissionDenied
    sheet, by = sheet_of(request, found), cast(User, request.user)
    form = ArrivalForm(sheet, request.POST)
    if not form.is_valid():
        return render_arrival(request, found, form, sheet=sheet, status=422)
    try:
        arrival = write_arrival(
            job=found,
            came=form.came,
            scope=found.scope,
            seen_at=sheet.arrival.at if sheet.arrival else None,
            by=by,
            at=timezone.now(),
            key=form.request_key("arrival", found.pk, sheet.shows),
        )
    except Refusal as error:
        return render_arrival(request, found, form, refused=str(error), status=409)
    messages.success(request, f"The {arrival} is written.")
    return redirect("arrival", job=found.job)


@require_POST
@permission_required(MAY_CORRECT, raise_exception=True)
@needs_plan
def correct_serial(request: HttpRequest, job: str) -> HttpResponse:
    """Write the serial of the plate on the job."""
    found, form = job_or_404(job), KeyForm(request.POST)
    sheet = sheet_of(request, found)
    if not form.is_valid():
        return render_arrival(request, found, refused=form_says(form), status=422)
    try:
        key = form.request_key("serial", found.pk, sheet.takes_serial)
        take_serial(job=found, serial=sheet.takes_serial, by=cast(User, request.user), at=timezone.now(), key=key)
    except Refusal as error:
        return render_arrival(request, found, refused=str(error), status=409)
    messages.success(request, f"{found} has the serial of the plate now.")
    return redirect("arrival", job=found.job)


@require_POST
@permission_required(MAY_ADD_PHOTO, raise_exception=True)
@needs_plan
def add_photos(request: HttpRequest, job: str) -> HttpResponse:
    """Keep photos of the pump."""
    found, form, files = job_or_404(job), PhotoForm(request.POST), request.FILES.getlist("photos")
    try:
        if not form.is_valid():
            raise Refusal(form_says(form))
        if not files:
            raise Refusal("No photo came with the form: take one, or choose one, then send it.")
        if len(files) > MOST_AT_ONCE:
            raise Refusal(f"{len(files)} photos are more than the {MOST_AT_ONCE} that are taken at once: send fewer.")
        new = keep_photos(
            job=found,
            photos=[SentPhoto(file.name or "", file.read()) for file in files],
            note=form.cleaned_data["note"],
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("photos", found.pk),
        )
    except Refusal as error:
        return render_arrival(request, found, refused=str(error), status=409)
    messages.success(request, f"{plural(new, 'photo')} kept." if new else "Those photos are kept already.")
    return redirect(f"{redirect('arrival', job=found.job).url}#photos")


@require_safe
def show_photo(request: HttpRequest, photo: int) -> HttpResponse:
    """A photo, shown as a picture and never as anything else."""
    kept = get_object_or_404(Photo, pk=photo, gone_at__isnull=True)
    headers = {
        "Cache-Control": "private, max-age=3600",
        "Content-Disposition": f'inline; filename="photo-{kept.pk}{ENDINGS[kept.media_type]}"',
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cross-Origin-Resource-Policy": "same-origin",
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(bytes(kept.content), kept.media_type, headers=headers)


@require_POST
@permission_required(MAY_TAKE_PHOTO, raise_exception=True)
@needs_plan
def remove_photo(request: HttpRequest, photo: int) -> HttpResponse:
    """Take a photo away, with a reason."""
    kept, form = (
        get_object_or_404(Photo.objects.select_related("job").defer("content"), pk=photo),
        ReasonForm(request.POST),
    )
    found = job_or_404(kept.job.job)
    if not form.is_valid():
        return render_arrival(request, found, refused=form_says(form), status=422)
    try:
        form.request_key("photo", kept.pk)
        take_photo_away(photo=kept, why=form.cleaned_data["reason"], by=cast(User, request.user), at=timezone.now())
    except Refusal as error:
        return render_arrival(request, found, refused=str(error), status=409)
    messages.success(request, "The photo is no longer shown; who removed it, and why, is kept.")
    return redirect(f"{redirect('arrival', job=found.job).url}#photos")


@require_POST
@permission_required(MAY_SIGN, raise_exception=True)
@needs_plan
def sign(request: HttpRequest, job: str) -> HttpResponse:
    """Let a point pass, signed."""
    found, form = job_or_404(job), SignForm(request.POST)
    if not form.is_valid():
        return render_arrival(request, found, refused=form_says(form), status=422)
    point, about = form.cleaned_data["point"], form.cleaned_data["about"]
    try:
        sign_for(
            job=found,
            point=point,
            about=about,
            why=form.cleaned_data["reason"],
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("sign", found.pk, point, about),
        )
    except Refusal as error:
        return render_arrival(request, found, refused=str(error), status=409)
    messages.success(request, f"Signed for {found}: it stands on this page, and can be taken back.")
    return redirect("arrival", job=found.job)


@require_POST
@permission_required(MAY_SIGN, raise_exception=True)
@needs_plan
def unsign(request: HttpRequest, waiver: int) -> HttpResponse:
    """Take a signature back."""
    signed, form = get_object_or_404(Waiver.objects.select_related("job"), pk=waiver), ReasonForm(request.POST)
    found = job_or_404(signed.job.job)
    if not form.is_valid():
        return render_arrival(request, found, refused=form_says(form), status=422)
    try:
        form.request_key("unsign", signed.pk)
        take_signature_back(
            waiver=signed, why=form.cleaned_data["reason"], by=cast(User, request.user), at=timezone.now()
        )
    except Refusal as error:
        return render_arrival(request, found, refused=str(error), status=409)
    messages.success(request, "The signature is taken back.")
    return redirect("arrival", job=found.job)


def sheet_of(request: HttpRequest, job: Job) -> ArrivalSheet:
    """The page of the arrival of a job, for who asks."""
    return arrival_sheet(plan_now(), job, cast(User, request.user))


def render_arrival(
    request: HttpRequest,
    job: Job,
    form: ArrivalForm | None = None,
    *,
    sheet: ArrivalSheet | None = None,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    """The page of an arrival, with what was typed where it was refused."""
    sheet = sheet or sheet_of(request, job)
    context = {
        "sheet": sheet,
        "form": form or ArrivalForm(sheet),
        "refused": refused,
        "may_write": sheet.may_write and request.user.has_perm(MAY_WRITE),
        "may_correct": sheet.may_write and request.user.has_perm(MAY_CORRECT),
        "may_add_photo": request.user.has_perm(MAY_ADD_PHOTO),
        "may_take_photo": request.user.has_perm(MAY_TAKE_PHOTO),
        "may_sign": request.user.has_perm(MAY_SIGN),
        "most_at_once": MOST_AT_ONCE,
        "as_of": today(),
        "door": "schedule",
    }
    return render(request, "web/jobs/arrival.html", context, status=status)

"""The photos of one position of a strip report."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.planning.queries import plan_now, today
from kits.planning.sheets.jobs.strip_page import job_strip
from kits.planning.words.states import plural
from kits.service.actions import keep_photos
from kits.service.images import MOST_AT_ONCE, SentPhoto
from kits.service.queries import photos_of
from kits.web.forms.service.arrival import PhotoForm
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.arrival import MAY_ADD_PHOTO, MAY_TAKE_PHOTO
from kits.web.views.jobs.concessions import form_says
from kits.web.views.jobs.sheet import job_or_404

NO_PHOTO = "No photo came with the form: take one, or choose one, then send it."
TOO_MANY = "{} photos are more than the {} that are taken at once: send fewer."


@require_http_methods(["GET", "HEAD", "POST"])
@needs_plan
def position_photos(request: HttpRequest, job: str) -> HttpResponse:
    """The photos of one position, and the form that keeps more of them."""
    found, key = job_or_404(job), request.GET.get("position", "")
    strip = job_strip(plan_now(), found)
    section, row = strip.position(key)
    if section is None or row is None:
        raise Http404(f"{found} has no such position: look at its strip report again.")
    refused = ""
    if request.method == "POST":
        if not request.user.has_perm(MAY_ADD_PHOTO):
            raise PermissionDenied
        form, files = PhotoForm(request.POST), request.FILES.getlist("photos")
        try:
            if not form.is_valid():
                raise Refusal(form_says(form))
            if not files:
                raise Refusal(NO_PHOTO)
            if len(files) > MOST_AT_ONCE:
                raise Refusal(TOO_MANY.format(len(files), MOST_AT_ONCE))
            new = keep_photos(
                job=found,
                photos=[SentPhoto(file.name or "", file.read()) for file in files],
                note=form.cleaned_data["note"],
                by=cast(User, request.user),
                at=timezone.now(),
                key=form.request_key("position photos", found.pk, key),
                where=row.where,
            )
            messages.success(request, f"{plural(new, 'photo')} kept." if new else "Those photos are kept already.")
            return redirect(f"{reverse('position_photos', args=[found.job])}?position={key}")
        except Refusal as error:
            refused = str(error)
    context = {
        "job": found,
        "section": section,
        "row": row,
        "photos": photos_of(found, row.where),
        "may_add_photo": request.user.has_perm(MAY_ADD_PHOTO),
        "may_take_photo": request.user.has_perm(MAY_TAKE_PHOTO),
        "most_at_once": MOST_AT_ONCE,
        "refused": refused,
        "as_of": today(),
        "door": "schedule",
    }
    return render(request, "web/jobs/position_photos.html", context, status=409 if refused else 200)

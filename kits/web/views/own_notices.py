"""What somebody wants to be told by e-mail, and where."""

from __future__ import annotations

from typing import cast

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from kits.people.models import User
from kits.planning.models import NoticeChoice
from kits.planning.notices.actions import choose_notices
from kits.web.forms.sign_in import NoticesForm


@require_http_methods(["GET", "HEAD", "POST"])
def show_own_notices(request: HttpRequest) -> HttpResponse:
    """Choose one's own notices; nobody chooses for others."""
    person = cast(User, request.user)
    chosen = NoticeChoice.objects.filter(person=person).values("morning", "promises", "suspects").first()
    initial = {"email": person.email, **(chosen or {})}
    form = NoticesForm(request.POST if request.method == "POST" else None, initial=initial)
    if form.is_valid():
        choose_notices(person=person, at=timezone.now(), **form.cleaned_data)
        messages.success(request, "Your notices are kept.")
        return redirect("notices")
    context = {"form": form, "mail_is_set": bool(settings.EMAIL_HOST)}
    return render(request, "web/notices.html", context, status=422 if form.errors else 200)

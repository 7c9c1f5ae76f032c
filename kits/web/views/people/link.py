"""Where a one-time link leads: whoever brings it chooses a password and is signed in."""

from __future__ import annotations

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_http_methods

from kits.people.joining.actions import use_link
from kits.people.joining.links import find_link
from kits.web.forms.people.joining import ChosenPasswordForm

BACKEND = "django.contrib.auth.backends.ModelBackend"


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@sensitive_post_parameters()
@sensitive_variables("secret")
def follow_link(request: HttpRequest, secret: str) -> HttpResponse:
    """Ask for a password of one's own, and sign in with it; looking at the page uses nothing up."""
    link = find_link(secret, timezone.now())
    if link is None:
        return render(request, "web/people/link_ended.html", status=410)
    form = ChosenPasswordForm(link.person, *([request.POST] if request.method == "POST" else []))
    if form.is_bound and form.is_valid():
        person = use_link(secret=secret, password=form.cleaned_data["new_password"], at=timezone.now())
        if person is None:
            return render(request, "web/people/link_ended.html", status=410)
        login(request, person, BACKEND)
        return redirect("today")
    context = {"form": form, "person": link.person}
    return render(request, "web/people/choose_password.html", context, status=422 if form.errors else 200)

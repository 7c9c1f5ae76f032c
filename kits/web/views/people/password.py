"""A password of one's own."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from kits.people.actions import change_password
from kits.people.models import User
from kits.web.forms.sign_in import PasswordForm


@require_http_methods(["GET", "HEAD", "POST"])
@sensitive_post_parameters()
def change_own_password(request: HttpRequest) -> HttpResponse:
    """Change the password of whoever is signed in, who stays signed in here and nowhere else."""
    person = cast(User, request.user)
    form = PasswordForm(request, request.POST) if request.method == "POST" else PasswordForm(request)
    if form.is_valid():
        if change_password(person=person, password=form.cleaned_data["new_password"], at=timezone.now()):
            update_session_auth_hash(request, person)
            says = "Your password is changed. Wherever else you were signed in, you are signed out."
            messages.success(request, says)
            return redirect("today")
        form.add_error(None, "Your password was changed meanwhile from somewhere else: nothing was changed here.")
    return render(request, "web/password.html", {"form": form}, status=422 if form.errors else 200)

"""Signing in. Whoever is the first to do so in a week keeps what the plan answers at its beginning."""

from __future__ import annotations

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpResponse
from django.utils import timezone

from kits.planning.weeks.actions import keep_first_of_week_besides
from kits.web.forms.sign_in import SignInForm


class SignIn(LoginView):
    """The sign-in page."""

    template_name = "web/sign_in.html"
    authentication_form = SignInForm

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign somebody in, and see to it that the answers of this week's beginning are kept."""
        answer = super().form_valid(form)
        keep_first_of_week_besides(by=form.get_user(), at=timezone.now())
        return answer

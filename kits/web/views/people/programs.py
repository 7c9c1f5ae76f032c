"""The tokens of somebody: made and withdrawn by themselves, or by an administrator."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from bom.errors import BomError
from kits.people.models import AccessToken, User
from kits.people.names import name_of
from kits.people.rights import may_change
from kits.people.tokens.actions import make_token, withdraw_token
from kits.people.tokens.scopes import SCOPES, scopes_of
from kits.planning.queries import today
from kits.web.forms.people.programs import TokenForm
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.people.front import MAY_CHANGE

LAST_ENDED = 10


@require_http_methods(["GET", "HEAD", "POST"])
def show_own(request: HttpRequest) -> HttpResponse:
    """The tokens of whoever is signed in, and a new one."""
    return _answer(request, cast(User, request.user))


@require_http_methods(["GET", "HEAD", "POST"])
def show_of(request: HttpRequest, person: int) -> HttpResponse:
    """The tokens of somebody, for an administrator."""
    return _answer(request, _looked_after(request, get_object_or_404(User, pk=person)))


@require_POST
def withdraw(request: HttpRequest, token: int) -> HttpResponse:
    """End a token at once."""
    found = get_object_or_404(AccessToken.objects.select_related("person"), pk=token)
    person = _looked_after(request, found.person)
    try:
        form = KeyForm(request.POST)
        refuse_foreign(form)
        form.request_key("withdraw", found.pk)
        withdraw_token(token=found, by=cast(User, request.user), at=timezone.now())
        messages.success(request, f"{found.name} is withdrawn: no program gets in by it any more.")
    except BomError as error:
        messages.error(request, str(error))
    return redirect("programs") if person == request.user else redirect("programs_of", person=person.pk)


def _looked_after(request: HttpRequest, person: User) -> User:
    by = cast(User, request.user)
    if person != by and not (by.has_perm(MAY_CHANGE) and may_change(by, person)):
        raise PermissionDenied
    return person


def _answer(request: HttpRequest, person: User) -> HttpResponse:
    choices, sent = scopes_of(person), [request.POST] if request.method == "POST" else []
    form, refused = TokenForm(choices, *sent), ""
    if form.is_bound and form.is_valid():
        said = form.cleaned_data
        try:
            form.request_key("token", person.pk)
            around: dict[str, Any] = {"by": cast(User, request.user), "at": timezone.now()}
            token, secret = make_token(person=person, name=said["name"], scopes=said["scopes"], **around)
        except BomError as error:
            refused = str(error)
        else:
            answer = render(
                request, "web/people/token_given.html", _facts(request, person) | {"token": token, "secret": secret}
            )
            answer.headers["Cache-Control"] = "no-store"
            return answer
    context = _facts(request, person) | {"form": form, "refused": refused, "choices": choices}
    return render(request, "web/people/programs.html", context, status=409 if refused else 422 if form.errors else 200)


def _facts(request: HttpRequest, person: User) -> dict[str, Any]:
    says = dict(SCOPES)
    tokens = list(AccessToken.objects.filter(person=person).select_related("made_by"))
    live = [(token, [says.get(right, right) for right in token.scopes]) for token in tokens if not token.ended_at]
    return {
        "person": person,
        "called": name_of(person),
        "own": person == request.user,
        "live": live,
        "ended": [token for token in tokens if token.ended_at][:LAST_ENDED],
        "as_of": today(),
    }

"""The sheet of somebody: what they are, a link for them, whether they have left."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError
from kits.people.joining.actions import give_link, let_go, set_roles, take_back_in
from kits.people.joining.links import links_end
from kits.people.models import User
from kits.people.names import name_of
from kits.people.rights import groups_to_give, may_change
from kits.planning.queries import today
from kits.web.forms.people.joining import RolesForm, WhyForm
from kits.web.request_keys import KeyForm
from kits.web.views.people.front import MAY_CHANGE, MAY_SEE, link_answer, roles_of

LAST_CHANGES = 10


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
def show_person(request: HttpRequest, person: int) -> HttpResponse:
    """What somebody is, and what can be done about it."""
    return _render(request, get_object_or_404(User, pk=person))


@require_POST
@permission_required(MAY_CHANGE, raise_exception=True)
def change_person(request: HttpRequest, person: int, step: str) -> HttpResponse:
    """Take one step with somebody."""
    found, by = get_object_or_404(User, pk=person), cast(User, request.user)
    if step not in STEPS:
        raise Http404
    form_of, take = STEPS[step]
    form = form_of(request, found)
    if not form.is_valid():
        return _render(request, found, step=step, form=form, status=422)
    try:
        form.request_key(step, found.pk, shows(found))
        answer = take(request, found, form, by, timezone.now())
    except BomError as error:
        return _render(request, found, step=step, form=form, refused=str(error), status=409)
    return answer or redirect("person", person=found.pk)


def shows(person: User) -> list[Any]:
    """What the sheet shows of somebody, so that a change by somebody else meanwhile is noticed."""
    return [person.is_active, person.is_staff, roles_of(person)]


def _roles(request: HttpRequest, person: User, form: KeyForm, by: User, at: datetime) -> None:
    said = form.cleaned_data
    set_roles(person=person, groups=said["groups"], office=said["office"], why=said["why"], by=by, at=at)
    messages.success(request, f"{name_of(person)} is {', '.join(group.name for group in said['groups'])} from now on.")


def _link(request: HttpRequest, person: User, form: KeyForm, by: User, at: datetime) -> HttpResponse:
    return link_answer(request, person, give_link(person=person, by=by, at=at))


def _gone(request: HttpRequest, person: User, form: KeyForm, by: User, at: datetime) -> None:
    let_go(person=person, why=form.cleaned_data["why"], by=by, at=at)
    messages.success(request, f"{name_of(person)} has left: signed out everywhere, and nobody signs in by that name.")


def _back(request: HttpRequest, person: User, form: KeyForm, by: User, at: datetime) -> HttpResponse:
    return link_answer(request, person, take_back_in(person=person, why=form.cleaned_data["why"], by=by, at=at))


STEPS: dict[str, tuple[Callable[[HttpRequest, User], KeyForm], Callable[..., HttpResponse | None]]] = {
    "roles": (lambda request, person: RolesForm(_choices(request), request.POST), _roles),
    "link": (lambda request, person: KeyForm(request.POST), _link),
    "left": (lambda request, person: WhyForm(request.POST), _gone),
    "back": (lambda request, person: WhyForm(request.POST), _back),
}
"""What is done with somebody: the form that says it, and what it does."""


def _choices(request: HttpRequest) -> list[Any]:
    return list(groups_to_give(cast(User, request.user)).order_by("pk"))


def _render(request: HttpRequest, person: User, *, status: int = 200, **said: Any) -> HttpResponse:
    by, step, form = cast(User, request.user), said.get("step", ""), said.get("form")
    held = {"groups": [group.pk for group in person.groups.all()], "office": person.is_staff}
    context = {
        "person": person,
        "called": name_of(person),
        "are": roles_of(person),
        "shows": shows(person),
        "roles": form if step == "roles" else RolesForm(_choices(request), initial=held),
        "wrong": {step: form} if form is not None else {},
        "refused": said.get("refused", ""),
        "may_change": by.has_perm(MAY_CHANGE) and may_change(by, person),
        "link_ends": links_end(timezone.now()).get(person.pk),
        "changes": list(person.people_changes.select_related("by")[:LAST_CHANGES]),
        "as_of": today(),
    }
    return render(request, "web/people/person.html", context, status=status)

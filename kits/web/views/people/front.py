"""The people of the shop, somebody new, and what each role may do."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import cast

from django.contrib.auth.decorators import permission_required
from django.contrib.auth.models import Group
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from bom.errors import BomError
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.deeds import Deed, deeds_of, role_names
from kits.people.joining.actions import add_person
from kits.people.joining.links import links_end
from kits.people.models import User
from kits.people.names import name_of
from kits.people.rights import groups_to_give
from kits.planning.queries import today
from kits.web.forms.people.joining import NewPersonForm
from kits.web.lists import list_answer, shown_list

MAY_SEE, MAY_CHANGE = "people.view_user", "people.change_user"
PEOPLE: tuple[ListColumn[User], ...] = (
    ListColumn("name", "Signs in as", lambda row: row.username),
    ListColumn("person", "Person", lambda row: row.get_full_name()),
    ListColumn("roles", "Is", lambda row: roles_of(row)),
    ListColumn("office", "Back office", lambda row: "yes" if row.is_staff else ""),
    ListColumn("seen", "Last signed in", lambda row: row.last_login and timezone.localtime(row.last_login).date()),
    ListColumn("state", "State", lambda row: "here" if row.is_active else "left"),
)


@require_http_methods(["GET", "HEAD", "POST"])
@sensitive_post_parameters()
@permission_required(MAY_SEE, raise_exception=True)
@permission_required(MAY_CHANGE, raise_exception=True)
def show_people(request: HttpRequest) -> HttpResponse:
    """Everybody, and somebody new with their role in one step."""
    by = cast(User, request.user)
    groups = list(groups_to_give(by).order_by("pk"))
    form = NewPersonForm(groups, request.POST) if request.method == "POST" else NewPersonForm(groups)
    refused = ""
    if form.is_bound and form.is_valid():
        try:
            person, secret = _add(form, by, timezone.now())
        except BomError as error:
            refused = str(error)
        else:
            return link_answer(request, person, secret)
    rows = list(User.objects.prefetch_related("groups").order_by("-is_active", "username"))
    if file := list_answer(request, "People", PEOPLE, rows):
        return file
    context = {
        "list": shown_list(request, PEOPLE, rows),
        "here": sum(row.is_active for row in rows),
        "links": links_end(timezone.now()),
        "form": form,
        "refused": refused,
        "as_of": today(),
    }
    return render(request, "web/people/front.html", context, status=409 if refused else 422 if form.errors else 200)


@require_safe
def show_roles(request: HttpRequest) -> HttpResponse:
    """What each role may do."""
    roles = role_names()
    rows = deeds_of(roles)
    columns: tuple[ListColumn[Deed], ...] = (
        ListColumn("place", "Where", lambda row: row.place),
        ListColumn("says", "What", lambda row: row.says),
        *(ListColumn(f"role-{place}", name, _may(place)) for place, name in enumerate(roles)),
    )
    if file := list_answer(request, "What each role may do", columns, rows):
        return file
    own = set(cast(User, request.user).groups.values_list("name", flat=True))
    context = {
        "list": shown_list(request, columns, rows),
        "roles": roles,
        "mine": " and ".join(sorted(own)),
        "as_of": today(),
    }
    return render(request, "web/people/roles.html", context)


def link_answer(request: HttpRequest, person: User, secret: str) -> HttpResponse:
    """The one page that shows a link; nothing keeps it, neither here nor in the browser."""
    address = request.build_absolute_uri(reverse("sign_in_link", args=(secret,))) if secret else ""
    context = {"person": person, "called": name_of(person), "address": address, "as_of": today()}
    answer = render(request, "web/people/link_given.html", context)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def roles_of(person: User) -> str:
    """What somebody is, in words."""
    names = sorted(group.name for group in person.groups.all())
    return ", ".join(["All rights", *names] if person.is_superuser else names)


def _may(place: int) -> Callable[[Deed], str]:
    return lambda row: "yes" if row.roles[place] else ""


def _add(form: NewPersonForm, by: User, at: datetime) -> tuple[User, str]:
    form.request_key("person")
    said = form.cleaned_data
    facts = {field: said[field] for field in ("name", "first_name", "last_name", "email", "office", "password")}
    groups: list[Group] = list(said["groups"])
    return add_person(**facts, groups=groups, by=by, at=at)

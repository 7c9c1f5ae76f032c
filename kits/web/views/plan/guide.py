"""A guide of one page for each role, reached from its sheet of today."""

from __future__ import annotations

from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.people.models import User
from kits.planning.sheets.today.whose import WHOSE, whose_todays

MAY_KEEP_PEOPLE = "people.change_user"
GUIDES = {name: word for name, (word, _) in WHOSE.items()} | {"administrator": "Administrator"}


@require_safe
def show_guide(request: HttpRequest) -> HttpResponse:
    """The guide of one's own role."""
    own = whose_todays(cast(User, request.user))
    return render_guide(request, "administrator" if len(own) == len(WHOSE) else own[0] if own else "planner")


@require_safe
def show_guide_for(request: HttpRequest, whose: str) -> HttpResponse:
    """The guide of one role; everybody may read all of them."""
    if whose not in GUIDES:
        raise Http404(f"There is no guide for “{whose}”.")
    return render_guide(request, whose)


def render_guide(request: HttpRequest, whose: str) -> HttpResponse:
    """One guide, with the way to the others."""
    context: dict[str, object] = {"whose": whose, "word": GUIDES[whose], "guides": tuple(GUIDES.items())}
    context |= {"may_keep_people": request.user.has_perm(MAY_KEEP_PEOPLE), "door": "today"}
    return render(request, f"web/guide/{whose}.html", context)

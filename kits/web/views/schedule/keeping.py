"""Jobs that were changed on a page: loaded as any list is, told in one sentence, and taken back in one step."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from kits.exchange.actions import load_at_once
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import UploadOrigin, UploadState
from kits.people.models import User
from kits.planning.questions.trial import TrialSheet
from kits.planning.words.states import in_words, plural


def keep_jobs(
    request: HttpRequest,
    file: SheetFile,
    origin: UploadOrigin,
    *,
    key: str,
    says: str,
    then: str,
    why: str = "",
    typed: Mapping[str, str] | None = None,
) -> HttpResponse:
    """Load jobs and go to the address ``then``; what is asked about them stands on their preview."""
    kept = load_at_once(
        file=file,
        by=cast(User, request.user),
        at=timezone.now(),
        origin=origin,
        key=key,
        why=why,
        typed=typed,
    )
    preview = reverse("upload_preview", args=[kept.pk])
    if kept.state != UploadState.LOADED:
        return go_to(request, preview)
    messages.success(request, format_html('{} <a href="{}#undo">Take it back in one step</a>', says, preview))
    return go_to(request, then)


def go_to(request: HttpRequest, address: str) -> HttpResponse:
    """To another page, also from a part of this one."""
    if getattr(request, "htmx", False):
        # A browser that stands there already would not fetch the page anew for a place in it.
        return HttpResponse(headers={"HX-Redirect": address.partition("#")[0]})
    return HttpResponseRedirect(address)


def effect_says(sheet: TrialSheet) -> str:
    """What a change does to everybody, in a sentence or two."""
    losers = [row.asker.name for row in sheet.jobs if row.effect == "worse"]
    waits = f"{in_words(losers)} lose{'s' if len(losers) == 1 else ''} by it." if losers else NOBODY_WAITS
    bought = f"{plural(len(sheet.buys), 'line')} to buy changed." if sheet.buys else "What is to buy stays the same."
    return f"{waits} {bought}"


NOBODY_WAITS = "Nobody waits longer for it."


def losers_of(sheet: TrialSheet) -> list[str]:
    """Who loses what, as a page shows it, so that another answer of the plan is noticed."""
    return [
        f"{row.asker.name}: {row.before.state.says if row.before else ''}, {row.after.state.says if row.after else ''}"
        for row in sheet.jobs
        if row.effect == "worse"
    ]

"""What an upload leaves open, said by somebody: which lists its files hold, their characters, the items they lack."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.errors import Refusal
from kits.exchange.actions import add_missing_items, choose_lists
from kits.exchange.columns.catalog_layouts import ITEMS
from kits.exchange.columns.layouts import BY_NAME
from kits.exchange.files.codepages import CHARSETS
from kits.exchange.models import Upload
from kits.exchange.reading.asking.instructions import place_of
from kits.exchange.reading.asking.strange_headings import NOT_READ
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.sheet_doors import require_handling
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets
from kits.web.forms.uploads import INDENTED, MOST_NEW_ITEMS, NewItemForm, new_item_forms


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
def choose_reading(request: HttpRequest, upload: int) -> HttpResponse:
    """Say which list a sheet is and in which character set a text is; an indented list goes into its field."""
    kept, person = get_object_or_404(Upload, pk=upload), cast(User, request.user)
    require_handling(kept, person)
    outcome = outcome_from_json(kept.outcome)
    lists: dict[str, str] = {}
    for place, one in enumerate(outcome.unknown):
        said = request.POST.get(f"list.{place}", "")
        if said == INDENTED:
            return redirect(f"{reverse('paste_indented')}?from={kept.pk}&place={place}")
        if said in BY_NAME or said == NOT_READ:
            lists[place_of(one.file, one.sheet)] = said
    chosen = {one.file: request.POST.get(f"charset.{place}", "") for place, one in enumerate(outcome.texts)}
    charsets = {file: charset for file, charset in chosen.items() if charset in CHARSETS}
    try:
        if not lists and not charsets:
            raise Refusal("Nothing was chosen: say which list it is, or which characters are right.")
        choose_lists(upload=kept, lists=lists, charsets=charsets, by=person, at=timezone.now())
        messages.success(request, "The files were read again as you said.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("upload_preview", upload=upload)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
def add_items(request: HttpRequest, upload: int) -> HttpResponse:
    """The numbers that an upload names and nobody has, row by row; those that are ticked come in as items with it."""
    kept = get_object_or_404(Upload, pk=upload)
    person = cast(User, request.user)
    require_sheets(person, [ITEMS.name])
    missing = outcome_from_json(kept.outcome).missing
    forms = new_item_forms(missing[:MOST_NEW_ITEMS], request.POST if request.method == "POST" else None)
    sound = [form.is_valid() for form in forms]
    if request.method == "POST" and all(sound):
        rows = [form.row() for form in forms if form.cleaned_data["take"]]
        try:
            if not rows:
                raise Refusal("No row was ticked: tick the numbers that become items, or put the list right instead.")
            new = add_missing_items(upload=kept, rows=rows, by=person, at=timezone.now())
        except Refusal as error:
            messages.error(request, str(error))
            return redirect("upload_preview", upload=upload)
        return redirect("upload_preview", upload=new.pk)
    context = {
        "upload": kept,
        "forms": forms,
        "kinds": NewItemForm.KINDS,
        "units": NewItemForm.UNITS,
        "more": max(0, len(missing) - MOST_NEW_ITEMS),
        "wrong": sum(bool(form.errors) for form in forms),
        "door": "schedule",
    }
    return render(request, "web/uploads/new_items.html", context, status=422 if context["wrong"] else 200)

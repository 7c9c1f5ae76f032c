"""What a kit fits and what a scope opens, said on pages; the service lead's to say."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.people.models import User
from kits.planning.fitting.actions import say_kit_fits, set_scope, take_fit_away
from kits.planning.fitting.queries import fits_of, openable, scope_choices
from kits.planning.queries import today
from kits.web.forms.fitting import KitFitForm, ScopeForm, TakeAwayForm
from kits.web.views.faults import needs_plan

MAY_FIT = "catalog.change_kitfit"
MAY_SCOPE = "catalog.change_scopesection"


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_FIT, raise_exception=True)
def fit_kit(request: HttpRequest, part_number: str) -> HttpResponse:
    """What a kit is said to fit, and one more."""
    kit = item_or_404(part_number, ItemKind.KIT)
    form = KitFitForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            say_kit_fits(kit=kit, by=cast(User, request.user), at=timezone.now(), today=today(), **form.cleaned_data)
        except Refusal as error:
            form.add_error("fits", str(error))
        else:
            messages.success(request, f"{kit.part_number} fits {form.cleaned_data['fits']} from now on.")
            return redirect("kit", part_number=kit.part_number)
    context = {"kit": kit, "form": form, "fits": fits_of(kit), "openable": openable(), "door": "pumps_and_parts"}
    return render(request, "web/fitting/kit.html", context, status=422 if form.errors else 200)


@require_POST
@permission_required(MAY_FIT, raise_exception=True)
def unfit_kit(request: HttpRequest, part_number: str) -> HttpResponse:
    """Take one fit of a kit away."""
    kit, form = item_or_404(part_number, ItemKind.KIT), TakeAwayForm(request.POST)
    try:
        if not form.is_valid():
            raise Refusal(" ".join(says for field in form.errors.values() for says in map(str, field)))
        if form.cleaned_data["fit"] not in {fit.pk for fit in fits_of(kit)}:
            raise Refusal("This fit was taken away already: look at the page again.")
        take_fit_away(by=cast(User, request.user), at=timezone.now(), today=today(), **form.cleaned_data)
        messages.success(request, "The fit was taken away; it stands in the history of the kit.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("fit_kit", part_number=kit.part_number)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_SCOPE, raise_exception=True)
@needs_plan
def edit_scope(request: HttpRequest, part_number: str) -> HttpResponse:
    """A scope of a pump: how many of each section it opens."""
    pump = item_or_404(part_number, ItemKind.PUMP)
    named = request.POST.get("scope", "") if request.method == "POST" else request.GET.get("scope", "")
    choices = scope_choices(pump, named)
    first = {"scope": choices.scope, "use_kits": choices.use_kits, "option": choices.option, "seen": choices.seen}
    initial = {**first, "signed_for": choices.signed_for}
    form = ScopeForm(choices.sections, request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("scope", "use_kits", "option", "signed_for", "seen", "why")}
        try:
            by, at = cast(User, request.user), timezone.now()
            set_scope(pump=pump, counts=form.counts(), by=by, at=at, today=today(), **said)
        except Refusal as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"The scope {said['scope']} of {pump.part_number} is stored.")
            return redirect("pump", part_number=pump.part_number)
    context = {"pump": pump, "form": form, "choices": choices, "door": "pumps_and_parts"}
    return render(request, "web/fitting/scope.html", context, status=422 if form.errors else 200)


def item_or_404(part_number: str, kind: ItemKind) -> Item:
    """The item of this number, if it is of this kind."""
    item = Item.objects.by_number(part_number)
    if item is None or item.kind != kind:
        raise Http404(f"There is no {kind} numbered “{part_number}”.")
    return item

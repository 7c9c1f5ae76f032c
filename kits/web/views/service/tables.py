"""The service lead's two tables: compounds in fluids, and what to open for which sign."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.errors import Refusal
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.planning.words.states import plural
from kits.service.models import FluidRule, SignRule
from kits.service.queries import fluid_names, rule_choices, signs_known
from kits.service.rules.actions import say_of_compound, say_of_sign, take_published_cautions, take_rule_away
from kits.web.forms.kits import ReasonForm
from kits.web.forms.service.tables import FluidRuleForm, SignRuleForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm
from kits.web.views.jobs.concessions import form_says

MAY_FLUID, MAY_SIGN_RULE = "service.change_fluidrule", "service.change_signrule"
FLUID_COLUMNS: tuple[ListColumn[FluidRule], ...] = (
    ListColumn("fluid", "Fluid", lambda row: row.fluid),
    ListColumn("compound", "Compound", lambda row: row.compound),
    ListColumn("says", "Says", lambda row: str(row.get_says_display())),
    ListColumn("source", "Stated in", lambda row: row.source),
    ListColumn("note", "Besides", lambda row: row.note),
)
SIGN_COLUMNS: tuple[ListColumn[SignRule], ...] = (
    ListColumn("seen", "What is seen", lambda row: row.seen),
    ListColumn("section", "Look in", lambda row: row.section.part_number if row.section else ""),
    ListColumn("scope", "Scope to suggest", lambda row: row.scope),
    ListColumn("note", "Besides", lambda row: row.note),
)


@require_http_methods(["GET", "HEAD", "POST"])
def show_fluids(request: HttpRequest) -> HttpResponse:
    """What the shop holds of compounds in fluids, and a row more or changed."""
    if request.method != "POST":
        return _render_fluids(request)
    if not request.user.has_perm(MAY_FLUID):
        raise PermissionDenied
    form = FluidRuleForm(request.POST)
    if not form.is_valid():
        return _render_fluids(request, form=form, status=422)
    try:
        key, said = form.request_key("fluid"), _said(form)
        say_of_compound(**said, by=cast(User, request.user), at=timezone.now(), key=key)
    except Refusal as error:
        return _render_fluids(request, form=form, refused=str(error), status=409)
    messages.success(request, f"{said['compound']} in {said['fluid']} is written.")
    return redirect("fluids")


@require_POST
@permission_required(MAY_FLUID, raise_exception=True)
def take_published(request: HttpRequest) -> HttpResponse:
    """Start the table with the published cautions."""
    form = KeyForm(request.POST)
    try:
        if not form.is_valid():
            raise Refusal(form_says(form))
        by, at, key = cast(User, request.user), timezone.now(), form.request_key("published")
        new = take_published_cautions(by=by, at=at, key=key)
    except Refusal as error:
        return _render_fluids(request, refused=str(error), status=409)
    messages.success(
        request, f"{plural(new, 'row')} taken in; they are the shop's own now, to be changed as it learns."
    )
    return redirect("fluids")


@require_POST
@permission_required(MAY_FLUID, raise_exception=True)
def remove_fluid_rule(request: HttpRequest, rule: int) -> HttpResponse:
    """Take a row about a compound away."""
    found, form = get_object_or_404(FluidRule, pk=rule), ReasonForm(request.POST)
    try:
        _take_away(request, found, form)
    except Refusal as error:
        return _render_fluids(request, refused=str(error), status=409)
    return redirect("fluids")


@require_http_methods(["GET", "HEAD", "POST"])
def show_signs(request: HttpRequest) -> HttpResponse:
    """What the shop opens for which sign, and a row more or changed."""
    if request.method != "POST":
        return _render_signs(request)
    if not request.user.has_perm(MAY_SIGN_RULE):
        raise PermissionDenied
    form = SignRuleForm(request.POST)
    if not form.is_valid():
        return _render_signs(request, form=form, status=422)
    try:
        key, said = form.request_key("sign rule"), _said(form)
        say_of_sign(**said, by=cast(User, request.user), at=timezone.now(), key=key)
    except Refusal as error:
        return _render_signs(request, form=form, refused=str(error), status=409)
    messages.success(request, f"“{said['seen']}” is written.")
    return redirect("signs")


@require_POST
@permission_required(MAY_SIGN_RULE, raise_exception=True)
def remove_sign_rule(request: HttpRequest, rule: int) -> HttpResponse:
    """Take a row about a sign away."""
    found, form = get_object_or_404(SignRule, pk=rule), ReasonForm(request.POST)
    try:
        _take_away(request, found, form)
    except Refusal as error:
        return _render_signs(request, refused=str(error), status=409)
    return redirect("signs")


def _said(form: KeyForm) -> dict[str, Any]:
    return {name: value for name, value in form.cleaned_data.items() if name != "key"}


def _take_away(request: HttpRequest, rule: FluidRule | SignRule, form: ReasonForm) -> None:
    if not form.is_valid():
        raise Refusal(form_says(form))
    form.request_key("rule", rule.pk)
    take_rule_away(rule=rule, why=form.cleaned_data["reason"], by=cast(User, request.user), at=timezone.now())
    messages.success(request, f"The row “{rule}” is gone; it stands in the history.")


def _render_fluids(
    request: HttpRequest, *, form: FluidRuleForm | None = None, refused: str = "", status: int = 200
) -> HttpResponse:
    rows = list(FluidRule.objects.all())
    if file := list_answer(request, "Fluids and compounds", FLUID_COLUMNS, rows):
        return file
    context = {
        "list": shown_list(request, FLUID_COLUMNS, rows),
        "form": form or FluidRuleForm(),
        "fluids": fluid_names(),
        "may_write": request.user.has_perm(MAY_FLUID),
        **_common(refused),
    }
    return render(request, "web/service/fluids.html", context, status=status)


def _render_signs(
    request: HttpRequest, *, form: SignRuleForm | None = None, refused: str = "", status: int = 200
) -> HttpResponse:
    rows = list(SignRule.objects.select_related("section"))
    if file := list_answer(request, "What was seen", SIGN_COLUMNS, rows):
        return file
    context = {
        "list": shown_list(request, SIGN_COLUMNS, rows),
        "form": form or SignRuleForm(),
        "known": signs_known(),
        "choices": rule_choices(),
        "may_write": request.user.has_perm(MAY_SIGN_RULE),
        **_common(refused),
    }
    return render(request, "web/service/signs.html", context, status=status)


def _common(refused: str) -> dict[str, Any]:
    return {"refused": refused, "as_of": today(), "door": "pumps_and_parts"}

"""The service lead's two tables: compounds in fluids, and what to open for which sign."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
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


Rule = TypeVar("Rule", FluidRule, SignRule)


@dataclass(frozen=True, slots=True)
class LeadTable(Generic[Rule]):
    """One of the two tables: its rows and columns, the form of a row, and what writes one."""

    address: str
    right: str
    columns: tuple[ListColumn[Rule], ...]
    all_rows: Callable[[], QuerySet[Rule]]
    form: type[KeyForm]
    names: str
    say: Callable[..., object]
    written: str
    known: Callable[[], dict[str, Sequence[str]]]


FLUIDS = LeadTable(
    address="fluids",
    right=MAY_FLUID,
    columns=FLUID_COLUMNS,
    all_rows=FluidRule.objects.all,
    form=FluidRuleForm,
    names="fluid",
    say=say_of_compound,
    written="{compound} in {fluid} is written.",
    known=lambda: {"fluids": fluid_names()},
)
SIGNS = LeadTable(
    address="signs",
    right=MAY_SIGN_RULE,
    columns=SIGN_COLUMNS,
    all_rows=lambda: SignRule.objects.select_related("section"),
    form=SignRuleForm,
    names="sign rule",
    say=say_of_sign,
    written="“{seen}” is written.",
    known=lambda: {"known": signs_known(), **dict(zip(("scopes", "sections"), rule_choices(), strict=True))},
)


@require_http_methods(["GET", "HEAD", "POST"])
def show_fluids(request: HttpRequest) -> HttpResponse:
    """What the shop holds of compounds in fluids, and a row more or changed."""
    rows = list(FLUIDS.all_rows())
    return list_answer(request, "Fluids and compounds", FLUIDS.columns, rows) or _show(request, FLUIDS, rows)


@require_http_methods(["GET", "HEAD", "POST"])
def show_signs(request: HttpRequest) -> HttpResponse:
    """What the shop opens for which sign, and a row more or changed."""
    rows = list(SIGNS.all_rows())
    return list_answer(request, "What was seen", SIGNS.columns, rows) or _show(request, SIGNS, rows)


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
        return _render(request, FLUIDS, FLUIDS.all_rows(), refused=str(error), status=409)
    messages.success(
        request, f"{plural(new, 'row')} taken in; they are the shop's own now, to be changed as it learns."
    )
    return redirect("fluids")


@require_POST
@permission_required(MAY_FLUID, raise_exception=True)
def remove_fluid_rule(request: HttpRequest, rule: int) -> HttpResponse:
    """Take a row about a compound away."""
    return _take_away(request, FLUIDS, get_object_or_404(FluidRule, pk=rule))


@require_POST
@permission_required(MAY_SIGN_RULE, raise_exception=True)
def remove_sign_rule(request: HttpRequest, rule: int) -> HttpResponse:
    """Take a row about a sign away."""
    return _take_away(request, SIGNS, get_object_or_404(SignRule, pk=rule))


def _show(request: HttpRequest, table: LeadTable[Rule], rows: Sequence[Rule]) -> HttpResponse:
    if request.method != "POST":
        return _render(request, table, rows)
    if not request.user.has_perm(table.right):
        raise PermissionDenied
    form = table.form(request.POST)
    if not form.is_valid():
        return _render(request, table, rows, form=form, status=422)
    said = {name: value for name, value in form.cleaned_data.items() if name != "key"}
    try:
        key = form.request_key(table.names)
        table.say(**said, by=cast(User, request.user), at=timezone.now(), key=key)
    except Refusal as error:
        return _render(request, table, rows, form=form, refused=str(error), status=409)
    messages.success(request, table.written.format(**said))
    return redirect(table.address)


def _take_away(request: HttpRequest, table: LeadTable[Rule], rule: Rule) -> HttpResponse:
    form = ReasonForm(request.POST)
    try:
        if not form.is_valid():
            raise Refusal(form_says(form))
        form.request_key("rule", rule.pk)
        take_rule_away(rule=rule, why=form.cleaned_data["reason"], by=cast(User, request.user), at=timezone.now())
    except Refusal as error:
        return _render(request, table, table.all_rows(), refused=str(error), status=409)
    messages.success(request, f"The row “{rule}” is gone; it stands in the history.")
    return redirect(table.address)


def _render(
    request: HttpRequest,
    table: LeadTable[Rule],
    rows: Iterable[Rule],
    *,
    form: KeyForm | None = None,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    context = {
        "list": shown_list(request, table.columns, list(rows)),
        "list_at": reverse(table.address),
        "form": form or table.form(),
        "may_write": request.user.has_perm(table.right),
        "refused": refused,
        "as_of": today(),
        "door": "pumps_and_parts",
        **table.known(),
    }
    return render(request, f"web/service/{table.address}.html", context, status=status)

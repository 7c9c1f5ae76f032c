"""Suspect lots: which there are, where one of them went, what the plan loses, freeze and lift."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.cautions.alike_parts import AlikeParts
from kits.planning.queries import plan_now, today
from kits.planning.sheets.suspect import SuspectSheet, SuspectTrace, find_lot, suspect_sheet, trace_of
from kits.stock.models import Lot
from kits.stock.suspects.actions import freeze_again, freeze_lot, lift_suspicion
from kits.stock.suspicions import SuspectRow, lots_named, standing_suspicion, suspicions
from kits.web.forms.kits import ReasonForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm
from kits.web.views.faults import needs_plan

MAY_WORK = "stock.add_suspicion"
COLUMNS: tuple[ListColumn[SuspectRow], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("why", "Why", lambda row: row.reason),
    ListColumn("by", "By", lambda row: row.by),
    ListColumn("since", "Since", lambda row: row.at),
    ListColumn("lifted", "Lifted", lambda row: row.lifted_at),
    ListColumn("found", "What was found", lambda row: row.lift_reason),
)
TRACE: tuple[ListColumn[SuspectTrace], ...] = (
    ListColumn("where", "Where", lambda row: row.where),
    ListColumn("name", "Place or job", lambda row: row.name),
    ListColumn("serial", "Serial", lambda row: row.serial),
    ListColumn("customer", "Customer", lambda row: row.customer),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("says", "Remarks", lambda row: row.says),
)


@require_safe
def show_suspects(request: HttpRequest) -> HttpResponse:
    """Suspect lots, those that stand on top, and a search for the next one."""
    rows, words = suspicions(), request.GET.get("q", "").strip()
    if (file := list_answer(request, "Suspect lots", COLUMNS, rows)) is not None:
        return file
    context = {
        "list": shown_list(request, COLUMNS, rows),
        "standing": sum(row.lifted_at is None for row in rows),
        "words": words,
        "found": lots_named(words),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/kits_and_lots/suspects.html", context)


@require_safe
@needs_plan
def show_suspect(request: HttpRequest, lot_id: int) -> HttpResponse:
    """Where a lot is and what the plan loses without it, before it is frozen and while it is."""
    sheet = suspect_sheet(plan_now(), lot_or_404(lot_id))
    if (file := list_answer(request, f"Where lot {sheet.lot.lot} is", TRACE, trace_of(sheet))) is not None:
        return file
    return render_suspect(request, sheet, ReasonForm())


@require_POST
@permission_required(MAY_WORK, raise_exception=True)
@needs_plan
def do_with_suspect(request: HttpRequest, lot_id: int, work: str) -> HttpResponse:
    """Freeze a lot, freeze what came back, or lift the suspicion."""
    lot = lot_or_404(lot_id)
    if work not in ("freeze", "again", "lift"):
        raise Http404(f"Nothing is known of “{work}”.")
    form = KeyForm(request.POST) if work == "again" else ReasonForm(request.POST)
    if not form.is_valid():
        return render_suspect(request, suspect_sheet(plan_now(), lot), form, status=422)
    try:
        says = act(request, lot, work, form)
    except Refusal as error:
        return render_suspect(request, suspect_sheet(plan_now(), lot_or_404(lot_id)), form, str(error), status=409)
    messages.success(request, says)
    return redirect("suspect", lot_id=lot_id)


def act(request: HttpRequest, lot: Lot, work: str, form: KeyForm) -> str:
    """Do it, and say what was done."""
    by, at, key = cast(User, request.user), timezone.now(), form.request_key(work, lot.pk)
    if work == "freeze":
        freeze_lot(lot=lot, reason=form.cleaned_data["reason"], by=by, at=at, key=key)
        return f"Lot {lot.lot} of {lot.item} is frozen, and every kit that holds it. Fetch what lies in bags."
    suspicion = standing_suspicion(lot)
    if suspicion is None:
        raise Refusal(f"{lot} is under suspicion no longer: nothing was changed.")
    if work == "again":
        frozen = freeze_again(suspicion=suspicion, by=by, at=at, key=key)
        return "What had come back is frozen as well." if frozen else "Nothing had come back: all of it is frozen."
    lift_suspicion(suspicion=suspicion, reason=form.cleaned_data["reason"], by=by, at=at, key=key)
    return f"Lot {lot.lot} of {lot.item} is usable again, as far as it was frozen and still lies there."


def render_suspect(
    request: HttpRequest, sheet: SuspectSheet, form: KeyForm, refused: str = "", status: int = 200
) -> HttpResponse:
    """The sheet of a suspect lot."""
    context = {
        "sheet": sheet,
        "list_at": reverse("suspect", args=[sheet.lot.pk]),
        "form": form,
        "refused": refused,
        "currency": read_settings().currency,
        "may_work": request.user.has_perm(MAY_WORK),
        "alike": AlikeParts().of_each({row.part_number for row in sheet.shelf}),
        "as_of": sheet.as_of,
        "door": "storeroom",
    }
    return render(request, "web/kits_and_lots/suspect.html", context, status=status)


def lot_or_404(lot_id: int) -> Lot:
    """The lot."""
    lot = find_lot(lot_id)
    if lot is None:
        raise Http404("There is no such lot.")
    return lot

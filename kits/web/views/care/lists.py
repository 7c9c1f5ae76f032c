"""Changing a list from a day or a serial on: a line, a number that replaces another, the contents of a kit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import ItemKind
from kits.exchange.models import UploadOrigin
from kits.exchange.revised.actions import look_at_revision
from kits.exchange.revised.rows import (
    ListRevision,
    change_quantity,
    lines_in_force,
    replace_part,
    revise_contents,
)
from kits.exchange.uploads.upload_list import find_upload, read_typed
from kits.people.models import User
from kits.people.names import name_of
from kits.people.sheet_rights import MAY_UPLOAD
from kits.picking.care.change_over import change_over
from kits.picking.care.proposals import ProposedChange, find_proposal
from kits.planning.queries import lists_now, plan_now, today
from kits.stock.packed_kits.kit_lots import kit_lots
from kits.web.forms.service.care import ContentsForm, ListLineForm, NewNumberForm, SinceForm
from kits.web.views.care.front import MAY_CARE
from kits.web.views.faults import needs_plan
from kits.web.views.plan.fitting import item_or_404

RIGHTS = (MAY_CARE, MAY_UPLOAD)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(RIGHTS, raise_exception=True)
@needs_plan
def change_line(request: HttpRequest, part_number: str) -> HttpResponse:
    """How much of a part an assembly of a pump holds from a day or a serial on."""
    pump = item_or_404(part_number, ItemKind.PUMP)
    held, asked = lists_now().held_in(pump.part_number), request.GET
    proposal = find_proposal(plan_now(), pump.part_number, asked.get("scope", ""), asked.get("part", ""))
    assembly = _likely_assembly(held, asked.get("part", ""))
    quantity = _likely_quantity(proposal, held, assembly)
    first = {"part": asked.get("part", ""), "assembly": assembly, "quantity": quantity}
    form = ListLineForm(held, *_bound(request), today=today(), initial=_initial(request) | first)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            revision = change_quantity(
                parent=Item.objects.get(part_number=said["assembly"]),
                part=said["part"],
                position=said["position"],
                quantity=said["quantity"],
                at_rebuild=said["at_rebuild"],
                since=form.since,
                stated_in=form.source,
                today=today(),
            )
            return _look(request, form, revision, f"{said['part']} in {said['assembly']}")
        except Refusal as error:
            form.add_error(None, str(error))
    context = {"pump": pump, "form": form, "proposal": proposal, "door": "pumps_and_parts", "as_of": today()}
    return render(request, "web/care/line.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(RIGHTS, raise_exception=True)
@needs_plan
def replace_number(request: HttpRequest, part_number: str) -> HttpResponse:
    """Which number stands in the place of an old one from a day or a serial on."""
    old = Item.objects.by_number(part_number)
    if old is None:
        raise Http404(f"There is no part numbered “{part_number}”.")
    found, over = _lines(StructureLine.objects.filter(child=old)), change_over(plan_now(), old)
    first = {"from_day": over.day, "used_up": True, "lines": [line.pk for line in found]}
    form = NewNumberForm(found, *_bound(request), today=today(), initial=_initial(request) | first)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            revision = replace_part(
                old=old,
                new=said["new"],
                description=said["description"],
                lines=lines_in_force(form.chosen, form.since, today()),
                since=form.since,
                used_up=said["used_up"],
                approved_by=said["approved_by"],
                stated_in=form.source,
            )
            return _look(request, form, revision, f"{said['new']} in the place of {old}")
        except Refusal as error:
            form.add_error(None, str(error))
    context = {"old": old, "form": form, "over": over, "lines": found, "door": "pumps_and_parts", "as_of": today()}
    return render(request, "web/care/number.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(RIGHTS, raise_exception=True)
@needs_plan
def revise_kit(request: HttpRequest, part_number: str) -> HttpResponse:
    """What a kit holds from a day or a serial on."""
    kit = item_or_404(part_number, ItemKind.KIT)
    stored = _lines(kit.lines.all())
    proposal = find_proposal(plan_now(), kit.part_number, "", request.GET.get("part", ""))
    first: dict[str, Any] = _initial(request)
    if proposal is not None:
        line = next((line for line in stored if line.child_id == proposal.part.pk), None)
        less = proposal.found.each * ONE
        first |= {f"line-{line.pk}": max(0, line.quantity - less)} if line else {}
    form = ContentsForm(stored, *_bound(request), today=today(), initial=first)
    if request.method == "POST" and form.is_valid():
        try:
            revision = revise_contents(
                kit=kit,
                quantities=form.quantities,
                added=form.cleaned_data["added"],
                since=form.since,
                stated_in=form.source,
                today=today(),
            )
            return _look(request, form, revision, f"contents of {kit}")
        except Refusal as error:
            form.add_error(None, str(error))
    unrecorded = [row for row in kit_lots(today=today(), kit=kit) if not row.recorded]
    context = {"kit": kit, "form": form, "proposal": proposal, "unrecorded": unrecorded, "door": "pumps_and_parts"}
    return render(request, "web/care/contents.html", context | {"as_of": today()}, status=422 if form.errors else 200)


def _look(request: HttpRequest, form: SinceForm, revision: ListRevision, what: str) -> HttpResponse:
    """Check a change with what it does to the plan; it is kept on the page that shows both."""
    said = form.cleaned_data
    kept = look_at_revision(
        revision=revision,
        what=f"{what}, {form.since.says}",
        approved_by=said["approved_by"],
        why=said["why"],
        page=request.get_full_path(),
        said={name: request.POST.getlist(name) for name in request.POST if name != "csrfmiddlewaretoken"},
        by=cast(User, request.user),
        at=timezone.now(),
    )
    return redirect("upload_preview", upload=kept.pk)


def _bound(request: HttpRequest) -> tuple[Any, ...]:
    """What was typed: just now, or before it was looked at and is to be put right."""
    if request.method == "POST":
        return (request.POST,)
    number = request.GET.get("again", "")
    kept = find_upload(int(number)) if number.isdecimal() and len(number) < 10 else None
    if kept is None or kept.origin != UploadOrigin.REVISED:
        return ()
    said = read_typed(kept.pk).get("said", {})
    typed = request.POST.copy()
    for name, values in dict(said).items():
        typed.setlist(name, values)
    return (typed,)


def _initial(request: HttpRequest) -> dict[str, Any]:
    return {"from_day": today(), "approved_by": name_of(cast(User, request.user))}


def _lines(stored: Any) -> list[StructureLine]:
    """The lines that hold today or later, in the order of their lists."""
    lines = stored.select_related("parent", "child", "pump").order_by("parent__folded", "order", "pk")
    return [line for line in lines if line.to_on is None or line.to_on >= today()]


def _likely_assembly(held: Mapping[str, int], part: str) -> str:
    """Where a part stands already in a pump; else its first assembly, for the pump itself is seldom opened."""
    item = Item.objects.by_number(part) if part else None
    inside = set(StructureLine.objects.filter(child=item).values_list("parent__part_number", flat=True)) if item else ()
    return next((number for number in held if number in inside), next(iter([*held][1:2] or held), ""))


def _likely_quantity(proposal: ProposedChange | None, held: Mapping[str, int], assembly: str) -> int | None:
    """What one assembly would hold by what was seen, on top of what it holds; None where that is no whole number."""
    if proposal is None or not held.get(assembly):
        return None
    each, rest = divmod(proposal.found.each, held[assembly])
    if rest:
        return None
    stored = StructureLine.objects.filter(parent__part_number=assembly, child=proposal.part).first()
    return (stored.quantity if stored else 0) + each * ONE

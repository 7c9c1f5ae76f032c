"""A ring that nobody knows, looked up by what was measured."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.rings.finder import INSIDE_TOLERANCE_MM, SECTION_TOLERANCE_MM, Candidate, find_rings
from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.queries import today
from kits.stock.queries import amounts_on_shelf
from kits.web.forms.kits import RingForm
from kits.web.lists import list_answer

COLUMNS: tuple[ListColumn[Candidate], ...] = (
    ListColumn("dash", "AS568", lambda row: row.dash),
    ListColumn("size", "Size", lambda row: row.size.text),
    ListColumn("inside_off", "Inside, larger by mm", lambda row: f"{row.inside_off_mm:+.2f}"),
    ListColumn("section_off", "Section, larger by mm", lambda row: f"{row.section_off_mm:+.2f}"),
    ListColumn("within", "Within the tolerances", lambda row: "yes" if row.within else "no"),
    ListColumn("parts", "Our parts", lambda row: ", ".join(item.part_number for item in row.items)),
)


@require_safe
def show_rings(request: HttpRequest) -> HttpResponse:
    """Sizes near what was measured, with the shop's rings of each size and what lies on the shelf."""
    form = RingForm(request.GET if "inside" in request.GET else None)
    found = find_rings(form.measured()) if form.is_bound and form.is_valid() else []
    if found and (file := list_answer(request, "Rings", COLUMNS, found)) is not None:
        return file
    here = amounts_on_shelf([item.pk for one in found for item in one.items])
    context = {
        "form": form,
        "found": [(one, [(item, here.get(item.pk)) for item in one.items]) for one in found],
        "within": sum(one.within for one in found),
        "tolerances": (INSIDE_TOLERANCE_MM, SECTION_TOLERANCE_MM),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/kits_and_lots/rings.html", context)

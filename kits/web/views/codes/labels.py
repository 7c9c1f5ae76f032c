"""The label of any one thing, and those of the places."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.picking.scanning.coded_labels import labels_for, place_labels
from kits.planning.queries import today
from kits.stock.codes.texts import Code, CodeKind
from kits.stock.models import Place
from kits.web.lists import list_answer, shown_list
from kits.web.page_number import is_number
from kits.web.views.codes.printing import COPIES, MOST_COPIES, chosen_paper, label_file

PLACES: tuple[ListColumn[Place], ...] = (
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("kind", "Kind", lambda row: row.get_kind_display()),
    ListColumn("walk", "Walk", lambda row: row.walk_order, figure=True),
)


@require_safe
def show_label(request: HttpRequest, kind: str, number: str) -> HttpResponse:
    """The label of one thing, to print here or on label paper."""
    word = kind.upper()
    if word not in CodeKind:
        raise Http404(f"Nothing of the kind {kind} bears a label.")
    code = Code(CodeKind(word), number)
    made = labels_for(code, today=today())
    if not made:
        raise Http404(f"There is nothing with the code {code}, or none of it is on the shelf.")
    asked = request.GET.get(COPIES, "1").strip()
    wrong = "" if is_number(asked) and 1 <= int(asked) <= MOST_COPIES else asked
    labels = [label for label in made for _ in range(1 if wrong else int(asked))]
    if not wrong and (file := label_file(request, labels, "label")):
        return file
    context = {"labels": labels, "code": code, "copies": asked, "wrong": wrong, "most": MOST_COPIES}
    choice = chosen_paper(request, labels)
    context |= {"choice": choice, "as_of": today(), "door": "storeroom"}
    return render(request, "web/codes/label.html", context, status=422 if wrong or choice.wrong else 200)


@require_safe
def show_place_labels(request: HttpRequest) -> HttpResponse:
    """Labels of bins and other places: those that are ticked, or all."""
    places = list(Place.objects.all())
    if file := list_answer(request, "Places", PLACES, places):
        return file
    ticked = {int(text) for text in request.GET.getlist("of") if is_number(text)}
    chosen = {place.pk for place in places} if "all" in request.GET else ticked
    shown = shown_list(request, PLACES, places)
    turns = (
        "page" in request.GET
    )  # what is ticked goes along to another page of the list; labels are drawn when asked for
    labels = [] if turns else place_labels(chosen)
    if file := label_file(request, labels, "place-labels"):
        return file
    elsewhere = chosen - {place.pk for place in shown.rows}
    context = {"list": shown, "ticked": chosen, "elsewhere": sorted(elsewhere), "labels": labels}
    choice = chosen_paper(request, labels)
    context |= {"choice": choice, "as_of": today(), "door": "storeroom"}
    return render(request, "web/codes/place_labels.html", context, status=422 if choice.wrong else 200)

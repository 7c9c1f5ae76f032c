"""Labels for bags: which, how many of each, and the sheet to print and cut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.queries import today
from kits.stock.lists import labels
from kits.stock.lists.labels import DAYS_SHOWN, MOST_COPIES, Label, balances_raised, labels_lately, labels_of
from kits.web.lists import ShownList, list_answer, shown_list
from kits.web.page_number import is_number
from kits.web.views.codes.printing import MOST_LABELS, chosen_paper, label_file

HOW_MANY = "n-"
ON_ONE_SHEET = 21
COLUMNS: tuple[ListColumn[Label], ...] = (
    ListColumn("came", "Came", lambda row: row.came_at),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("size", "Size, compound", lambda row: row.size_and_compound),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("quantity", "On hand", lambda row: row.quantity, figure=True),
)


@dataclass(frozen=True, slots=True)
class HowMany:
    """How many labels of one bag are asked for: the text as it was typed, and the number, None where it is none."""

    text: str
    number: int | None


@require_safe
def show_labels(request: HttpRequest) -> HttpResponse:
    """Labels of the bags that the address names, or of what came lately; with how many of each."""
    words = request.GET.get("q", "").strip()
    named = named_bags(request)
    rows = labels_of(named, today=today()) if named else labels_lately(words=words, now=timezone.now(), today=today())
    if file := list_answer(request, "Labels", COLUMNS, rows):
        return file
    shown = shown_list(request, COLUMNS, rows, per_page=labels.MOST_ROWS)
    asked = {row.balance_id: how_many(request, row, bool(named)) for row in shown.rows}
    printed = [row.coded for row in copies(shown.rows, asked)]
    choice = chosen_paper(request, printed)
    if file := label_file(request, printed, "labels"):
        return file
    context = {
        "list": replace(cast(ShownList[Any], shown), rows=tuple((row, asked[row.balance_id]) for row in shown.rows)),
        "labels": printed[:MOST_LABELS],
        "choice": choice,
        "left_out": max(len(printed) - MOST_LABELS, 0),
        "sheets": -(-min(len(printed), MOST_LABELS) // ON_ONE_SHEET),
        "wrong": [one.text for one in asked.values() if one.number is None],
        "most": MOST_COPIES,
        "cut": not named and len(rows) == labels.MOST_ROWS,
        "named": bool(named),
        "words": words,
        "days": DAYS_SHOWN,
        "as_of": today(),
        "door": "storeroom",
    }
    status = 422 if context["wrong"] or choice.wrong else 200
    return render(request, "web/storeroom/labels.html", context, status=status)


def named_bags(request: HttpRequest) -> list[int]:
    """The accounts that the address names: by themselves, by how many labels are wanted, by a posting."""
    numbers = [text for text in request.GET.getlist("of") if is_number(text)]
    asked = (name.removeprefix(HOW_MANY) for name in request.GET if name.startswith(HOW_MANY))
    postings = [int(text) for text in request.GET.getlist("posting") if is_number(text)]
    numbers += [text for text in asked if is_number(text)]
    return list(dict.fromkeys([*map(int, numbers), *(balances_raised(postings) if postings else ())]))


def how_many(request: HttpRequest, row: Label, named: bool) -> HowMany:
    """How many labels of a bag: as typed, else one for each bag where bags are named, else none."""
    text = request.GET.get(f"{HOW_MANY}{row.balance_id}")
    if text is None:
        bags = row.bags if named and not asks_numbers(request) else 0
        return HowMany(str(bags or ""), bags)
    said = text.strip()
    number = int(said) if is_number(said) and int(said) <= MOST_COPIES else None
    return HowMany(text, 0 if said == "" else number)


def asks_numbers(request: HttpRequest) -> bool:
    """Whether the address says how many of anything."""
    return any(name.startswith(HOW_MANY) for name in request.GET)


def copies(rows: Sequence[Label], asked: dict[int, HowMany]) -> Iterator[Label]:
    """Each label as often as it is asked for."""
    for row in rows:
        for _ in range(asked[row.balance_id].number or 0):
            yield row

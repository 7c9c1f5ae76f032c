"""What changed in the lists since a mark, so that nobody has to read everything again."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from ninja import Query, Router, Schema

from kits.api.actions import ALL, note_changes
from kits.api.door import require
from kits.api.kept_lists import Cell, KeptList, all_kept_lists, kept_list
from kits.api.marks import seen, state_of
from kits.api.models import ToldRow, ToldState
from kits.api.problems import ApiRefusal
from kits.api.reading.lists import Limit
from kits.api.refusals import REFUSALS
from kits.catalog.caching.revisions import read_marks
from kits.exchange.columns.layouts import BY_NAME
from kits.people.tokens.scopes import READ

router = Router(tags=["What changed"])
TRIES = 3
Since = Annotated[
    int | None,
    Query(
        ge=0, le=2**63 - 1, description="The mark of the last answer; 0 tells every row, nothing only the mark of now."
    ),
]


class ChangedRow(Schema):
    """One row that is new or changed, as it stands now; of one that is gone only its key."""

    list_name: str
    key: dict[str, str]
    gone: bool
    row: dict[str, Cell] | None


class ChangePage(Schema):
    """Changes in the order in which they are to be followed; ``mark`` is what to send as ``since`` next time."""

    changes: list[ChangedRow]
    mark: int
    next: str | None


@router.get("/changes", response={200: ChangePage, 304: None, **REFUSALS})
def read_changes(request: HttpRequest, response: HttpResponse, since: Since = None, limit: Limit = 200) -> Any:
    """Every row that is new, changed or gone since a mark, each once, as it stands now."""
    require(request, READ)
    if answer := seen(request, response, state_of("changes", since, limit)):
        return answer
    number = _up_to_now()
    if since is None:
        return ChangePage(changes=[], mark=number, next=None)
    if since > number:
        says = "since: this mark is of another database: read the lists anew, then ask from the mark of now."
        raise ApiRefusal(409, says)
    found = list(ToldRow.objects.filter(number__gt=since).order_by("number")[: limit + 1])
    shown, more = found[:limit], len(found) > limit
    mark = shown[-1].number if more else number
    address = f"{request.path}?{urlencode({'since': mark, 'limit': limit})}" if more else None
    if address:
        response.headers["Link"] = f'<{address}>; rel="next"'
    lists = {name: kept_list(BY_NAME[name]) for name in {one.list_name for one in shown}}
    return ChangePage(changes=[_told(one, lists[one.list_name]) for one in shown], mark=mark, next=address)


def _told(one: ToldRow, kept: KeptList) -> ChangedRow:
    layout, key = BY_NAME[one.list_name], tuple(one.key)
    row = kept.row_of(key) if one.digest else None
    named = {column.name: part for column, part in zip(layout.key, key, strict=True)}
    return ChangedRow(list_name=layout.name, key=named, gone=row is None, row=row)


def _up_to_now() -> int:
    """The number of the last change, with everything noted that was written by now."""
    for _ in range(TRIES):
        marks = read_marks()
        state = ToldState.objects.filter(name=ALL, marks="".join(marks)).first()
        if state is not None:
            return state.number
        if (number := note_changes(lists=all_kept_lists(), marks=marks)) is not None:
            return number
    # Others write faster than this is read: they wait for once.
    return note_changes(lists=None, marks=None) or 0

"""The lists of the shop: each as its sheet has it, page by page, in the order of its keys."""

from __future__ import annotations

import base64
import json
from bisect import bisect_right
from typing import Annotated, Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from ninja import Path, Query, Router, Schema

from kits.api.door import require
from kits.api.kept_lists import Cell, kept_list
from kits.api.marks import digest, seen
from kits.api.problems import ApiRefusal
from kits.api.refusals import REFUSALS
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.layouts import LAYOUTS, find_layout
from kits.people.tokens.scopes import READ

router = Router(tags=["Lists"])
ListName = Annotated[str, Path(max_length=40, description="A list by its name, such as Schedule.")]
After = Annotated[str, Query(max_length=2000, description="Where the page before ended: its value of next_after.")]
Limit = Annotated[int, Query(ge=1, le=1000, description="How many at most.")]


class ListColumnFacts(Schema):
    """One column: how its cells are read, whether each row needs one, what a blank means, the words it may hold."""

    name: str
    reads: str
    required: bool
    key: bool
    default: str
    words: list[str]


class ListFacts(Schema):
    """One list, and what one of its rows is called."""

    name: str
    row_is: str
    columns: list[ListColumnFacts]
    address: str


class ListPage(Schema):
    """Some rows of a list, in the order of their keys; ``next`` is the address of what follows."""

    name: str
    count: int
    rows: list[dict[str, Cell]]
    next: str | None
    next_after: str | None


@router.get("/lists", response={200: list[ListFacts], 304: None, **REFUSALS})
def name_lists(request: HttpRequest, response: HttpResponse) -> Any:
    """Every list with its columns."""
    require(request, READ)
    facts = [_facts(layout) for layout in LAYOUTS]
    return seen(request, response, digest([fact.dict() for fact in facts])) or facts


@router.get("/lists/{name}", response={200: ListPage, 304: None, **REFUSALS})
def read_list(
    request: HttpRequest, response: HttpResponse, name: ListName, after: After = "", limit: Limit = 200
) -> Any:
    """The rows of a list. Its ETag changes when the list does, and with nothing else."""
    require(request, READ)
    layout = layout_of(name)
    kept = kept_list(layout)
    if answer := seen(request, response, kept.tag):
        return answer
    start = bisect_right(kept.keys, _read_after(after)) if after else 0
    rows = kept.rows[start : start + limit]
    more = start + limit < len(kept.rows)
    mark = _write_after(kept.keys[start + limit - 1]) if more else None
    address = f"{request.path}?{urlencode({'after': mark, 'limit': limit})}" if mark else None
    if address:
        response.headers["Link"] = f'<{address}>; rel="next"'
    return ListPage(name=layout.name, count=len(kept.rows), rows=rows, next=address, next_after=mark)


def layout_of(name: str) -> Layout:
    """The list of a name; one that is not there is refused."""
    layout = find_layout(name)
    if layout is None:
        raise ApiRefusal(404, f"There is no list {name[:40]}: /api/v1/lists names them all.")
    return layout


def _facts(layout: Layout) -> ListFacts:
    columns = [
        ListColumnFacts(
            name=column.name,
            reads=column.reads,
            required=column.required,
            key=column in layout.key,
            default=column.default,
            words=list(column.words),
        )
        for column in layout.columns
    ]
    return ListFacts(name=layout.name, row_is=layout.row_is, columns=columns, address=f"/api/v1/lists/{layout.name}")


def _write_after(key: tuple[str, ...]) -> str:
    return base64.urlsafe_b64encode(json.dumps(key).encode()).decode()


def _read_after(text: str) -> tuple[str, ...]:
    try:
        key = json.loads(base64.b64decode(text.encode("ascii"), altchars=b"-_", validate=True))
    except (ValueError, RecursionError) as error:
        raise ApiRefusal(422, "after: this is no mark of a page: send the next_after of the page before.") from error
    if not isinstance(key, list) or not all(isinstance(part, str) for part in key):
        raise ApiRefusal(422, "after: this is no mark of a page: send the next_after of the page before.")
    return tuple(key)

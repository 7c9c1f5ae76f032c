"""Lists on pages: sorted by the column that the address names, shown page by page, exported as they are filtered.

A view makes the rows, says which columns there are and asks `list_answer` first: it is the file when the address says
``?export=csv``, ``?export=semicolon`` or ``?export=xlsx``, else None. Then `shown_list` gives the page. It extends
``web/list_page.html``, which draws the list, its headings, pages and links to the files, and writes the cells of one
row; ``{% find_rows list %}`` writes a field for words that a row must hold (``?find=``). Rows that the
database sorts (`SortedElsewhere`) are never in memory but for the page that is shown, and have filters of their own.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar, runtime_checkable

from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.utils.text import slugify

from kits.catalog.folding import fold
from kits.exchange.workbooks.list_export import ListColumn, list_as_csv, list_as_workbook, sort_key, text_of
from kits.planning.queries import today
from kits.web.page_number import page_number

Row = TypeVar("Row")
ROWS_PER_PAGE = 25
TALL_ROWS_PER_PAGE = 16
"""So that a page of rows of two lines each, or of three and more, is no longer than three screens."""
COLUMNS_COOKIE = "columns"
CSV = "text/csv; charset=utf-8"
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@runtime_checkable
class SortedElsewhere(Protocol[Row]):
    """Rows that the database sorts and cuts into pages."""

    def sorted_by(self, sort: str) -> SortedElsewhere[Row]:
        """The same rows by a column, downwards with a dash before it; as they come where there is no such column."""

    def count(self) -> int:
        """How many rows there are."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice) -> list[Row]: ...

    def __iter__(self) -> Iterator[Row]: ...


Rows = Sequence[Row] | SortedElsewhere[Row]


@dataclass(frozen=True, slots=True)
class ListHeading:
    """The heading of a column: what it says, what ``sort`` in the address becomes when it is chosen, how it stands.

    Where rows are not sorted by it, ``sort`` is blank.
    """

    words: str
    sort: str
    figure: bool
    standing: str  # ascending, descending or nothing


@dataclass(frozen=True, slots=True)
class ColumnChoice:
    """A column that may be left out of a list, and whether it is shown. The first says whose a row is, and stays."""

    name: str
    words: str
    shown: bool
    fixed: bool


@dataclass(frozen=True, slots=True)
class ShownList(Generic[Row]):
    """One page of a list. ``count`` counts all rows that hold the ``words`` asked for, ``whole`` all there are."""

    headings: tuple[ListHeading, ...]
    rows: tuple[Row, ...]
    page: Page[Row]
    count: int
    words: str
    whole: int
    name: str = ""
    choices: tuple[ColumnChoice, ...] = ()

    def shown_before(self, name: str) -> int:
        """How many columns are shown to the left of one."""
        place = next((place for place, one in enumerate(self.choices) if one.name == name), len(self.choices))
        return sum(one.shown for one in self.choices[:place])

    @property
    def columns_shown(self) -> int:
        """How many columns are shown."""
        return sum(one.shown for one in self.choices)


def sorted_rows(request: HttpRequest, columns: Sequence[ListColumn[Row]], rows: Rows[Row]) -> Rows[Row]:
    """The rows by the column that ``?sort=`` names, downwards with a dash before it; else as they come."""
    asked = request.GET.get("sort", "")
    if isinstance(rows, SortedElsewhere):
        return rows.sorted_by(asked)
    column = next((column for column in columns if column.name == asked.removeprefix("-")), None)
    if column is None:
        return rows
    keyed = [(sort_key(column.value_of(row)), row) for row in rows]
    # What has no value stays last either way.
    blank = [row for key, row in keyed if key[0]]
    filled = [entry for entry in keyed if not entry[0][0]]
    filled.sort(key=lambda entry: entry[0][1], reverse=asked.startswith("-"))
    return [row for _, row in filled] + blank


@dataclass(frozen=True, slots=True)
class FoundRows:
    """How many rows of a list that is shown in groups hold the words asked for, out of how many."""

    words: str
    count: int
    whole: int


def found_rows(
    request: HttpRequest, columns: Sequence[ListColumn[Row]], rows: Sequence[Row]
) -> tuple[Sequence[Row], FoundRows]:
    """The rows that hold the words asked for, of a list that is shown in groups, and how many they are."""
    words = words_asked(request)
    kept = rows_with(words, columns, rows)
    return kept, FoundRows(words, len(kept), len(rows))


def words_asked(request: HttpRequest) -> str:
    """The words that rows must hold."""
    return request.GET.get("find", "").strip()


def rows_with(words: str, columns: Sequence[ListColumn[Row]], rows: Sequence[Row]) -> Sequence[Row]:
    """The rows whose columns hold all the words, wherever they stand."""
    wanted = fold(words).split()
    if not wanted:
        return rows
    texts = ((row, fold(" ".join(text_of(column.value_of(row)) for column in columns))) for row in rows)
    return [row for row, text in texts if all(word in text for word in wanted)]


def list_answer(
    request: HttpRequest, title: str, columns: Sequence[ListColumn[Row]], rows: Rows[Row]
) -> HttpResponse | None:
    """All rows as a file if the address asks for one: ``?export=csv``, ``?export=semicolon`` or ``?export=xlsx``.

    The file has the columns that the page shows.
    """
    wanted = request.GET.get("export", "")
    if wanted not in ("csv", "semicolon", "xlsx"):
        return None
    ordered = sorted_rows(request, columns, narrowed(request, columns, rows))
    hidden = hidden_columns(request)
    shown = [column for column in columns if column.name not in hidden]
    if wanted == "xlsx":
        content = list_as_workbook(title, shown, ordered)
    else:
        content = list_as_csv(shown, ordered, decimal_comma=wanted == "semicolon")
    name = f"{slugify(title) or 'list'}-{today().isoformat()}.{'xlsx' if wanted == 'xlsx' else 'csv'}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(content, WORKBOOK if wanted == "xlsx" else CSV, headers=headers)


def list_name(request: HttpRequest) -> str:
    """The name by which the columns of a list are kept: that of its address, and of the sheet where it has several."""
    match = request.resolver_match
    names = (match.url_name or "", match.kwargs.get("sheet", "")) if match else ()
    return "_".join(filter(None, names)).replace("-", "_")


def kept_columns(request: HttpRequest) -> dict[str, list[str]]:
    """Which columns of which lists this browser leaves out, by the name of the list."""
    try:
        kept = json.loads(request.COOKIES.get(COLUMNS_COOKIE, "{}"))
    except ValueError:
        return {}
    if not isinstance(kept, dict):
        return {}
    return {name: [str(one) for one in left] for name, left in kept.items() if isinstance(left, list)}


def hidden_columns(request: HttpRequest) -> frozenset[str]:
    """The columns of this list that are left out."""
    return frozenset(kept_columns(request).get(list_name(request), ()))


def shown_list(
    request: HttpRequest,
    columns: Sequence[ListColumn[Row]],
    rows: Rows[Row],
    per_page: int = ROWS_PER_PAGE,
    more: Sequence[ListColumn[Row]] = (),
    holds: Callable[[Row], bool] | None = None,
) -> ShownList[Row]:
    """The page of the list that the address asks for; words are looked for in ``more`` columns than have a heading.

    Where it names no page, it is the one with the first row that ``holds`` is true of.
    """
    found = narrowed(request, (*columns, *more), rows)
    ordered: Any = sorted_rows(request, columns, found)
    number = page_number(request)
    if holds and "page" not in request.GET:
        number = next((place for place, row in enumerate(ordered) if holds(row)), 0) // per_page + 1
    page = Paginator(ordered, per_page).get_page(number)
    asked = request.GET.get("sort", "")
    headings = tuple(_heading(column, asked) for column in columns)
    count = page.paginator.count
    whole = count if found is rows else len(rows)
    hidden = hidden_columns(request)
    choices = tuple(
        ColumnChoice(column.name, column.heading, not place or column.name not in hidden, not place)
        for place, column in enumerate(columns)
    )
    return ShownList(
        headings, tuple(page.object_list), page, count, words_asked(request), whole, list_name(request), choices
    )


def narrowed(request: HttpRequest, columns: Sequence[ListColumn[Row]], rows: Rows[Row]) -> Rows[Row]:
    """The rows that hold the words asked for."""
    words = words_asked(request)
    if not words or isinstance(rows, SortedElsewhere):
        return rows
    return rows_with(words, columns, rows)


def _heading(column: ListColumn[Row], asked: str) -> ListHeading:
    standing = {column.name: "ascending", f"-{column.name}": "descending"}.get(asked, "")
    sort = f"-{column.name}" if standing == "ascending" else column.name if column.sorts else ""
    return ListHeading(column.heading, sort, column.figure, standing)

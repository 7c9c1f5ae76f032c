"""Indented lists read: how deep each line stands, and what it says, in the shapes in which such lists are written.

=========  ======================================================================
signs      dots, spaces or dashes before the part number: ``. . SE-1``
level      the depth as a number in a column of its own: ``2`` or ``..2``
outline    outline numbers in a column of their own: ``1.2.3``
columns    the part number stands further right the deeper it is
groups     a column names what holds the part; blank means the same as above
titles     a line with a single text names what holds the lines below it
=========  ======================================================================
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from kits.catalog.folding import fold
from kits.exchange.files.raw_sheets import is_blank
from kits.exchange.reading.indented.cells import TakenApart
from kits.exchange.reading.indented.columns import (
    GROUP,
    NAME,
    NUMBER,
    QUANTITY,
    Columns,
    Row,
    cell_at,
    columns_without_headings,
    filled_cells,
    find_columns,
    looks_counted,
    looks_numbered,
    repeats_headings,
    texts_at,
)
from kits.exchange.reading.indented.columns import (
    LEVEL as LEVEL_COLUMN,
)
from kits.exchange.reading.indented.columns import (
    OUTLINE as OUTLINE_COLUMN,
)
from kits.exchange.reading.indented.marked_text import rank_of

SIGNS, LEVEL, OUTLINE, COLUMNS, GROUPS, TITLES = ("signs", "level", "outline", "columns", "groups", "titles")

SAYS = {
    SIGNS: "dots, spaces or dashes before the part number",
    LEVEL: "a column with the depth as a number",
    OUTLINE: "a column with outline numbers such as 1.2.3",
    COLUMNS: "part numbers further right the deeper they are",
    GROUPS: "a column that names what holds the part",
    TITLES: "a line with a single text names what holds the lines below it",
}

_PREFIX = re.compile("(?:[\\s.·•>|*\u00a0]|[-–—+](?=[\\s\\-–—+]))*")
_DEPTH = re.compile(r"[.\s]*(\d{1,2})\.?")
_NUMBERED = re.compile(r"\d{1,4}(?:\.\d{1,4})*\.?")
_COUNTED = re.compile(
    r"(?P<before>\d+)\s*[x×]\s+(?P<what>\S.*)|(?P<other>\S.*?)\s*(?:[x×]\s*(?P<after>\d+)|\((?P<in>\d+)\s*[x×]?\))"
)
_LED_BY_COUNT = re.compile(r"\d+\s*[x×]\s")
_TOTALS = ("total", "subtotal", "sub-total", "grand total", "sum", "note", "notes")
_DEEPEST = 15
_LONGEST_TITLE = 60


@dataclass(slots=True)
class IndentedLine:
    """One line: its row, how far it is indented, its outline number if it has one, what it names, its other cells.

    ``under`` is what holds it where the line itself says so; ``is_title`` a line that only names what follows;
    ``is_torn`` one with more cells than there are headings, so that nobody knows which cell is which.
    """

    row: int
    indent: int
    part_number: str
    cells: dict[str, str] = field(default_factory=dict)
    outline: str = ""
    name: str = ""
    under: str = ""
    is_title: bool = False
    is_torn: bool = False

    @property
    def called(self) -> str:
        """The part number, or the name where there is none."""
        return self.part_number or self.name


@dataclass(frozen=True, slots=True)
class IndentedList:
    """The lines of a list, the shape in which it was read, its headings, and rows that are none of its lines.

    ``above`` stand above the headings, ``notes`` among the lines; ``kinds`` are titles that hold nothing themselves.
    """

    lines: list[IndentedLine]
    shape: str
    columns: Columns
    above: tuple[int, ...] = ()
    notes: tuple[int, ...] = ()
    kinds: tuple[int, ...] = ()

    @property
    def has_headings(self) -> bool:
        """Whether the list has headings."""
        return self.columns.headings >= 0


def read_indented(taken: TakenApart, shape: str = "") -> IndentedList:
    """Read the rows of an indented list; without ``shape`` it is found out."""
    rows = taken.rows
    columns = find_columns(rows)
    first = 1 if columns.headings >= 0 else 2
    numbered = [(number, row) for number, row in enumerate(rows, start=first) if filled_cells(row)]
    body = [(number, row) for number, row in numbered if number - first >= columns.start]
    if columns.headings >= 0:
        body = [(number, row) for number, row in body if not repeats_headings(row, rows[columns.headings])]
    shape = shape or _find_shape(columns, [row for _, row in body])
    if shape == TITLES:
        body[:0] = [(place + first, rows[place]) for place in _titles_above(rows, columns)]
    columns = columns if columns.places else _places_of(shape, [row for _, row in body], columns)
    notes = {number for number, row in body if _is_note(row, columns, shape)}
    start = body[0][0] if body else 0
    above = tuple(number for number, _ in numbered if number < start and number - first != columns.headings)
    lines = _READERS[shape]([(number, row) for number, row in body if number not in notes], columns)
    if taken.may_be_torn and columns.headings >= 0:
        torn = {number for number, row in body if any(filled_cells(row[len(rows[columns.headings]) :]))}
        for line in lines:
            line.is_torn = line.row in torn
    holding = _without_empty_titles(lines)
    kinds = _kinds_among(holding)
    notes |= {place + first for place in taken.prose} | {line.row for line in lines} - {line.row for line in holding}
    lines = [line for line in holding if line.row not in kinds]
    return IndentedList(_with_counts(lines), shape, columns, above, tuple(sorted(notes)), tuple(sorted(kinds)))


def _titles_above(rows: Sequence[Row], columns: Columns) -> list[int]:
    """The title right above the headings, and those of higher rank above it."""
    found: list[int] = []
    for place in range(columns.title, -1, -1):
        if len(filled_cells(rows[place])) == 1 and (not found or _rank(rows[place]) < _rank(rows[found[0]])):
            found.insert(0, place)
    return found


def _rank(title: Row) -> int:
    return rank_of(filled_cells(title)[0])[0]


def looks_indented(rows: Sequence[Row]) -> bool:
    """Whether rows may be a list of what holds what: a level, an outline, names of holders, or part and quantity."""
    columns = find_columns(rows)
    if columns.headings < 0:
        firsts = [row[0].strip() for row in rows if filled_cells(row)]
        return len(firsts) > 2 and any("." in first.strip(".") for first in firsts) and looks_numbered(firsts)
    body = [row for row in rows[columns.start :] if filled_cells(row)]
    named = NUMBER in columns.places or NAME in columns.places
    return bool(body) and named and (QUANTITY in columns.places or LEVEL_COLUMN in columns.places)


def _find_shape(columns: Columns, rows: Sequence[Row]) -> str:
    if columns.headings < 0:
        return _find_shape_without_headings(rows)
    places = columns.places
    if LEVEL_COLUMN in places:
        return OUTLINE if any("." in cell.strip(". ") for cell in texts_at(rows, places[LEVEL_COLUMN])) else LEVEL
    if OUTLINE_COLUMN in places and any(
        "." in cell.strip().rstrip(".") for cell in texts_at(rows, places[OUTLINE_COLUMN])
    ):
        return OUTLINE
    if columns.spread:
        return COLUMNS
    place = places.get(NUMBER, places.get(NAME, 0))
    if any(is_blank(cell_at(row, place)) and not is_blank(cell_at(row, place + 1)) for row in rows) and _is_spread(
        columns, rows, place
    ):
        return COLUMNS
    if any(len({_indent_of(cell) for cell in texts_at(rows, at_)}) > 1 for at_ in _named_places(columns)):
        return SIGNS
    if columns.groups:
        return GROUPS
    titled = any(_is_title(row, columns) and not _is_title(after, columns) for row, after in itertools.pairwise(rows))
    return TITLES if titled else SIGNS


def _named_places(columns: Columns) -> list[int]:
    return [columns.places[role] for role in (NUMBER, NAME) if role in columns.places]


def _is_spread(columns: Columns, rows: Sequence[Row], start: int) -> bool:
    """Whether the columns from one on, up to the next that has a heading, hold one filled cell a row between them."""
    taken = sorted(place for place in columns.places.values() if place > start)
    end = taken[0] if taken else max(map(len, rows))
    return end - start > 1 and all(
        sum(not is_blank(cell_at(row, place)) for place in range(start, end)) <= 1 for row in rows
    )


def _find_shape_without_headings(rows: Sequence[Row]) -> str:
    firsts = [cell_at(row, 0).strip() for row in rows]
    follows = all(not is_blank(cell_at(row, 1)) for row in rows)
    if follows and any("." in first.rstrip(".") for first in firsts) and all(map(_NUMBERED.fullmatch, firsts)):
        return OUTLINE
    depths = [int(found[1]) for first in firsts if (found := _DEPTH.fullmatch(first))]
    steps = all(after - before <= 1 for before, after in itertools.pairwise(depths))
    three = any(not is_blank(cell_at(row, 2)) for row in rows)
    if follows and three and len(depths) == len(firsts) and depths[0] <= 1 and steps and max(depths) <= _DEEPEST:
        return LEVEL
    return COLUMNS if any(not first for first in firsts) else SIGNS


def _places_of(shape: str, rows: Sequence[Row], columns: Columns) -> Columns:
    """Where what stands in a list without headings."""
    if shape in (LEVEL, OUTLINE):
        return replace(columns, places={shape: 0, **columns_without_headings(rows, 1)})
    return replace(columns, places={} if shape == COLUMNS else columns_without_headings(rows, 0))


def _is_title(row: Row, columns: Columns) -> bool:
    cells = filled_cells(row)
    return len(cells) == 1 and not columns.text(row, QUANTITY) and not looks_counted(cells)


def _is_note(row: Row, columns: Columns, shape: str) -> bool:
    """Totals, remarks and rows without a part: no lines of the list."""
    cells = filled_cells(row)
    first = fold(cells[0])
    if any(first == word or first.startswith((f"{word} ", f"{word}:")) for word in _TOTALS):
        return True
    if len(cells) == 1 and len(_called(cells[0])) > _LONGEST_TITLE and not _LED_BY_COUNT.match(cells[0]):
        return True
    if (
        shape == COLUMNS
        or columns.headings < 0
        or (shape == GROUPS and any(filled_cells([cell_at(row, place) for place in columns.groups])))
    ):
        return False
    named = columns.text(row, NUMBER) or columns.text(row, NAME)
    said = (
        looks_counted(filled_cells([columns.text(row, QUANTITY)]))
        or columns.text(row, LEVEL_COLUMN)
        or columns.text(row, OUTLINE_COLUMN)
    )
    return not named and not said and not (shape == TITLES and len(cells) == 1)


def _cells(row: Row, columns: Columns) -> dict[str, str]:
    roles = (LEVEL_COLUMN, OUTLINE_COLUMN, NUMBER, NAME, GROUP)
    return {name: cell_at(row, place).strip() for name, place in columns.places.items() if name not in roles}


Numbered = Sequence[tuple[int, Row]]


def _indent_of(text: str) -> int:
    """How far a text is indented: its signs, or the width of its spaces where it has none."""
    return _split(text)[0]


def _split(text: str) -> tuple[int, int, str]:
    """Signs, width and the rest of an indented text."""
    plain = text.replace("\u00a0", " ").expandtabs(4)
    prefix = _PREFIX.match(plain)
    before = prefix[0] if prefix else ""
    signs = len(re.sub(r"\s", "", before))
    return signs or len(before), len(before), plain[len(before) :].strip()


def _by_signs(rows: Numbered, columns: Columns) -> list[IndentedLine]:
    places = _named_places(columns) or [0]
    indented = next(
        (place for place in places if len({_indent_of(cell_at(row, place)) for _, row in rows}) > 1), places[0]
    )
    split = {number: _split(cell_at(row, indented)) for number, row in rows}
    # One bullet before every line says nothing of its depth: then the spaces before the bullet do.
    bulleted = _only_bullets([(signs, width) for signs, width, _ in split.values()])
    lines = []
    for number, row in rows:
        signs, width, text = split[number]
        line = _line(number, row, columns, width if bulleted else signs)
        line.is_title = text.endswith(":") and len(filled_cells(row)) == 1 and not _COUNTED.fullmatch(text)
        text = (_called(text) if line.is_title else text).rstrip(": ")
        if indented == columns.places.get(NUMBER, -1):
            line.part_number = text
        else:
            line.name = text
        lines.append(line)
    return lines


def _called(text: str) -> str:
    """What a long text names; where a colon stands early in it, what follows only describes that."""
    before, colon, _ = text.partition(": ")
    return before if colon and len(text) > _LONGEST_TITLE else text


def _only_bullets(before: Sequence[tuple[int, int]]) -> bool:
    behind = [(signs, width) for signs, width in before if width]
    return bool(behind) and all(signs == 1 for signs, _ in behind) and len({width for _, width in behind}) > 1


def _by_level(rows: Numbered, columns: Columns) -> list[IndentedLine]:
    lines = []
    for number, row in rows:
        found = _DEPTH.fullmatch(columns.text(row, LEVEL_COLUMN))
        line = _line(number, row, columns, int(found[1]) if found else -1)
        line.part_number = line.part_number.strip(" .\u00a0")
        lines.append(line)
    return lines


def _by_outline(rows: Numbered, columns: Columns) -> list[IndentedLine]:
    role = LEVEL_COLUMN if LEVEL_COLUMN in columns.places else OUTLINE_COLUMN
    lines = []
    for number, row in rows:
        outline = columns.text(row, role).rstrip(".")
        outline = outline.removesuffix(".0")  # 1.0 holds 1.1 in many lists
        line = _line(number, row, columns, outline.count(".") + 1 if _NUMBERED.fullmatch(outline) else -1)
        line.outline = outline
        lines.append(line)
    return lines


def _by_columns(rows: Numbered, columns: Columns) -> list[IndentedLine]:
    start = columns.spread[0] if columns.spread else columns.places.get(NUMBER, columns.places.get(NAME, 0))
    lines = []
    for number, row in rows:
        place = next((at_ for at_ in range(start, len(row)) if not is_blank(row[at_])), start)
        line = _line(number, row, columns, place - start)
        line.part_number = cell_at(row, place).strip()
        if columns.headings < 0:
            last = max((at_ for at_ in range(len(row)) if not is_blank(row[at_])), default=place)
            line.cells[QUANTITY] = cell_at(row, last).strip() if last > place else ""
        elif columns.places.get(NAME, -1) <= place:
            line.name = ""
        lines.append(line)
    return lines


def _by_groups(rows: Numbered, columns: Columns) -> list[IndentedLine]:
    chain = [""] * len(columns.groups)
    parts = [row for _, row in rows if columns.text(row, NUMBER) or columns.text(row, NAME)]
    written_out = {place for place in columns.groups if _is_written_out([cell_at(row, place).strip() for row in parts])}
    lines = []
    for number, row in rows:
        for depth, place in enumerate(columns.groups):
            said = cell_at(row, place).strip()
            if (said or place in written_out) and said != chain[depth]:
                chain[depth:] = [said, *[""] * (len(chain) - depth - 1)]
        line = _line(number, row, columns, 1)
        line.under = next((group for group in reversed(chain) if group), "")
        if line.called or line.cells.get(QUANTITY):
            lines.append(line)
    return lines


def _is_written_out(cells: Sequence[str]) -> bool:
    """Whether a column says the same again row by row: then a blank cell does not mean the same as above."""
    repeats = any(cell and cell == after for cell, after in itertools.pairwise(cells))
    return repeats and 10 * cells.count("") <= len(cells)


def _by_titles(rows: Numbered, columns: Columns) -> list[IndentedLine]:
    lines: list[IndentedLine] = []
    rank = 0
    for number, row in rows:
        if _is_title(row, columns):
            rank, text = rank_of(filled_cells(row)[0])
            lines.append(IndentedLine(number, rank, text, is_title=True))
        else:
            lines.append(_line(number, row, columns, rank + 1))
    return lines


def _line(number: int, row: Row, columns: Columns, indent: int) -> IndentedLine:
    called = columns.text(row, NUMBER) if columns.places else ""
    return IndentedLine(number, indent, called, _cells(row, columns), name=columns.text(row, NAME))


def _without_empty_titles(lines: Sequence[IndentedLine]) -> list[IndentedLine]:
    """The lines without titles below which nothing stands."""
    kept: list[IndentedLine] = []
    for line in reversed(lines):
        if not line.is_title or (kept and kept[-1].indent > line.indent):
            kept.append(line)
    return kept[::-1]


def _kinds_among(lines: Sequence[IndentedLine]) -> set[int]:
    """The rows of titles that stand below several others, such as “screws”: they name a kind of part, and hold none."""
    holders: dict[str, set[str]] = defaultdict(set)
    above: list[IndentedLine] = []
    titles = [line for line in lines if line.is_title]
    for title in titles:
        while above and above[-1].indent >= title.indent:
            above.pop()
        if above:
            holders[fold(title.part_number)].add(fold(above[-1].part_number))
        above.append(title)
    return {title.row for title in titles if len(holders[fold(title.part_number)]) > 1}


def _with_counts(lines: list[IndentedLine]) -> list[IndentedLine]:
    """Counts that stand with the part itself, such as ``4 x screw``, where no column has any."""
    if any(line.cells.get(QUANTITY) for line in lines):
        return lines
    for line in lines:
        found = _COUNTED.fullmatch(line.called)
        if found and not line.is_title:
            line.cells[QUANTITY] = found["before"] or found["after"] or found["in"]
            text = found["what"] or found["other"]
            named, described = _called(text), line.name if _called(text) == text else text
            line.part_number, line.name = (named, described) if line.part_number else ("", named)
    return lines


_READERS: dict[str, Callable[[Numbered, Columns], list[IndentedLine]]] = {
    SIGNS: _by_signs,
    LEVEL: _by_level,
    OUTLINE: _by_outline,
    COLUMNS: _by_columns,
    GROUPS: _by_groups,
    TITLES: _by_titles,
}


def each_outline(lines: Sequence[IndentedLine]) -> Iterator[tuple[IndentedLine, IndentedLine | None]]:
    """Every line with the one that bears the next shorter outline number, wherever above it that stands."""
    known: dict[str, IndentedLine] = {}
    for line in lines:
        yield line, known.get(line.outline.rpartition(".")[0])
        known.setdefault(line.outline, line)

"""A pasted list taken apart into cells, whatever parts them: tabs, commas, pipes, or nothing but spaces."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from typing import NamedTuple

from kits.catalog.errors import Refusal
from kits.exchange.files.pasted_text import as_lines
from kits.exchange.reading.indented.marked_text import (
    has_headings,
    heading,
    indent_heading,
    is_marked,
    strip_marks,
)

_MARKS = (";", ",", "|")
_RULE = re.compile(r"[\s|:+=-]*(?:-{2,}|={2,})[\s|:+=-]*")
_TREE = re.compile(r"^[\s│|]*[├└|+`\\][─–-]{1,3}\s*")
_SPACED = re.compile(r"(?<=\S) {2,}(?=\S)")
_ENDS_IN_NUMBER = re.compile(r"(\s*(?:[.·>*-]\s*)*\S+)\s+(?:(\S.*?)\s+)?(\d+(?:[.,]\d+)?)\s*")


class TakenApart(NamedTuple):
    """Rows of cells; whether what parts them may stand in a text as well; at which places prose stood.

    A blank line and a line of prose are empty rows, so that rows keep their numbers.
    """

    rows: list[list[str]]
    may_be_torn: bool = False
    prose: frozenset[int] = frozenset()


def rows_of_text(text: str) -> TakenApart:
    """The lines of a text as rows of cells."""
    lines = as_lines(text)
    broken = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = [""] * (len(broken) - len(broken.lstrip("\n"))) + lines
    if sum(bool(_TREE.match(line)) and not _RULE.fullmatch(line) for line in lines) > 1:
        lines = [_TREE.sub(lambda found: " " * len(found[0]), line) for line in lines]
    elif any(line.lstrip().startswith("|") for line in lines) or _has_rule(lines):
        return _of_table(lines)
    elif is_marked(lines):
        return _of_marked_text(lines)
    mark = _mark_of([line for line in lines if line.strip()])
    try:
        rows = _parted(lines, mark) if mark else [_of_spaces(line.expandtabs(4)) for line in lines]
        return TakenApart(rows, mark in _MARKS)
    except csv.Error as error:
        raise Refusal(f"The pasted text cannot be taken apart into cells ({error}): save it as a file.") from error


def _of_marked_text(lines: list[str]) -> TakenApart:
    rows = [[text] if (text := indent_heading(line)) else [] for line in lines]
    prose = (place for place, line in enumerate(lines) if line.strip() and not rows[place])
    return TakenApart(rows, prose=frozenset(prose))


def _parted(lines: list[str], mark: str) -> list[list[str]]:
    rows = csv.reader(io.StringIO("\n".join(lines), newline=""), delimiter=mark)
    return [row if any(row) else [] for row in rows]


def _has_rule(lines: list[str]) -> bool:
    return any("|" in line and _RULE.fullmatch(line) for line in lines)


def _of_table(lines: list[str]) -> TakenApart:
    """A table drawn with pipes: the rule below its headings is no row, and a title above it is one cell."""
    marked = has_headings(lines)
    rows: list[list[str]] = []
    prose = set()
    for place, line in enumerate(lines):
        text = heading(line) or strip_marks(line)
        if "|" in text:
            is_rule = "-" in line and _RULE.fullmatch(line)
            cells = text.strip().removeprefix("|").removesuffix("|").split("|")
            rows.append([] if is_rule else [cell.removeprefix(" ").rstrip() for cell in cells])
        elif not text.strip() or (marked and not heading(line)):
            rows.append([])
            prose.update([place] if text.strip() else [])
        else:
            rows.append([text])
    return TakenApart(rows, may_be_torn=True, prose=frozenset(prose))


def _mark_of(lines: list[str]) -> str:
    """The mark that parts most lines into as many cells; tabs that only indent part nothing."""
    if not lines or any("\t" in line.strip() for line in lines):
        return "\t" if lines else ""
    widths = {mark: Counter(map(len, _parted(lines, mark))).most_common(1)[0] for mark in _MARKS}
    fitting = [mark for mark, (width, often) in widths.items() if width > 1 and 2 * often >= len(lines)]
    return max(fitting, key=lambda mark: widths[mark][0], default="")


def _of_spaces(line: str) -> list[str]:
    """Cells with two or more spaces between, else a part, what it is, and a number at the end."""
    if not line.strip():
        return []
    indent = line[: len(line) - len(line.lstrip())]
    cells = _SPACED.split(line.strip())
    if len(cells) > 1:
        return [indent + cells[0], *cells[1:]]
    found = _ENDS_IN_NUMBER.fullmatch(line)
    return [found[1], found[3], *([found[2]] if found[2] else [])] if found else [line]

"""A pasted list taken apart into cells, whatever parts them: tabs, commas, pipes, or nothing but spaces."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter

from kits.catalog.errors import Refusal
from kits.exchange.reading.pasted_text import as_lines

_MARKS = (";", ",", "|")
_RULE = re.compile(r"[\s|:+=-]*(?:-{2,}|={2,})[\s|:+=-]*")
_LINK = re.compile(r"!?\[([^\]]*)\]\([^)]*\)")
_TREE = re.compile(r"^[\s│|]*[├└|+`\\][─–-]{1,3}\s*")
_SPACED = re.compile(r"(?<=\S) {2,}(?=\S)")
_ENDS_IN_NUMBER = re.compile(r"(\s*(?:[.·>*-]\s*)*\S+)\s+(?:(\S.*?)\s+)?(\d+(?:[.,]\d+)?)\s*")


def rows_of_text(text: str) -> tuple[list[list[str]], bool]:
    """The lines of a text as rows of cells, and whether a mark that texts hold too parts them.

    A blank line is an empty row, so that rows keep their numbers.
    """
    lines = as_lines(text)
    if sum(bool(_TREE.match(line)) and not _RULE.fullmatch(line) for line in lines) > 1:
        lines = [_TREE.sub(lambda found: " " * len(found[0]), line) for line in lines]
    elif any(line.lstrip().startswith("|") for line in lines) or _has_rule(lines):
        return [_of_table(line) for line in lines], False
    mark = _mark_of([line for line in lines if line.strip()])
    try:
        rows = _parted(lines, mark) if mark else [_of_spaces(line.expandtabs(4)) for line in lines]
        return rows, mark in _MARKS
    except csv.Error as error:
        raise Refusal(f"The pasted text cannot be taken apart into cells ({error}): save it as a file.") from error


def _parted(lines: list[str], mark: str) -> list[list[str]]:
    rows = csv.reader(io.StringIO("\n".join(lines), newline=""), delimiter=mark)
    return [row if any(row) else [] for row in rows]


def _has_rule(lines: list[str]) -> bool:
    return any("|" in line and _RULE.fullmatch(line) for line in lines)


def _of_table(line: str) -> list[str]:
    """A line of a table drawn with pipes; the rule below its headings is no row, and a title above it is one cell."""
    if not line.strip() or ("-" in line and _RULE.fullmatch(line)):
        return []
    plain = _LINK.sub(r"\1", line).replace("**", "").replace("<br/>", " ").replace("<br>", " ")
    if "|" not in plain:
        return [plain.strip().lstrip("#").strip()]
    return [cell.removeprefix(" ").rstrip() for cell in plain.strip().removeprefix("|").removesuffix("|").split("|")]


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

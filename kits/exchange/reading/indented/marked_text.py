"""Lists in marked text: headings and words in bold as titles, bullets as lines, and the prose around them."""

from __future__ import annotations

import re
from collections.abc import Sequence

_HEADING = re.compile(r"(#{1,6})\s+(\S.*?)[\s#:]*")
_BULLET = re.compile(r"(\s*)[-*+]\s+(\S.*)")
_BOLD = re.compile(r"(\*\*|__)(?!\s)((?:(?!\1).)+)\1:?\s*")
_LINK = re.compile(r"!?\[([^\]]*)\]\([^)]*\)")
_STRESSED = re.compile(r"(?<!\w)(\*{1,3}|__|`+)(?=\S)(.+?)(?<=\S)\1")
_BREAK = re.compile(r"<br\s*/?>", re.IGNORECASE)
_OUTLINED = re.compile(r"\d{1,3}(?:\.\d{1,3})*[.)]\s+")
_BELOW_HEADINGS = 6


def is_marked(lines: Sequence[str]) -> bool:
    """Whether a text has bullets below headings or words in bold."""
    bullets = sum(bool(_BULLET.fullmatch(line)) for line in lines)
    return bullets > 1 and any(_HEADING.fullmatch(line) or _BOLD.fullmatch(line) for line in lines)


def has_headings(lines: Sequence[str]) -> bool:
    """Whether a text has headings marked as such."""
    return any(_HEADING.fullmatch(line) for line in lines)


def strip_marks(text: str) -> str:
    """A text without its marks: of a link or a picture its words stay."""
    return _STRESSED.sub(r"\2", _LINK.sub(r"\1", _BREAK.sub(" ", text)))


def heading(line: str) -> str:
    """A heading with its marks, without the number it may bear; blank if the line is none."""
    found = _HEADING.fullmatch(line)
    return f"{found[1]} {_OUTLINED.sub('', strip_marks(found[2]))}" if found else ""


def rank_of(title: str) -> tuple[int, str]:
    """How deep a title stands among headings by its marks, and the title without them."""
    text = title.lstrip("#")
    return max(len(title) - len(text) - 1, 0), text.strip(": ")


def indent_heading(line: str) -> str:
    """A heading, words in bold or a bullet as an indented line, titles with a colon behind; blank if it is neither."""
    if title := heading(line):
        rank, text = rank_of(title)
        return f"{' ' * rank}{text}:"
    if found := _BOLD.fullmatch(line):
        return " " * _BELOW_HEADINGS + strip_marks(found[2]).rstrip(": ") + ":"
    found = _BULLET.fullmatch(line.expandtabs(4))
    text = strip_marks(found[2]).strip() if found else ""
    return " " * (_BELOW_HEADINGS + 1 + len(found[1])) + text if found and text else ""

"""Comma-separated text in: its character set and its delimiter are found out."""

from __future__ import annotations

import codecs
import csv
import io
import re
from pathlib import Path

from kits.exchange.columns.layout import fold_heading, headings_of
from kits.exchange.columns.layouts import find_layout
from kits.exchange.columns.sheet_text import unquote_formula
from kits.exchange.files.codepages import TextReading, read_bytes
from kits.exchange.files.raw_sheets import FileRefused, RawRow, RawSheet, is_blank

DELIMITERS = ",;\t|"
_NAMES_DELIMITER = re.compile(r'"?sep=(?P<mark>[,;\t|])"?\r?\n', re.IGNORECASE)
_LONGEST_CELL = 100_000
_OPENING = 20_000
"""As much of a text is kept to see by what it begins whether it is an indented list."""


def read_text_file(content: bytes, file: str, charset: str = "") -> list[RawSheet]:
    """Read a text file as one sheet; ``charset`` is what somebody chose where its bytes leave that open."""
    text, remarks, reading = text_of(content, file, charset)
    name = Path(file).stem
    named = find_layout(name)
    delimiter = _named_delimiter(text) or find_delimiter(text, name)
    text = _NAMES_DELIMITER.sub("", text, count=1) if _named_delimiter(text) else text
    csv.field_size_limit(_LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[RawRow] = []
    number = 1
    try:
        for values in reader:
            if any(not is_blank(value) for value in values):
                rows.append(RawRow(number, [unquote_formula(value) for value in values]))
            number = reader.line_num + 1
    except csv.Error as error:
        if named is not None:
            raise FileRefused(
                f"the text cannot be taken apart into cells after line {number - 1} ({error})",
                "look there for a quotation mark without its partner",
            ) from error
        # What is no list of ours by its name may be one that is read otherwise: then its lines are shown.
        rows = [RawRow(place, [line]) for place, line in enumerate(text.split("\n"), start=1) if line.strip()]
    opening = text[:_OPENING]
    return [RawSheet(file, name, rows, remarks=tuple(remarks), from_text=True, text=reading, opening=opening)]


def text_of(content: bytes, file: str, charset: str = "") -> tuple[str, list[str], TextReading | None]:
    """The text of a file, what has to be said of its character set, and how that was found out if it is not Unicode."""
    if (decoded := _decode(content)) is not None:
        return *decoded, None
    text, reading = read_bytes(content, file, charset)
    alike = f"; {' and '.join(reading.alike)} would give other letters that are as likely" if reading.alike else ""
    return text, [f"read as {reading.says}, for it is not UTF-8{alike}"], reading


def _decode(content: bytes) -> tuple[str, list[str]] | None:
    """Unicode text, with what has to be said about it; None for bytes of an older character set."""
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return content.decode("utf-16"), ["read as UTF-16 text"]
        except UnicodeDecodeError as error:
            raise FileRefused("the UTF-16 text is cut off", "export it again") from error
    if guess := _without_mark(content):
        return guess, ["read as UTF-16 text, though the mark at its start is missing"]
    if b"\x00" in content:
        raise FileRefused("this is not a text file, whatever its name says", "export the sheet as .csv or .xlsx")
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    return None


def _without_mark(content: bytes) -> str:
    """UTF-16 whose mark at the start was lost: every other byte of its first signs is zero."""
    start = content[:200]
    for name, zeros, signs in (("utf-16-le", start[1::2], start[::2]), ("utf-16-be", start[::2], start[1::2])):
        if len(start) > 3 and zeros.count(0) > len(zeros) * 0.8 and 0 not in signs:
            try:
                return content.decode(name)
            except UnicodeDecodeError:
                return ""
    return ""


def _named_delimiter(text: str) -> str:
    """The delimiter that a first line such as ``sep=;`` names, as some spreadsheet programs write it."""
    found = _NAMES_DELIMITER.match(text)
    return found["mark"] if found else ""


def find_delimiter(text: str, name: str) -> str:
    """The mark that takes the first filled line apart into the most headings known for the sheet."""
    line = next((line for line in text.splitlines() if line.strip()), "")
    sheet = find_layout(name)
    known = headings_of(sheet) if sheet else {}

    def score(delimiter: str) -> tuple[int, int]:
        cells = next(csv.reader([line], delimiter=delimiter), [])
        return sum(fold_heading(cell) in known for cell in cells), line.count(delimiter)

    return max(DELIMITERS, key=score)

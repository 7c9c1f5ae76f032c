"""Comma-separated text in: its character set and its delimiter are found out."""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import Path

from kits.exchange.layouts import find_sheet, fold_heading, headings_of
from kits.exchange.raw_sheets import FileRefused, RawRow, RawSheet, is_blank

_DELIMITERS = ",;\t|"
_LONGEST_CELL = 100_000


def read_text_file(content: bytes, file: str) -> list[RawSheet]:
    """Read a text file as the one sheet that it is named after (``items.csv``)."""
    text, remarks = _decode(content)
    name = Path(file).stem
    delimiter = _find_delimiter(text, name)
    csv.field_size_limit(_LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[RawRow] = []
    number = 1
    try:
        for values in reader:
            if any(not is_blank(value) for value in values):
                rows.append(RawRow(number, [_unquoted(value) for value in values]))
            number = reader.line_num + 1
    except csv.Error as error:
        raise FileRefused(
            f"the text cannot be taken apart into cells after line {number - 1} ({error})",
            "look there for a quotation mark without its partner",
        ) from error
    return [RawSheet(file=file, name=name, rows=rows, remarks=tuple(remarks), from_text=True)]


def _unquoted(value: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet program from running a text."""
    return value[1:] if value[:1] == "'" and value[1:2] in {"=", "+", "-", "@", "\t", "\r"} else value


def _decode(content: bytes) -> tuple[str, list[str]]:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return content.decode("utf-16"), ["read as UTF-16 text"]
        except UnicodeDecodeError as error:
            raise FileRefused("the UTF-16 text is cut off", "export it again") from error
    if b"\x00" in content:
        raise FileRefused("this is not a text file, whatever its name says", "export the sheet as .csv or .xlsx")
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    try:
        return content.decode("cp1252"), ["read as Windows western text (cp1252), for it is not UTF-8"]
    except UnicodeDecodeError as error:
        raise FileRefused(
            f"the text is neither UTF-8 nor Windows western (byte {content[error.start]:#04x} at {error.start})",
            "export it as UTF-8",
        ) from error


def _find_delimiter(text: str, name: str) -> str:
    """The mark that takes the first filled line apart into the most headings known for the sheet."""
    line = next((line for line in text.splitlines() if line.strip()), "")
    sheet = find_sheet(name)
    known = headings_of(sheet) if sheet else {}

    def score(delimiter: str) -> tuple[int, int]:
        cells = next(csv.reader([line], delimiter=delimiter), [])
        return sum(fold_heading(cell) in known for cell in cells), line.count(delimiter)

    return max(_DELIMITERS, key=score)

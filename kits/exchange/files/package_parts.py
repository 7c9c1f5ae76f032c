"""The parts of a workbook's package: which sheets there are and where, the shared texts, the formats of cells."""

from __future__ import annotations

import posixpath
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import IO
from xml.parsers import expat

from openpyxl.styles import is_date_format
from openpyxl.styles.numbers import BUILTIN_FORMATS, is_timedelta_format

from kits.exchange.files.raw_sheets import FileRefused

MOST_SHEETS = 500
MOST_FORMATS = 100_000
"""Spreadsheet programs keep at most some 65 000 formats of cells (65 490, from memory)."""

_CHUNK = 1 << 16
_BOOK = "xl/workbook.xml"
_SAVE_ANEW = "open it in a spreadsheet program and save it anew"


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One sheet: its title, the part that holds it, and whether it is hidden."""

    title: str
    path: str
    hidden: bool


@dataclass(frozen=True, slots=True)
class CellFormat:
    """How a number is shown, and whether it is a day, or a length of time."""

    code: str
    is_day: bool = False
    is_span: bool = False


@dataclass(frozen=True, slots=True)
class BookParts:
    """What must be known of a workbook before its sheets can be read."""

    sheets: tuple[SheetPart, ...]
    texts: list[str]
    formats: list[CellFormat]
    from_1904: bool
    known: dict[str, str] = field(default_factory=dict)
    """Short texts that stand in the cells themselves, each once."""


def parse_part(
    part: IO[bytes], start: Callable[..., None], end: Callable[..., None], parser: expat.XMLParserType
) -> None:
    """Walk through one part with these two handlers; a document type is refused wherever it stands."""
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.StartDoctypeDeclHandler = refuse_entities
    try:
        while chunk := part.read(_CHUNK):
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise FileRefused("a part of the workbook is damaged", _SAVE_ANEW) from error


def refuse_entities(*_: object) -> None:
    """Refuse a document type: workbooks never declare one, and entities can be made to fill the memory."""
    raise FileRefused(
        "the workbook declares entities, which no spreadsheet program writes",
        "open it in a spreadsheet program and save it as an .xlsx workbook",
    )


def read_book_parts(package: zipfile.ZipFile) -> BookParts:
    """Read everything but the sheets."""
    targets = _relationships(package)
    book = _Book()
    _walk(package, _BOOK, book.start)
    names = set(package.namelist())
    sheets = tuple(
        SheetPart(title, targets[key][1], state not in {"", "visible"})
        for title, key, state in book.sheets
        if key in targets and targets[key][0] == "worksheet" and targets[key][1] in names
    )
    by_kind = {kind: path for kind, path in targets.values() if path in names}
    texts = _read_texts(package, by_kind["sharedStrings"]) if "sharedStrings" in by_kind else []
    styles = _Styles()
    if "styles" in by_kind:
        _walk(package, by_kind["styles"], styles.start)
    return BookParts(sheets, texts, styles.formats(), book.from_1904)


def local_name(tag: str) -> str:
    """The name of an element without its prefix."""
    return tag.rpartition(":")[2]


def _walk(package: zipfile.ZipFile, path: str, start: Callable[[str, dict[str, str]], None]) -> None:
    def begin(tag: str, attributes: dict[str, str]) -> None:
        start(local_name(tag), attributes)

    with package.open(path) as part:
        parse_part(part, begin, _nothing, expat.ParserCreate())


def _nothing(*_: object) -> None:
    """Nothing is done where an element ends."""


def _relationships(package: zipfile.ZipFile) -> dict[str, tuple[str, str]]:
    """Kind and path of each part that the workbook names, by the key it names it with."""
    found: dict[str, tuple[str, str]] = {}

    def start(name: str, attributes: dict[str, str]) -> None:
        if name == "Relationship" and len(found) < MOST_FORMATS:
            kind = attributes.get("Type", "").rpartition("/")[2]
            target = attributes.get("Target", "")
            path = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}")
            found[attributes.get("Id", "")] = (kind, path)

    path = "xl/_rels/workbook.xml.rels"
    if path not in package.namelist():
        raise FileRefused("the workbook does not say where its sheets are", _SAVE_ANEW)
    _walk(package, path, start)
    return found


class _Book:
    """Sheets by title, key and state, in their order, and which year its day numbers count from."""

    def __init__(self) -> None:
        self.sheets: list[tuple[str, str, str]] = []
        self.from_1904 = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "sheet":
            if len(self.sheets) == MOST_SHEETS:
                raise FileRefused(f"the workbook has more than {MOST_SHEETS} sheets", "split it into several files")
            key = next((value for word, value in attributes.items() if local_name(word) == "id"), "")
            self.sheets.append((attributes.get("name", ""), key, attributes.get("state", "")))
        elif name == "workbookPr":
            self.from_1904 = attributes.get("date1904") in {"1", "true"}


class _Styles:
    """The format of numbers for each style of a cell."""

    def __init__(self) -> None:
        self.codes: dict[int, str] = {}
        self.of_style: list[int] = []
        self.section = ""

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name in {"numFmts", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs"}:
            self.section = name
        elif name == "numFmt" and self.section == "numFmts":
            self.codes[int(attributes["numFmtId"])] = attributes.get("formatCode", "")
        elif name == "xf" and self.section == "cellXfs":
            self.of_style.append(int(attributes.get("numFmtId", "0")))
        if len(self.of_style) > MOST_FORMATS or len(self.codes) > MOST_FORMATS:
            raise FileRefused("the workbook has more formats of cells than any program writes", _SAVE_ANEW)

    def formats(self) -> list[CellFormat]:
        made = {number: self._format(number) for number in set(self.of_style)}
        return [made[number] for number in self.of_style]

    def _format(self, number: int) -> CellFormat:
        code = self.codes.get(number) or BUILTIN_FORMATS.get(number, "General")
        if not is_date_format(code):
            return CellFormat("" if code == "General" else code)
        return CellFormat(code, is_day=True, is_span=bool(is_timedelta_format(code)))


def _read_texts(package: zipfile.ZipFile, path: str) -> list[str]:
    """The texts that cells share, without the readings that stand above Japanese ones."""
    texts: list[str] = []
    pieces: list[str] = []
    parser = expat.ParserCreate()
    parser.buffer_text = True
    aside = False

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal aside
        name = local_name(tag)
        if name == "t" and not aside:
            parser.CharacterDataHandler = pieces.append
        elif name == "rPh":
            aside = True

    def end(tag: str) -> None:
        nonlocal aside
        name = local_name(tag)
        if name == "t":
            parser.CharacterDataHandler = None
        elif name == "rPh":
            aside = False
        elif name == "si":
            texts.append(plain_text(pieces))
            pieces.clear()

    with package.open(path) as part:
        parse_part(part, start, end, parser)
    return texts


def plain_text(pieces: list[str]) -> str:
    """The pieces of a text as one; an underscore that was written as its number is an underscore again."""
    text = pieces[0] if len(pieces) == 1 else "".join(pieces)
    return text.replace("x005F_", "") if "x005F_" in text else text

"""What kind of file is this, and is it safe to open: decided from its bytes before anything is unpacked."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from pathlib import Path
from typing import IO
from xml.parsers import expat

from kits.exchange.files.raw_sheets import FileRefused

MOST_BYTES = 50 * 2**20
MOST_UNPACKED_BYTES = 300 * 2**20
MOST_ENTRIES = 2000
MOST_SHARED_TEXT_BYTES = 100 * 2**20

BROKEN_PACKAGE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    RuntimeError,
    ValueError,
    OverflowError,
    struct.error,
)
"""What is raised by a package that was put together wrongly, is cut off, or is packed in a way that is not read."""

_ZIP = b"PK\x03\x04"
_COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
TEXT_ENDINGS = frozenset({".csv", ".tsv", ".txt", ".md"})
_SAVE_AS = "open it in a spreadsheet program and save it as an .xlsx workbook"


def is_package(content: bytes) -> bool:
    """Whether the content begins as an archive does, workbooks among them."""
    return content.startswith(_ZIP)


def kind_of_file(content: bytes, name: str) -> str:
    """Return ``workbook`` or ``text`` for a file that may be read; refuse every other with the reason."""
    check_size(len(content))
    head = content[:8]
    if head.startswith(_ZIP):
        return "workbook"
    if head.startswith(_COMPOUND):
        _refuse_compound(content)
    if Path(name).suffix.lower() in TEXT_ENDINGS and not head.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"PK")):
        return "text"
    raise FileRefused("this is not a workbook, whatever its name says", f"{_SAVE_AS}, or as .csv with one sheet")


def check_size(size: int) -> None:
    """Refuse an empty file, and one that is larger than any list."""
    if size == 0:
        raise FileRefused("the file is empty", "save or copy it again, then load it")
    if size > MOST_BYTES:
        raise FileRefused(
            f"the file has {size // 2**20} MB, more than the {MOST_BYTES // 2**20} that are read", "split it by sheet"
        )


def _refuse_compound(content: bytes) -> None:
    if _ENCRYPTED in content:
        raise FileRefused("the workbook is protected by a password", "save it without a password, then load it again")
    raise FileRefused("this is an old .xls workbook or another old office file", _SAVE_AS)


def check_package(content: bytes) -> None:
    """Refuse a workbook that is cut off, not a workbook inside, too large when unpacked, or that defines entities."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            entries = package.infolist()
            _check_sizes(entries)
            _check_contents({entry.filename.lstrip("/") for entry in entries})
            for entry in entries:
                if entry.filename.lower().endswith((".xml", ".rels")):
                    with package.open(entry) as part:
                        _refuse_entities(part)
    except FileRefused:
        raise
    except BROKEN_PACKAGE as error:
        raise FileRefused(
            "the workbook is cut off or damaged", "copy or download it again, or open it and save it anew"
        ) from error


def _check_sizes(entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_ENTRIES:
        raise FileRefused(
            f"the workbook is made of {len(entries)} parts, more than {MOST_ENTRIES}",
            "save it anew without attachments",
        )
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > MOST_UNPACKED_BYTES:
        raise FileRefused(
            f"the workbook would unpack to {unpacked // 2**20} MB, more than {MOST_UNPACKED_BYTES // 2**20}",
            "split it by sheet, and delete pictures and empty formatted rows",
        )
    texts = sum(entry.file_size for entry in entries if entry.filename.lower().endswith("sharedstrings.xml"))
    if texts > MOST_SHARED_TEXT_BYTES:
        raise FileRefused(f"the workbook holds {texts // 2**20} MB of text", "split it by sheet")


def _check_contents(names: set[str]) -> None:
    if "xl/workbook.xml" in names:
        return
    if "xl/workbook.bin" in names:
        raise FileRefused("this is a binary .xlsb workbook", _SAVE_AS)
    if "content.xml" in names:
        raise FileRefused("this is an OpenDocument file", _SAVE_AS)
    raise FileRefused(
        "this is not a workbook, although it is packed like one", f"{_SAVE_AS}, or pack nothing but .csv files"
    )


class _RootReached(Exception):
    """The first element has begun, so no document type can follow."""


def _refuse_entities(part: IO[bytes]) -> None:
    """Refuse a part that declares a document type: workbooks never do, and entities can be made to fill the memory."""

    def refuse(*_: object) -> None:
        raise FileRefused("the workbook declares entities, which no spreadsheet program writes", _SAVE_AS)

    def stop(*_: object) -> None:
        raise _RootReached

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = stop
    try:
        while chunk := part.read(4096):
            parser.Parse(chunk, False)
    except _RootReached:
        return
    except expat.ExpatError as error:
        raise FileRefused("a part of the workbook is damaged", "open it and save it anew") from error

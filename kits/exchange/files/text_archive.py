"""An archive of text files, one for each list, as it is written by a dump: taken apart within the bounds of a file."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from pathlib import PurePosixPath

from kits.exchange.files.file_guard import BROKEN_PACKAGE, MOST_UNPACKED_BYTES, TEXT_ENDINGS, is_package
from kits.exchange.files.raw_sheets import FileRefused

MOST_TEXTS = 200


def texts_inside(content: bytes) -> list[tuple[str, bytes]] | None:
    """Name and content of each text file of an archive; None if it holds anything else, as a workbook does."""
    if not is_package(content):
        return None
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            entries = [entry for entry in archive.infolist() if not _left_by_a_system(entry)]
            if not entries or any(_ending(entry) not in TEXT_ENDINGS for entry in entries):
                return None
            if len(entries) > MOST_TEXTS:
                raise FileRefused(
                    f"the archive holds {len(entries)} text files, more than {MOST_TEXTS}", "pack one for each list"
                )
            return list(_unpack(archive, entries))
    except FileRefused:
        raise
    except BROKEN_PACKAGE:
        return None  # the guard of workbooks says what is wrong with a package that cannot be opened


def _unpack(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo]) -> Iterator[tuple[str, bytes]]:
    room = MOST_UNPACKED_BYTES
    for entry in entries:
        with archive.open(entry) as packed:
            # What an entry says of its size need not be so.
            content = packed.read(room + 1)
        room -= len(content)
        if room < 0:
            raise FileRefused(
                f"the archive would unpack to more than {MOST_UNPACKED_BYTES // 2**20} MB", "load its files one by one"
            )
        name = PurePosixPath(entry.filename).name
        if is_package(content):
            # Each would have the room of a whole file again, and one may even hold itself.
            raise FileRefused(f"{name} inside it is an archive itself", "pack nothing but .csv files")
        yield entry.filename, content


def _left_by_a_system(entry: zipfile.ZipInfo) -> bool:
    """Folders, what bears no name, and what some systems add to every archive unasked."""
    parts = PurePosixPath(entry.filename).parts
    return not parts or entry.is_dir() or "__MACOSX" in parts or parts[-1].startswith(".")


def _ending(entry: zipfile.ZipInfo) -> str:
    return PurePosixPath(entry.filename).suffix.lower()

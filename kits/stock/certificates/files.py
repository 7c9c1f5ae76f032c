"""Files of certificates: which kinds are kept, told by how a file begins, and under what name each goes out again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath

from django.utils.text import get_valid_filename

from kits.stock.errors import StockRefusal

MOST_BYTES = 5 * 2**20


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file: how it begins, for what it is called proves nothing, and the endings that fit it."""

    begins: bytes
    endings: tuple[str, ...]


KINDS = {
    "application/pdf": FileKind(b"%PDF-", (".pdf",)),
    "image/png": FileKind(b"\x89PNG\r\n\x1a\n", (".png",)),
    "image/jpeg": FileKind(b"\xff\xd8\xff", (".jpg", ".jpeg")),
}


@dataclass(frozen=True, slots=True)
class PaperFile:
    """A file as it was sent."""

    name: str
    content: bytes


def refuse_file(file: PaperFile) -> str:
    """Return the kind of a file by how it begins; refuse what is no certificate or too large."""
    if len(file.content) > MOST_BYTES:
        raise StockRefusal(
            f"The file has {len(file.content) / 2**20:.1f} MB, more than the {MOST_BYTES // 2**20} that are kept: "
            "scan it in grey, or only the pages that count."
        )
    for media_type, kind in KINDS.items():
        if file.content.startswith(kind.begins):
            return media_type
    raise StockRefusal(f"“{file.name}” is no PDF, PNG or JPEG: save the certificate as one of these and send it again.")


def name_to_save(file_name: str, media_type: str) -> str:
    """Return the name under which a file goes out: without what no disk takes, its ending that of what it is."""
    endings = KINDS[media_type].endings
    name = PurePosixPath(get_valid_filename(f"certificate-{file_name}").removeprefix("certificate-") or "certificate")
    return str(name) if name.suffix.lower() in endings else f"{name}{endings[0]}"

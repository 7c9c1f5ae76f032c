"""Photos as files: what is a picture that browsers show, told by how it is built, and kept without where it was taken.

Cameras write the place, the day and the owner into a picture. Nothing of that is kept but which side is up, without
which a browser shows the picture turned. No library here reads pictures, so the file is walked part by part, as its
standard lays it out (JPEG: ITU-T T.81, annex B; PNG: W3C, chapter 5); what does not walk is no whole picture.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from kits.service.errors import ServiceRefusal

MOST_BYTES, MOST_AT_ONCE = 8 * 2**20, 6
JPEG, PNG = "image/jpeg", "image/png"
ENDINGS = {JPEG: ".jpg", PNG: ".png"}
_PNG_BEGINS, _JPEG_BEGINS = b"\x89PNG\r\n\x1a\n", b"\xff\xd8"
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_APP0, _APP2, _APP14, _APP15, _COMMENT, _SCAN, _END = 0xE0, 0xE2, 0xEE, 0xEF, 0xFE, 0xDA, 0xD9
_PROFILE = b"ICC_PROFILE\x00"
_EXIF = b"Exif\x00\x00"
_ORIENTATION = 0x0112
_TOLD_IN_PNG = frozenset({b"eXIf", b"tEXt", b"zTXt", b"iTXt", b"tIME"})


@dataclass(frozen=True, slots=True)
class SentPhoto:
    """A photo as it was sent."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class KeptPhoto:
    """A photo as it is kept: its kind, and its content without what the camera told besides the picture."""

    name: str
    media_type: str
    content: bytes


def photo_to_keep(sent: SentPhoto) -> KeptPhoto:
    """Return a photo as it is kept; refuse what is no whole JPEG or PNG, or too large."""
    if len(sent.content) > MOST_BYTES:
        raise ServiceRefusal(
            f"“{sent.name}” has {len(sent.content) / 2**20:.1f} MB, more than the {MOST_BYTES // 2**20} that are kept: "
            "take it with a smaller size set on the camera."
        )
    try:
        if sent.content.startswith(_JPEG_BEGINS):
            return KeptPhoto(sent.name, JPEG, b"".join(_plain_jpeg(sent.content)))
        if sent.content.startswith(_PNG_BEGINS):
            return KeptPhoto(sent.name, PNG, b"".join(_plain_png(sent.content)))
    except (IndexError, ValueError) as error:
        raise ServiceRefusal(f"“{sent.name}” breaks off before its end: take it again and send it anew.") from error
    raise ServiceRefusal(f"“{sent.name}” is no JPEG or PNG: set the camera to JPEG, or save the picture as one.")


def _plain_jpeg(content: bytes) -> Iterator[bytes]:
    """The parts of a JPEG that make the picture, up to its end; what hangs on behind is left."""
    yield _JPEG_BEGINS
    at, side_told = 2, False
    while True:
        if content[at] != 0xFF:
            raise ValueError("no marker where one has to be")
        marker = content[at + 1]
        if marker == _END:
            yield content[at : at + 2]
            return
        end = at + 2 + int.from_bytes(content[at + 2 : at + 4])
        if end > len(content) or end < at + 4:
            raise ValueError("a part reaches behind the end")
        body = content[at + 4 : end]
        if marker == 0xE1 and body.startswith(_EXIF) and not side_told:
            side_told = True
            yield _upright(_side_up(body[len(_EXIF) :]))
        elif not _tells(marker, body):
            yield content[at:end]
        at = end
        if marker == _SCAN:
            found = _MARKER.search(content, at)
            if found is None:
                raise ValueError("the picture has no end")
            yield content[at : found.start()]
            at = found.start()


def _tells(marker: int, body: bytes) -> bool:
    """Whether a part of a JPEG says something besides the picture: all but its frame, its colours, how it is packed."""
    if marker in (_APP0, _APP14) or (marker == _APP2 and body.startswith(_PROFILE)):
        return False
    return _APP0 < marker <= _APP15 or marker == _COMMENT


def _side_up(tiff: bytes) -> int:
    """Which side of a picture is up, 1 to 8 as cameras count; 1 where it does not say."""
    order: Literal["little", "big"] = "little" if tiff[:2] == b"II" else "big"
    first = int.from_bytes(tiff[4:8], order)
    for entry in range(int.from_bytes(tiff[first : first + 2], order)):
        at = first + 2 + 12 * entry
        if int.from_bytes(tiff[at : at + 2], order) == _ORIENTATION:
            side = int.from_bytes(tiff[at + 8 : at + 10], order)
            return side if side in range(1, 9) else 1
    return 1


def _upright(side: int) -> bytes:
    """A part of a JPEG that says which side is up, and nothing else."""
    entry = _ORIENTATION.to_bytes(2) + b"\x00\x03\x00\x00\x00\x01" + side.to_bytes(2) + b"\x00\x00"
    body = _EXIF + b"MM\x00\x2a\x00\x00\x00\x08\x00\x01" + entry + b"\x00\x00\x00\x00"
    return b"\xff\xe1" + (len(body) + 2).to_bytes(2) + body


def _plain_png(content: bytes) -> Iterator[bytes]:
    """The chunks of a PNG that make the picture, up to its end."""
    yield _PNG_BEGINS
    at = len(_PNG_BEGINS)
    while True:
        end = at + 12 + int.from_bytes(content[at : at + 4])
        if end > len(content):
            raise ValueError("a chunk reaches behind the end")
        kind = content[at + 4 : at + 8]
        if kind not in _TOLD_IN_PNG:
            yield content[at:end]
        if kind == b"IEND":
            return
        at = end

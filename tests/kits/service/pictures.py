"""Pictures as cameras write them: a small JPEG with a place in it, and a PNG."""

import struct
import zlib

PLACE = b"51 deg 30 min N, here the pump was photographed"


def part(marker, body):
    return b"\xff" + bytes([marker]) + (len(body) + 2).to_bytes(2) + body


def exif(side=6):
    """What a camera tells: which side is up, and in a note the place."""
    entries = [(0x0112, 3, 1, struct.pack("<HH", side, 0)), (0x8825, 4, 1, struct.pack("<I", 60))]
    told = b"".join(struct.pack("<HHI", tag, kind, count) + value for tag, kind, count, value in entries)
    return b"Exif\x00\x00II\x2a\x00\x08\x00\x00\x00" + struct.pack("<H", len(entries)) + told + b"\x00" * 4 + PLACE


def jpeg(note=b"one", side=6, behind=b""):
    """The parts of a JPEG in their order; the scan holds a stuffed byte and a restart marker."""
    frame = part(0xC0, b"\x08\x00\x01\x00\x01\x01\x01\x11\x00")
    scan = part(0xDA, b"\x01\x01\x00\x00\x3f\x00") + b"\x12\xff\x00\x34\xff\xd0\x56" + note
    head = (
        part(0xE0, b"JFIF\x00")
        + part(0xE1, exif(side))
        + part(0xFE, PLACE)
        + part(0xED, PLACE)
        + part(0xE2, b"MPF\x00")
    )
    return b"\xff\xd8" + head + part(0xDB, b"\x00" * 65) + frame + scan + b"\xff\xd9" + behind


def png():
    def chunk(kind, body):
        return len(body).to_bytes(4) + kind + body + zlib.crc32(kind + body).to_bytes(4)

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    told = chunk(b"eXIf", PLACE) + chunk(b"tEXt", b"Comment\x00" + PLACE)
    return b"\x89PNG\r\n\x1a\n" + head + told + chunk(b"IDAT", zlib.compress(b"\x00\x80")) + chunk(b"IEND", b"")
